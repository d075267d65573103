package picture

import "fmt"

// The colours. Text on any of them keeps a contrast of 4.5 to 1, and the two
// sides differ in lightness as well as in hue; tests compute both.
const (
	paper   Colour = 0xF7F3EA // margin, plates
	ground  Colour = 0xECE5D3 // bands
	rule    Colour = 0xC6B999
	ink     Colour = 0x221E19
	soft    Colour = 0x5E564B // second-rank text
	blue    Colour = 0x174A84 // first side, bars
	blueRim Colour = 0x0B2B50
	pale    Colour = 0x9DB4CF
	amber   Colour = 0xF3A61C // second side, what fell
	rim     Colour = 0x5A3500
	cream   Colour = 0xFFF3D6
	red     Colour = 0xB3261E // battles, always with a sign
	white   Colour = 0xFFFFFF
	bone    Colour = 0xE6DECB // a die that did not count
	boneRim Colour = 0x8C8270
	bonePip Colour = 0x5E564B
	shadow  Colour = 0xB9AC90
)

// owner is how a holder of regions is shown: colour, letter and hatch, so that
// no two are alike even without colour.
type owner struct {
	badge, letter, back, line Colour
	hatch                     string
}

// MaxOwners is how many holders a map can tell apart.
const MaxOwners = 2 * looks

// looks is how many holders have a colour of their own; the next as many have the
// same colours with another hatch.
const looks = 8

var owners = [looks]owner{
	{0x174A84, white, 0x86A9D0, 0x86A9D0, "plain"},
	{0xF3A61C, 0x2A1900, 0xFBE0A6, 0xE3AC43, "rising"},
	{0x1B7F66, white, 0x98CDBA, 0x4F9B83, "level"},
	{0xD67BA6, 0x2B0C1A, 0xF0CCDA, 0xC9789B, "dots"},
	{0x2B2520, white, 0xA29789, 0x776C5F, "falling"},
	{0x9CD3F0, 0x0B2B3B, 0xDDF0FA, 0x7FB9D6, "plus"},
	{0x6E6A12, white, 0xCFCB86, 0x9C9740, "upright"},
	{0xFFFDF7, ink, 0xFFFDF7, 0xB9AE98, "grid"},
}

// again are the hatches of holders 9 to 16, by colour.
var again = [looks]string{"rising", "level", "dots", "falling", "plus", "upright", "grid", "falling"}

// lookOf is how holder i is shown, from 0.
func lookOf(i int) owner {
	o := owners[i%looks]
	if i < looks {
		return o
	}
	if o.hatch = again[i%looks]; o.line == o.back {
		o.line = 0x5F8ABB
	}
	return o
}

// nobody holds what nobody holds.
var nobody = owner{white, ink, 0xF2ECDD, 0xF2ECDD, "bare"}

// tile is an owner's hatch, scaled with the sheet: 30 pixels at 1200.
func (o owner) tile(p *pen) *Tile {
	side := max(int(p.u(10))/8, 4)
	t := &Tile{Name: fmt.Sprintf("%s-%06x", o.hatch, int(o.back)), Side: side, Back: o.back}
	s, w := px(side), max(p.u(0.83), 4)
	line := func(points ...Point) {
		t.Marks = append(t.Marks, Stroke{Points: points, Width: w, Colour: o.line})
	}
	switch o.hatch {
	case "rising":
		line(Point{-s / 2, s / 2}, Point{s / 2, -s / 2})
		line(Point{0, s}, Point{s, 0})
	case "falling":
		line(Point{0, 0}, Point{s, s})
		line(Point{s / 2, -s / 2}, Point{s * 3 / 2, s / 2})
	case "level":
		line(Point{0, s / 4}, Point{s, s / 4})
		line(Point{0, s * 3 / 4}, Point{s, s * 3 / 4})
	case "upright":
		line(Point{s / 4, 0}, Point{s / 4, s})
		line(Point{s * 3 / 4, 0}, Point{s * 3 / 4, s})
	case "grid":
		line(Point{0, s / 2}, Point{s, s / 2})
		line(Point{s / 2, 0}, Point{s / 2, s})
	case "plus":
		for _, c := range []Point{{s / 4, s / 4}, {s * 3 / 4, s * 3 / 4}} {
			line(Point{c.X - s/8, c.Y}, Point{c.X + s/8, c.Y})
			line(Point{c.X, c.Y - s/8}, Point{c.X, c.Y + s/8})
		}
	case "dots":
		for _, c := range []Point{{s / 4, s / 4}, {s * 3 / 4, s * 3 / 4}} {
			t.Marks = append(t.Marks, Fill{Shape: circle(c, w), Colour: o.line})
		}
	}
	return t
}
