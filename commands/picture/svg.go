package picture

import (
	"encoding/xml"
	"fmt"
	"strconv"
	"strings"
)

// SVG writes a sheet as a drawing that any browser shows. Its words stay words:
// they can be searched and read aloud.
func (s *Sheet) SVG() []byte {
	w := &svg{}
	w.f(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" role="img" font-family="Go,system-ui,sans-serif">`,
		s.Width, s.Height, s.Width, s.Height)
	w.f("<title>%s</title>\n", escaped(s.Alt))
	for _, t := range s.tiles() {
		w.f(`<pattern id="%s" width="%d" height="%d" patternUnits="userSpaceOnUse">`, t.Name, t.Side, t.Side)
		w.f(`<rect width="%d" height="%d" fill="%s"/>`, t.Side, t.Side, t.Back)
		for _, m := range t.Marks {
			w.mark(m)
		}
		w.f("</pattern>\n")
	}
	w.f(`<rect width="%d" height="%d" fill="%s"/>`+"\n", s.Width, s.Height, s.Ground)
	for _, m := range s.Marks {
		w.mark(m)
	}
	w.f("</svg>\n")
	return []byte(w.String())
}

// tiles are the patterns in use, each once.
func (s *Sheet) tiles() (out []*Tile) {
	seen := map[*Tile]bool{}
	for _, m := range s.Marks {
		if h, ok := m.(Hatch); ok && !seen[h.Tile] {
			seen[h.Tile] = true
			out = append(out, h.Tile)
		}
	}
	return out
}

type svg struct{ strings.Builder }

func (w *svg) f(format string, args ...any) { fmt.Fprintf(w, format, args...) }

// String is a colour as CSS writes it.
func (c Colour) String() string { return fmt.Sprintf("#%06X", uint32(c)) }

// String is a length in pixels, written as short as it goes.
func (l Length) String() string {
	return strconv.FormatFloat(float64(l)/8, 'f', -1, 64)
}

func (w *svg) mark(m Mark) {
	switch m := m.(type) {
	case Fill:
		w.f(`<path fill="%s"`, m.Colour)
		if m.Thin > 0 {
			w.f(` fill-opacity="%.2f"`, float64(255-m.Thin)/255)
		}
		w.f(` d="%s"/>`+"\n", m.Shape)
	case Hatch:
		w.f(`<path fill="url(#%s)" d="%s"/>`+"\n", m.Tile.Name, m.Shape)
	case Stroke:
		w.f(`<path fill="none" stroke-linejoin="round" stroke="%s" stroke-width="%s"`, m.Colour, m.Width)
		if m.Dash != nil {
			w.f(` stroke-dasharray="%s"`, strings.Trim(fmt.Sprint(m.Dash), "[]"))
		}
		w.f(` d="%s"/>`+"\n", m.path())
	case Text:
		w.text(m)
	}
}

func (w *svg) text(t Text) {
	w.f(`<text x="%s" y="%s" font-size="%s" fill="%s"`, t.At.X, Length((t.At.Y+4)&^7), t.Size, t.Colour)
	if t.Bold {
		w.f(` font-weight="bold"`)
	}
	switch t.Anchor {
	case Middle:
		w.f(` text-anchor="middle"`)
	case Right:
		w.f(` text-anchor="end"`)
	}
	w.f(` textLength="%s">%s</text>`+"\n", t.Width(), escaped(t.Words))
}

// escaped is text for XML; what XML cannot hold at all becomes U+FFFD.
func escaped(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a strings.Builder takes everything
	return b.String()
}

// String is the shape in the path language of SVG, with relative steps: they
// are shorter.
func (s Shape) String() string {
	var b strings.Builder
	for _, c := range s {
		fmt.Fprintf(&b, "M%s", c.From)
		at := c.From
		for _, t := range c.Steps {
			if t.Curve {
				fmt.Fprintf(&b, "c%s %s %s", t.C1.less(at), t.C2.less(at), t.To.less(at))
			} else {
				fmt.Fprintf(&b, "l%s", t.To.less(at))
			}
			at = t.To
		}
		b.WriteByte('z')
	}
	return b.String()
}

func (s Stroke) path() string {
	var b strings.Builder
	for i, p := range s.Points {
		if i == 0 {
			fmt.Fprintf(&b, "M%s", p)
		} else {
			fmt.Fprintf(&b, "l%s", p.less(s.Points[i-1]))
		}
	}
	if s.Closed {
		b.WriteByte('z')
	}
	return b.String()
}

func (p Point) less(o Point) Point { return Point{p.X - o.X, p.Y - o.Y} }

// String is a point as a path holds it: "3,4", and "3-4" where a sign parts.
func (p Point) String() string {
	y := p.Y.String()
	if y[0] == '-' {
		return p.X.String() + y
	}
	return p.X.String() + "," + y
}
