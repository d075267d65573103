// Package picture draws: a value in, a sheet and an image out. A sheet is a
// list of marks with words for who cannot see it; scenes only make sheets, and
// two small renderers read them, PNG and SVG.
//
// Everything is computed in integers, so that a picture has the same pixels on
// every machine: lengths are snapped to an eighth of a pixel when a mark is
// made, and the rasteriser works on 64ths. No wording lives here: what a
// picture says stands in the value that it is drawn from.
package picture

import "math"

// Length is a distance in eighths of a pixel.
type Length int32

// px is a whole number of pixels.
func px(n int) Length { return Length(n * 8) }

// Point is a place on a sheet; y runs down.
type Point struct{ X, Y Length }

// Colour is 0xRRGGBB.
type Colour uint32

// Sheet is a picture before it is drawn.
type Sheet struct {
	Width, Height int // pixels
	Alt           string
	Ground        Colour
	Marks         []Mark
}

// Mark is one thing on a sheet: a Fill, a Hatch, a Stroke or a Text.
type Mark interface{ mark() }

// Fill is a shape in one colour. Where contours overlap the shape is full
// (non-zero winding).
type Fill struct {
	Shape  Shape
	Colour Colour
	Thin   uint8 // how much of what lies below shows through, 0 (none) to 255
}

// Hatch is a shape filled with a tile.
type Hatch struct {
	Shape Shape
	Tile  *Tile
}

// Tile is a pattern's piece, repeated from the sheet's upper left corner.
type Tile struct {
	Name  string // for the SVG; letters, digits and hyphens
	Side  int    // pixels
	Back  Colour
	Marks []Mark
}

// Stroke is a line along points, with round corners and square ends.
type Stroke struct {
	Points []Point
	Closed bool
	Width  Length
	Colour Colour
	Dash   []Length // drawn and left out in turns; nil for a whole line
}

// Anchor says which part of a text stands at its point.
type Anchor uint8

// The anchors.
const (
	Left Anchor = iota
	Middle
	Right
)

// Text is one line of words; At is on its baseline.
type Text struct {
	At     Point
	Anchor Anchor
	Size   Length // of the letters' square
	Bold   bool
	Colour Colour
	Words  string
}

func (Fill) mark()   {}
func (Hatch) mark()  {}
func (Stroke) mark() {}
func (Text) mark()   {}

// Box is an upright rectangle; X1 and Y1 lie just outside it.
type Box struct{ X0, Y0, X1, Y1 Length }

// Meets tells whether two boxes have some area in common.
func (b Box) Meets(o Box) bool {
	return b.X0 < o.X1 && o.X0 < b.X1 && b.Y0 < o.Y1 && o.Y0 < b.Y1
}

// Within tells whether b lies in o.
func (b Box) Within(o Box) bool {
	return b.X0 >= o.X0 && b.X1 <= o.X1 && b.Y0 >= o.Y0 && b.Y1 <= o.Y1
}

// Grown is the box with a margin around it.
func (b Box) Grown(by Length) Box {
	return Box{b.X0 - by, b.Y0 - by, b.X1 + by, b.Y1 + by}
}

// pen puts marks on a sheet and knows its phone point: the 400th part of its
// width, which is about how wide a phone shows a picture in points.
type pen struct {
	*Sheet
	unit  int                  // a phone point in eighths of a pixel
	tiles [MaxOwners + 1]*Tile // hatches in use, by owner plus 1
}

func newPen(width int, alt string) *pen {
	return &pen{Sheet: &Sheet{Width: width, Alt: alt, Ground: paper}, unit: width * 8 / 400}
}

// u is a length given in phone points. One multiplication and one rounding: no
// machine can fuse it with anything else.
func (p *pen) u(points float64) Length {
	return Length(math.Round(points * float64(p.unit)))
}

func (p *pen) put(m ...Mark) { p.Marks = append(p.Marks, m...) }

func (p *pen) fill(s Shape, c Colour) { p.put(Fill{Shape: s, Colour: c}) }

func (p *pen) line(width Length, c Colour, points ...Point) {
	p.put(Stroke{Points: points, Width: width, Colour: c})
}

// write puts a text and gives the box that it takes.
func (p *pen) write(t Text) Box {
	p.put(t)
	return t.Box()
}

// closeAt ends the sheet at a height.
func (p *pen) closeAt(h Length) *Sheet {
	p.Height = int(h+7) / 8
	return p.Sheet
}
