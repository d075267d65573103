package picture

import (
	"bytes"
	"image"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// TestOtherRenderer draws our SVG with librsvg and compares roughly: it has
// other fonts and another way to smooth edges, so what counts is how many
// pixels are far off.
func TestOtherRenderer(t *testing.T) {
	tool, err := exec.LookPath("rsvg-convert")
	if err != nil {
		t.Skip("skipped: no rsvg-convert here; install librsvg2-bin to draw our SVG with another renderer")
	}
	for name, s := range scenes(t) {
		cmd := exec.Command(tool, "--format=png")
		cmd.Stdin = bytes.NewReader(s.SVG())
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		theirs, err := png.Decode(bytes.NewReader(out))
		if err != nil {
			t.Fatal(err)
		}
		ours := s.Draw()
		if ours.Bounds() != theirs.Bounds() {
			t.Fatalf("%s: %v against %v", name, ours.Bounds(), theirs.Bounds())
		}
		if far := farOff(ours, theirs); far > 0.10 {
			t.Errorf("%s: %.1f %% of the pixels are far off, expected at most 10 %%", name, 100*far)
		}
	}
}

// farOff is the share of pixels of which some channel is a quarter off.
func farOff(a, b image.Image) float64 {
	n := 0
	r := a.Bounds()
	for y := range r.Max.Y {
		for x := range r.Max.X {
			r1, g1, b1, _ := a.At(x, y).RGBA()
			r2, g2, b2, _ := b.At(x, y).RGBA()
			for _, d := range [3]int{int(r1) - int(r2), int(g1) - int(g2), int(b1) - int(b2)} {
				if max(d, -d) > 0x4000 {
					n++
					break
				}
			}
		}
	}
	return float64(n) / float64(r.Max.X*r.Max.Y)
}

// TestOtherDecoder reads our PNG with netpbm, whose decoder is libpng.
func TestOtherDecoder(t *testing.T) {
	tool, err := exec.LookPath("pngtopam")
	if err != nil {
		t.Skip("skipped: no pngtopam here; install netpbm to read our PNG with another decoder")
	}
	for name, s := range scenes(t) {
		b, err := Encode(s, name+".png")
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "x.png")
		if err := os.WriteFile(file, b, 0o644); err != nil {
			t.Fatal(err)
		}
		pixels, err := exec.Command(tool, file).Output()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		want, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		body := pixels[len(pixels)-3*s.Width*s.Height:]
		for i := 0; i < len(body); i += 3 {
			r, g, l, _ := want.At(i/3%s.Width, i/3/s.Width).RGBA()
			if body[i] != byte(r>>8) || body[i+1] != byte(g>>8) || body[i+2] != byte(l>>8) {
				t.Fatalf("%s: pixel %d is %v there", name, i/3, body[i:i+3])
			}
		}
	}
}
