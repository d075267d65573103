package picture

// canvas is what is being drawn: one colour a pixel.
type canvas struct {
	w, h   int
	pixels []Colour
	sums   []int32 // of the shape in hand: see cover
}

func newCanvas(w, h int, ground Colour) *canvas {
	c := &canvas{w: w, h: h, pixels: make([]Colour, w*h)}
	for i := range c.pixels {
		c.pixels[i] = ground
	}
	return c
}

// full is what a pixel that lies wholly inside adds up to: 64 rows of 128.
const full = 64 * 128

// paint gives the colour of a pixel of a shape.
type paint func(x, y int) Colour

// cover draws polygons. For each edge and row it adds to a running sum what the
// edge covers of the pixel it stands in and of all that lie right of it; the
// sum from the left is then a pixel's coverage. Work and memory are the shape's
// own box, not the picture.
func (c *canvas) cover(shape [][]dot, of paint, thin uint8) {
	x0, y0, x1, y1 := extent(shape)
	left, top := max(x0>>6, 0), max(y0>>6, 0)
	right, bottom := min((x1+63)>>6, int32(c.w)), min((y1+63)>>6, int32(c.h))
	if left >= right || top >= bottom {
		return
	}
	r := ruled{left: left, top: top, w: right - left, h: bottom - top}
	need := int(r.w+2) * int(r.h)
	if cap(c.sums) < need {
		c.sums = make([]int32, need)
	}
	r.sums = c.sums[:need]
	clear(r.sums)
	for _, line := range shape {
		for i, a := range line {
			r.edge(a, line[(i+1)%len(line)])
		}
	}
	for y := range r.h {
		c.row(r.sums[y*(r.w+2):][:r.w], int(left), int(top+y), of, thin)
	}
}

// row colours one row of a shape from its sums.
func (c *canvas) row(sums []int32, left, y int, of paint, thin uint8) {
	out := c.pixels[y*c.w+left:][:len(sums)]
	sum := int32(0)
	for i, add := range sums {
		sum += add
		cover := min(max(sum, -sum), full) * 255 >> 13
		if cover == 0 {
			continue
		}
		if thin > 0 {
			cover = cover * (255 - int32(thin)) / 255
		}
		ink := of(left+i, y)
		if cover == 255 {
			out[i] = ink
		} else {
			out[i] = blend(out[i], ink, uint32(cover))
		}
	}
}

// blend lays ink over a colour, of 255 parts.
func blend(under, ink Colour, cover uint32) Colour {
	mix := func(shift uint) uint32 {
		a, b := uint32(under>>shift)&255, uint32(ink>>shift)&255
		return ((a*(255-cover) + b*cover + 127) / 255) << shift
	}
	return Colour(mix(16) | mix(8) | mix(0))
}

func extent(shape [][]dot) (x0, y0, x1, y1 int32) {
	x0, y0, x1, y1 = 1<<30, 1<<30, -1<<30, -1<<30
	for _, line := range shape {
		for _, d := range line {
			x0, y0, x1, y1 = min(x0, d.x), min(y0, d.y), max(x1, d.x), max(y1, d.y)
		}
	}
	return x0, y0, x1, y1
}

// ruled is a box of pixels in which sums are gathered, two columns wider than
// the box so that what goes over its right side needs no care.
type ruled struct {
	left, top, w, h int32
	sums            []int32
}

// edge adds one edge, row by row. It always runs from its upper end, so that
// two shapes that share it divide alike and meet without a seam.
func (r *ruled) edge(a, b dot) {
	if a.y == b.y {
		return
	}
	sign := int32(1)
	if a.y > b.y {
		a, b, sign = b, a, -1
	}
	dx, dy := int64(b.x-a.x), int64(b.y-a.y)
	at := func(y int32) int32 { return a.x + int32(floor(dx*int64(y-a.y), dy)) }
	first, last := max(a.y>>6, r.top), min((b.y-1)>>6, r.top+r.h-1)
	for row := first; row <= last; row++ {
		y0, y1 := max(a.y, row<<6), min(b.y, (row+1)<<6)
		r.piece(row-r.top, at(y0), at(y1), (y1-y0)*sign)
	}
}

// piece adds the part of an edge in one row: from x0 to x1 while it falls by h
// 64ths (negative on the way up), cut at the pixels' sides.
func (r *ruled) piece(row, x0, x1, h int32) {
	if x0 > x1 {
		x0, x1 = x1, x0
	}
	x0 = min(max(x0-r.left<<6, 0), r.w<<6)
	x1 = min(max(x1-r.left<<6, 0), r.w<<6)
	sums := r.sums[row*(r.w+2):][:r.w+2]
	wide, done := x1-x0, int32(0)
	for x := x0; ; {
		cell := x >> 6
		end := min((cell+1)<<6, x1)
		part := h - done
		if end < x1 {
			part = int32(floor(int64(h)*int64(end-x0), int64(wide))) - done
		}
		f := x - cell<<6 + end - cell<<6
		sums[cell] += part * (128 - f)
		sums[cell+1] += part * f
		done += part
		if end >= x1 {
			return
		}
		x = end
	}
}
