package picture

// Whose is which ground: a point belongs to the nearest site (the diagram of
// Voronoi), found by cutting the frame with the line half way to every other
// site. Corners are computed from the three lines that meet there, always in
// the same order and exactly, so that neighbours agree on them to the last bit.

// The frame's sides, as neighbours.
const (
	topSide = -1 - iota
	rightSide
	bottomSide
	leftSide
)

// cell is a site's ground: corner k is where the side shared with next[k-1]
// ends and the one shared with next[k] begins.
type cell struct {
	corners []Point
	next    []int // the neighbour along the side from corner k to corner k+1
}

type valley struct {
	sites []Point
	frame Box
}

func cells(sites []Point, frame Box) []cell {
	g := valley{sites, frame}
	out := make([]cell, len(sites))
	for i := range sites {
		out[i] = g.cell(i)
	}
	return out
}

func (g valley) cell(i int) cell {
	f := g.frame
	c := cell{
		corners: []Point{{f.X0, f.Y0}, {f.X1, f.Y0}, {f.X1, f.Y1}, {f.X0, f.Y1}},
		next:    []int{topSide, rightSide, bottomSide, leftSide},
	}
	for j := range g.sites {
		if j != i && len(c.corners) > 0 {
			c = g.cut(c, i, j)
		}
	}
	return c.tidy()
}

// cut keeps of a cell of site i what is not nearer to site j.
func (g valley) cut(c cell, i, j int) (out cell) {
	n := len(c.corners)
	far := make([]bool, n)
	any := false
	for k, p := range c.corners {
		far[k] = square(p, g.sites[i]) > square(p, g.sites[j])
		any = any || far[k]
	}
	if !any {
		return c
	}
	add := func(p Point, next int) {
		out.corners, out.next = append(out.corners, p), append(out.next, next)
	}
	for k, p := range c.corners {
		side, after := c.next[k], (k+1)%n
		switch {
		case !far[k] && !far[after]:
			add(p, side)
		case !far[k]:
			add(p, side)
			add(g.meet(i, side, j), j)
		case !far[after]:
			add(g.meet(i, j, side), side)
		}
	}
	return out
}

func square(a, b Point) int64 {
	dx, dy := int64(a.X-b.X), int64(a.Y-b.Y)
	return dx*dx + dy*dy
}

// meet is where two sides of site i's cell meet.
func (g valley) meet(i, a, b int) Point {
	if a < 0 {
		a, b = b, a
	}
	var p Point
	if b < 0 {
		p = g.onFrame(min(i, a), max(i, a), b)
	} else {
		lo, hi := min(i, a, b), max(i, a, b)
		p = g.centre(lo, i+a+b-lo-hi, hi)
	}
	f := g.frame
	return Point{min(max(p.X, f.X0), f.X1), min(max(p.Y, f.Y0), f.Y1)}
}

// centre is the point as far from each of three sites (circumcentre).
func (g valley) centre(i, j, k int) Point {
	o := g.sites[i]
	bx, by := int64(g.sites[j].X-o.X), int64(g.sites[j].Y-o.Y)
	cx, cy := int64(g.sites[k].X-o.X), int64(g.sites[k].Y-o.Y)
	d := 2 * (bx*cy - by*cx)
	if d == 0 { // in one line: no such point, and nothing to cut
		return o
	}
	b, c := bx*bx+by*by, cx*cx+cy*cy
	x, y := cy*b-by*c, bx*c-cx*b
	if d < 0 {
		d, x, y = -d, -x, -y
	}
	return Point{o.X + Length(floor(2*x+d, 2*d)), o.Y + Length(floor(2*y+d, 2*d))}
}

// onFrame is where the line half way between two sites meets a frame's side.
func (g valley) onFrame(i, j, side int) Point {
	a, b := g.sites[i], g.sites[j]
	dx, dy := int64(b.X-a.X), int64(b.Y-a.Y)
	// dx·(2x - a.X - b.X) + dy·(2y - a.Y - b.Y) = 0
	sum := dx*int64(a.X+b.X) + dy*int64(a.Y+b.Y)
	solve := func(known, with, by int64) Length {
		n, d := sum-2*known*with, 2*by
		if d == 0 {
			return Length(known)
		}
		if d < 0 {
			n, d = -n, -d
		}
		return Length(floor(2*n+d, 2*d))
	}
	switch side {
	case topSide:
		return Point{solve(int64(g.frame.Y0), dy, dx), g.frame.Y0}
	case bottomSide:
		return Point{solve(int64(g.frame.Y1), dy, dx), g.frame.Y1}
	case leftSide:
		return Point{g.frame.X0, solve(int64(g.frame.X0), dx, dy)}
	}
	return Point{g.frame.X1, solve(int64(g.frame.X1), dx, dy)}
}

// tidy drops sides of no length, which rounding leaves where four sites are as
// far from one point.
func (c cell) tidy() (out cell) {
	n := len(c.corners)
	for k, p := range c.corners {
		if p != c.corners[(k+1)%n] {
			out.corners, out.next = append(out.corners, p), append(out.next, c.next[k])
		}
	}
	return out
}

