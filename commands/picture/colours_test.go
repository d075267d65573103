package picture

import (
	"math"
	"testing"
)

// linear undoes sRGB's curve (IEC 61966-2-1), 0 to 1 for red, green, blue.
func (c Colour) linear() (out [3]float64) {
	for i, v := range [3]Colour{c >> 16 & 255, c >> 8 & 255, c & 255} {
		s := float64(v) / 255
		if s <= 0.04045 {
			out[i] = s / 12.92
		} else {
			out[i] = math.Pow((s+0.055)/1.055, 2.4)
		}
	}
	return out
}

// contrast is WCAG 2.2's contrast ratio of two colours, 1 to 21.
func contrast(a, b Colour) float64 {
	lum := func(c Colour) float64 {
		l := c.linear()
		return 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
	}
	x, y := lum(a), lum(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// TestContrastFormula: WCAG says 21 for black on white and 1 for a colour on
// itself; #767676 on white is known as the lightest grey that passes 4.5
// (common practice, no source).
func TestContrastFormula(t *testing.T) {
	for _, c := range []struct {
		a, b Colour
		want float64
	}{{0, white, 21}, {0x808080, 0x808080, 1}, {0x767676, white, 4.54}} {
		if got := contrast(c.a, c.b); math.Abs(got-c.want) > 0.005 {
			t.Errorf("%s on %s: %.3f, expected %.2f", c.a, c.b, got, c.want)
		}
	}
}

// sight is how somebody sees colours: a matrix on linear RGB. Protanopia,
// deuteranopia and tritanopia are the matrices of full severity of G. M.
// Machado, M. M. Oliveira and L. A. F. Fernandes, "A Physiologically-based
// Model for Simulation of Color Vision Deficiency", IEEE TVCG 15(6), 2009, as
// the library colorspacious 1.1.2 holds them.
var sights = map[string][3][3]float64{
	"full":         {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	"protanopia":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
	"tritanopia":   {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
	"grey":         {{0.2126, 0.7152, 0.0722}, {0.2126, 0.7152, 0.0722}, {0.2126, 0.7152, 0.0722}},
}

// lab is a colour as somebody sees it, in CIE L*a*b* under D65.
func lab(c Colour, sight [3][3]float64) (out [3]float64) {
	l := c.linear()
	var s [3]float64
	for i := range s {
		s[i] = min(max(sight[i][0]*l[0]+sight[i][1]*l[1]+sight[i][2]*l[2], 0), 1)
	}
	// sRGB to XYZ, IEC 61966-2-1; white of D65, 2 degrees
	xyz := [3]float64{
		(0.4124*s[0] + 0.3576*s[1] + 0.1805*s[2]) / 0.95047,
		0.2126*s[0] + 0.7152*s[1] + 0.0722*s[2],
		(0.0193*s[0] + 0.1192*s[1] + 0.9505*s[2]) / 1.08883,
	}
	var f [3]float64
	for i, v := range xyz {
		if v > 216.0/24389 {
			f[i] = math.Cbrt(v)
		} else {
			f[i] = (24389.0/27*v + 16) / 116
		}
	}
	return [3]float64{116*f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])}
}

// apart is CIE 76's difference of two colours.
func apart(a, b Colour, sight [3][3]float64) float64 {
	x, y := lab(a, sight), lab(b, sight)
	return math.Hypot(math.Hypot(x[0]-y[0], x[1]-y[1]), x[2]-y[2])
}

// TestSights checks our arithmetic against values that colorspacious 1.1.2 gave
// for our two sides.
func TestSights(t *testing.T) {
	for _, c := range []struct {
		colour Colour
		sight  string
		want   [3]float64
	}{
		{blue, "full", [3]float64{31.220, 5.715, -37.289}},
		{blue, "protanopia", [3]float64{33.651, 6.714, -34.757}},
		{blue, "deuteranopia", [3]float64{29.623, 8.875, -39.134}},
		{blue, "tritanopia", [3]float64{33.551, -19.093, -11.318}},
		{amber, "full", [3]float64{73.810, 18.675, 73.307}},
		{amber, "protanopia", [3]float64{69.646, -5.682, 72.225}},
		{amber, "deuteranopia", [3]float64{76.299, -6.773, 72.218}},
		{amber, "tritanopia", [3]float64{72.027, 40.683, 20.001}},
	} {
		got := lab(c.colour, sights[c.sight])
		for i := range got {
			if math.Abs(got[i]-c.want[i]) > 0.05 {
				t.Errorf("%s in %s: %.3f, colorspacious says %.3f", c.colour, c.sight, got, c.want)
				break
			}
		}
	}
}

// TestSides: the two sides stay far apart however one sees.
func TestSides(t *testing.T) {
	for name, sight := range sights {
		if d := apart(blue, amber, sight); d < 40 {
			t.Errorf("%s: the sides are %.0f apart, expected 40", name, d)
		}
	}
}

// TestOwners: no two holders are alike. Colour carries the first eight in all but
// grey; there, and for the eight after them, it is the letter and the hatch.
func TestOwners(t *testing.T) {
	seen := map[[2]any]bool{}
	for i := range MaxOwners {
		a := lookOf(i)
		if key := [2]any{a.badge, a.hatch}; seen[key] {
			t.Errorf("two holders with %v", key)
		} else {
			seen[key] = true
		}
		if a.hatch != "plain" && a.line == a.back {
			t.Errorf("holder %d: nothing is seen of the hatch", i+1)
		}
		if r := contrast(a.letter, a.badge); r < 4.5 {
			t.Errorf("holder %d: letter on badge %.1f to 1", i+1, r)
		}
		for j := range min(i, looks) {
			if i >= looks {
				break
			}
			b := lookOf(j)
			if a.hatch == b.hatch {
				t.Errorf("holders %d and %d with one hatch", j+1, i+1)
			}
			for name, sight := range sights {
				if d := apart(a.badge, b.badge, sight); d < 14 && name != "grey" {
					t.Errorf("%s: holders %d and %d are %.0f apart, expected 14", name, j+1, i+1, d)
				}
			}
		}
	}
}
