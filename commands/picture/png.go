package picture

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
)

// MaxSide is the most pixels that a picture may be wide or high.
const MaxSide = 4000

// Draw renders a sheet: one colour a pixel, row by row.
func (s *Sheet) Draw() *image.RGBA {
	c := s.render()
	img := image.NewRGBA(image.Rect(0, 0, s.Width, s.Height))
	for i, p := range c.pixels {
		img.Pix[4*i], img.Pix[4*i+1], img.Pix[4*i+2], img.Pix[4*i+3] = byte(p>>16), byte(p>>8), byte(p), 255
	}
	return img
}

func (s *Sheet) render() *canvas {
	c := newCanvas(s.Width, s.Height, s.Ground)
	tiles := map[*Tile]*canvas{}
	for _, m := range s.Marks {
		c.draw(m, tiles)
	}
	return c
}

func (c *canvas) draw(m Mark, tiles map[*Tile]*canvas) {
	flat := func(ink Colour) paint { return func(int, int) Colour { return ink } }
	switch m := m.(type) {
	case Fill:
		c.cover(m.Shape.flatten(), flat(m.Colour), m.Thin)
	case Stroke:
		c.cover(m.flatten(), flat(m.Colour), 0)
	case Text:
		c.cover(m.flatten(), flat(m.Colour), 0)
	case Hatch:
		t, ok := tiles[m.Tile]
		if !ok {
			t = m.Tile.render()
			tiles[m.Tile] = t
		}
		c.cover(m.Shape.flatten(), func(x, y int) Colour { return t.pixels[y%t.h*t.w+x%t.w] }, 0)
	}
}

// render draws a tile so that it goes on seamlessly: whatever runs over a side
// comes in again at the other.
func (t *Tile) render() *canvas {
	c := newCanvas(t.Side, t.Side, t.Back)
	side := px(t.Side)
	for _, m := range t.Marks {
		for _, dy := range []Length{-side, 0, side} {
			for _, dx := range []Length{-side, 0, side} {
				c.draw(moved(m, dx, dy), nil)
			}
		}
	}
	return c
}

// moved is a tile's mark elsewhere. Tiles are made of fills and strokes.
func moved(m Mark, dx, dy Length) Mark {
	to := func(p Point) Point { return Point{p.X + dx, p.Y + dy} }
	switch m := m.(type) {
	case Fill:
		out := make(Shape, len(m.Shape))
		for i, c := range m.Shape {
			out[i] = Contour{From: to(c.From), Steps: make([]Step, len(c.Steps))}
			for j, s := range c.Steps {
				out[i].Steps[j] = Step{Curve: s.Curve, C1: to(s.C1), C2: to(s.C2), To: to(s.To)}
			}
		}
		m.Shape = out
		return m
	case Stroke:
		points := make([]Point, len(m.Points))
		for i, p := range m.Points {
			points[i] = to(p)
		}
		m.Points = points
		return m
	}
	return m
}

// PNG renders a sheet as a paletted PNG: a third of the bytes of true colours,
// and no eye sees the difference.
func (s *Sheet) PNG() ([]byte, error) {
	return encode(s.render(), png.DefaultCompression)
}

func encode(c *canvas, level png.CompressionLevel) ([]byte, error) {
	colours, index := c.palette()
	p := make(color.Palette, len(colours))
	for i, v := range colours {
		p[i] = color.RGBA{byte(v >> 16), byte(v >> 8), byte(v), 255}
	}
	img := &image.Paletted{Pix: index, Stride: c.w, Rect: image.Rect(0, 0, c.w, c.h), Palette: p}
	var b bytes.Buffer
	err := (&png.Encoder{CompressionLevel: level}).Encode(&b, img)
	return b.Bytes(), err
}