// wander bends a border as a brook would run, by a hash of its two ends, so
// that the cells on both sides bend it alike. It gives the points after a, up
// to and with b.
func wander(a, b Point, most Length) []Point {
	if b.X < a.X || b.X == a.X && b.Y < a.Y {
		back := wander(b, a, most)
		out := make([]Point, 0, len(back))
		for i := len(back) - 2; i >= 0; i-- {
			out = append(out, back[i])
		}
		return append(out, b)
	}
	return bow(nil, a, b, most, 3)
}

func bow(out []Point, a, b Point, most Length, depth int) []Point {
	long := Length(root(square(a, b)))
	if depth == 0 || long < 4*most {
		return append(out, b)
	}
	h := hash(a, b)
	reach := min(long*12/100, most)
	aside := int64(h%2001) - 1000
	shift := int64(h>>16%401) - 200
	dx, dy := int64(b.X-a.X), int64(b.Y-a.Y)
	l := int64(long)
	mid := Point{
		a.X + Length(floor(dx*(1000+shift), 2000)-floor(dy*int64(reach)*aside, 1000*l)),
		a.Y + Length(floor(dy*(1000+shift), 2000)+floor(dx*int64(reach)*aside, 1000*l)),
	}
	out = bow(out, a, mid, most*3/4, depth-1)
	return bow(out, mid, b, most*3/4, depth-1)
}

// hash stirs two points (the finaliser of a 64-bit mixing function; any would do).
func hash(a, b Point) uint64 {
	h := uint64(0x9E3779B97F4A7C15)
	for _, v := range [4]Length{a.X, a.Y, b.X, b.Y} {
		h ^= uint64(uint32(v))
		h *= 0xBF58476D1CE4E5B9
		h ^= h >> 29
	}
	return h >> 8
}

// within keeps what of a line runs in a box, as one line for each time that it
// comes in.
func within(line []Point, b Box) [][]Point {
	var runs [][]Point
	var run []Point
	for i := 0; i+1 < len(line); i++ {
		from, to, ok := clipped(line[i], line[i+1], b)
		if !ok {
			continue
		}
		if n := len(run); n == 0 || run[n-1] != from {
			if n > 0 {
				runs = append(runs, run)
			}
			run = []Point{from}
		}
		run = append(run, to)
	}
	if len(run) > 0 {
		runs = append(runs, run)
	}
	return runs
}

// clipped is the part of a piece that lies in a box (Liang and Barsky's way): how
// far along it each side is crossed, as a fraction of whole numbers.
func clipped(p, q Point, b Box) (from, to Point, ok bool) {
	dx, dy := int64(q.X-p.X), int64(q.Y-p.Y)
	in, out := [2]int64{0, 1}, [2]int64{1, 1} // fractions: over, under
	for _, side := range [4][2]int64{{-dx, int64(p.X - b.X0)}, {dx, int64(b.X1 - p.X)}, {-dy, int64(p.Y - b.Y0)}, {dy, int64(b.Y1 - p.Y)}} {
		speed, room := side[0], side[1]
		switch {
		case speed == 0 && room < 0:
			return p, q, false
		case speed < 0 && in[0]*speed > room*in[1]: // in/1 < room/speed, speed below zero
			in = [2]int64{-room, -speed}
		case speed > 0 && out[0]*speed > room*out[1]:
			out = [2]int64{room, speed}
		}
	}
	if in[0]*out[1] > out[0]*in[1] {
		return p, q, false
	}
	at := func(f [2]int64) Point {
		return Point{p.X + Length(floor(dx*f[0], f[1])), p.Y + Length(floor(dy*f[0], f[1]))}
	}
	return at(in), at(out), true
}

// curve is a smooth line through points (Catmull and Rom's), as short pieces.
func curve(through []Point) []Point {
	if len(through) < 3 {
		return through
	}
	at := func(i int) Point { return through[min(max(i, 0), len(through)-1)] }
	out := []Point{through[0]}
	const n = 12
	for i := 0; i+1 < len(through); i++ {
		p0, p1, p2, p3 := at(i-1), at(i), at(i+1), at(i+2)
		for k := int64(1); k <= n; k++ {
			f := func(a, b, c, d Length) Length {
				// half of: 2b + (c-a)t + (2a-5b+4c-d)t² + (3b-a-3c+d)t³, t = k/n
				a0, b0, c0, d0 := int64(a), int64(b), int64(c), int64(d)
				sum := 2*b0*n*n*n + (c0-a0)*k*n*n + (2*a0-5*b0+4*c0-d0)*k*k*n + (3*b0-a0-3*c0+d0)*k*k*k
				return Length(floor(sum+n*n*n, 2*n*n*n))
			}
			out = append(out, Point{f(p0.X, p1.X, p2.X, p3.X), f(p0.Y, p1.Y, p2.Y, p3.Y)})
		}
	}
	return out
}
