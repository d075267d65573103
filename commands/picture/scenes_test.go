package picture

import (
	"bytes"
	"encoding/xml"
	"flag"
	"image"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden pictures anew; then look at them")

// scenes reads every scene under testdata: KIND.NAME.json. They are of our own
// invention; what is checked against something outside is how they are drawn.
func scenes(t testing.TB) map[string]*Sheet {
	t.Helper()
	files, err := filepath.Glob("testdata/scenes/*.json")
	if err != nil || len(files) < 15 {
		t.Fatalf("%d scenes, %v", len(files), err)
	}
	out := map[string]*Sheet{}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		name := strings.TrimSuffix(filepath.Base(f), ".json")
		kind, _, _ := strings.Cut(name, ".")
		if out[name], err = Read(kind, b); err != nil {
			t.Fatalf("%s: %v", f, err)
		}
	}
	return out
}

// TestGolden compares pixels, all of them, with no tolerance: the same picture
// on every machine. CI runs it for two more instruction sets.
func TestGolden(t *testing.T) {
	for name, s := range scenes(t) {
		file := "testdata/golden/" + name + ".png"
		if *update {
			b, err := Encode(s, file)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(file, b, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		b, err := os.ReadFile(file)
		if err != nil {
			t.Errorf("%v; go test ./commands/picture -update writes it", err)
			continue
		}
		want, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		b, err = Encode(s, file)
		if err != nil {
			t.Fatal(err)
		}
		got, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		if n, at := differ(got, want); n > 0 {
			t.Errorf("%s: %d pixels differ, the first at %v; what came out is in %s", name, n, at, keep(t, name, b))
		}
	}
}

// differ counts pixels that are not the same.
func differ(a, b image.Image) (n int, first image.Point) {
	if a.Bounds() != b.Bounds() {
		return 1 << 30, a.Bounds().Max
	}
	for y := range a.Bounds().Max.Y {
		for x := range a.Bounds().Max.X {
			r, g, l, _ := a.At(x, y).RGBA()
			r2, g2, l2, _ := b.At(x, y).RGBA()
			if r != r2 || g != g2 || l != l2 {
				if n++; n == 1 {
					first = image.Pt(x, y)
				}
			}
		}
	}
	return n, first
}

func keep(t *testing.T, name string, b []byte) string {
	dir, err := os.MkdirTemp("", "drumhead-picture-")
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, name+".png")
	if err := os.WriteFile(file, b, 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

// TestText looks at every text of every scene: large enough for a phone, on the
// sheet, and over no other text.
func TestText(t *testing.T) {
	for name, s := range scenes(t) {
		least := Length(s.Width * 8 * 9 / 400)
		var boxes []Box
		var words []string
		for _, m := range s.Marks {
			w, ok := m.(Text)
			if !ok || w.Words == "" {
				continue
			}
			if w.Size < least {
				t.Errorf("%s: %q is %s px, under 9 phone points", name, w.Words, w.Size)
			}
			b := w.Box()
			if !b.Within(Box{0, 0, px(s.Width), px(s.Height)}) {
				t.Errorf("%s: %q runs off the sheet: %v", name, w.Words, b)
			}
			for i, o := range boxes {
				if b.Meets(o) {
					t.Errorf("%s: %q lies over %q", name, w.Words, words[i])
				}
			}
			boxes, words = append(boxes, b), append(words, w.Words)
		}
		if len(boxes) == 0 && !strings.HasPrefix(name, "dice") {
			t.Errorf("%s says nothing", name)
		}
	}
}

// TestContrast: each text against what it stands on, by the formula of WCAG 2.2
// ("contrast ratio", "relative luminance"). A colour counts as ground if it
// makes up a twentieth of the text's box.
func TestContrast(t *testing.T) {
	for name, s := range scenes(t) {
		c := newCanvas(s.Width, s.Height, s.Ground)
		tiles := map[*Tile]*canvas{}
		for _, m := range s.Marks {
			if w, ok := m.(Text); ok && w.Words != "" {
				for ground, share := range c.under(w.Box()) {
					if share >= 0.05 {
						if r := contrast(w.Colour, ground); r < 4.5 {
							t.Errorf("%s: %q is %s on %s: %.1f to 1, expected 4.5", name, w.Words, w.Colour, ground, r)
						}
					}
				}
			}
			c.draw(m, tiles)
		}
	}
}

// under says which colours a box holds, and how much of it each is.
func (c *canvas) under(b Box) map[Colour]float64 {
	out := map[Colour]float64{}
	n := 0
	for y := max(int(b.Y0)/8, 0); y < min(int(b.Y1)/8, c.h); y++ {
		for x := max(int(b.X0)/8, 0); x < min(int(b.X1)/8, c.w); x++ {
			out[c.pixels[y*c.w+x]]++
			n++
		}
	}
	for k := range out {
		out[k] /= float64(n)
	}
	return out
}

func TestAlt(t *testing.T) {
	for name, s := range scenes(t) {
		if len(s.Alt) < 10 {
			t.Errorf("%s: alt text is %q", name, s.Alt)
		}
	}
	for _, bad := range []string{`{"title":"x","axis":"x","first":0,"chances":[1]}`, `{"title":"x","alt":" ","axis":"x","first":0,"chances":[1]}`, `{"title":"x","alt":"` + strings.Repeat("a", 1001) + `","axis":"x","first":0,"chances":[1]}`} {
		if _, err := Read("odds", []byte(bad)); err == nil || !strings.Contains(err.Error(), "alt") {
			t.Errorf("%.40s: %v", bad, err)
		}
	}
}

// TestSVG reads each drawing as XML (encoding/xml) and finds its words in it.
func TestSVG(t *testing.T) {
	for name, s := range scenes(t) {
		d := xml.NewDecoder(bytes.NewReader(s.SVG()))
		var said strings.Builder
		elements := 0
		for {
			tok, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			switch tok := tok.(type) {
			case xml.StartElement:
				elements++
			case xml.CharData:
				said.Write(tok)
			}
		}
		if elements < len(s.Marks) {
			t.Errorf("%s: %d elements for %d marks", name, elements, len(s.Marks))
		}
		for _, m := range s.Marks {
			if w, ok := m.(Text); ok && !strings.Contains(said.String(), w.Words) {
				t.Errorf("%s: the drawing lacks %q", name, w.Words)
			}
		}
		if !strings.Contains(said.String(), s.Alt) {
			t.Errorf("%s: the drawing lacks its alt text", name)
		}
	}
}

// TestBytes holds the sizes that pictures may have to be sent over a phone.
func TestBytes(t *testing.T) {
	all := scenes(t)
	for name, most := range map[string]int{"map.osier": 120_000, "dice.24": 20_000, "dice.chain": 20_000, "dice.1000": 20_000, "odds.hits": 20_000, "luck.battle": 20_000} {
		b, err := Encode(all[name], name+".png")
		if err != nil {
			t.Fatal(err)
		}
		if len(b) > most {
			t.Errorf("%s: %d bytes, expected at most %d", name, len(b), most)
		}
	}
}
