package picture

// Shape is a set of closed contours.
type Shape []Contour

// Contour is a closed line: from From through the steps and back.
type Contour struct {
	From  Point
	Steps []Step
}

// Step goes on to a point, straight, or as a cubic curve by way of two others.
type Step struct {
	Curve  bool
	C1, C2 Point
	To     Point
}

// polygon is the shape between points.
func polygon(points ...Point) Shape {
	if len(points) == 0 {
		return nil
	}
	c := Contour{From: points[0]}
	for _, p := range points[1:] {
		c.Steps = append(c.Steps, Step{To: p})
	}
	return Shape{c}
}

func rectangle(b Box) Shape {
	return polygon(Point{b.X0, b.Y0}, Point{b.X1, b.Y0}, Point{b.X1, b.Y1}, Point{b.X0, b.Y1})
}

// kappa is how far a curve's handles reach for a quarter of a circle, in
// 10,000ths of the radius: 4/3·(√2-1).
const kappa = 5523

func handle(r Length) Length { return Length((int64(r)*kappa + 5000) / 10000) }

// rounded is a rectangle whose corners are quarters of a circle.
func rounded(b Box, r Length) Shape {
	r = min(r, (b.X1-b.X0)/2, (b.Y1-b.Y0)/2)
	k := r - handle(r)
	return Shape{{From: Point{b.X0 + r, b.Y0}, Steps: []Step{
		{To: Point{b.X1 - r, b.Y0}},
		{Curve: true, C1: Point{b.X1 - k, b.Y0}, C2: Point{b.X1, b.Y0 + k}, To: Point{b.X1, b.Y0 + r}},
		{To: Point{b.X1, b.Y1 - r}},
		{Curve: true, C1: Point{b.X1, b.Y1 - k}, C2: Point{b.X1 - k, b.Y1}, To: Point{b.X1 - r, b.Y1}},
		{To: Point{b.X0 + r, b.Y1}},
		{Curve: true, C1: Point{b.X0 + k, b.Y1}, C2: Point{b.X0, b.Y1 - k}, To: Point{b.X0, b.Y1 - r}},
		{To: Point{b.X0, b.Y0 + r}},
		{Curve: true, C1: Point{b.X0, b.Y0 + k}, C2: Point{b.X0 + k, b.Y0}, To: Point{b.X0 + r, b.Y0}},
	}}}
}

func circle(c Point, r Length) Shape {
	return rounded(Box{c.X - r, c.Y - r, c.X + r, c.Y + r}, r)
}

// house is the sign of a home: a square with a gable.
func house(c Point, r Length) Shape {
	return polygon(Point{c.X, c.Y - r*3/2}, Point{c.X + r, c.Y - r/2}, Point{c.X + r, c.Y + r}, Point{c.X - r, c.Y + r}, Point{c.X - r, c.Y - r/2})
}

// dot is a place in 64ths of a pixel, the rasteriser's measure.
type dot struct{ x, y int32 }

func (p Point) dot() dot { return dot{int32(p.X) * 8, int32(p.Y) * 8} }

// flatten turns a shape into polygons.
func (s Shape) flatten() [][]dot {
	out := make([][]dot, 0, len(s))
	for _, c := range s {
		line := make([]dot, 1, len(c.Steps)*6+1)
		line[0] = c.From.dot()
		for _, t := range c.Steps {
			if t.Curve {
				line = bend(line, t.C1.dot(), t.C2.dot(), t.To.dot())
			} else {
				line = append(line, t.To.dot())
			}
		}
		out = append(out, line)
	}
	return out
}

// bend adds a cubic curve to a line, in pieces of which none leaves the curve
// by more than about an eighth of a pixel. Bernstein's sums with weights of n³
// and one floor division each: no floating point.
func bend(line []dot, b, c, d dot) []dot {
	a := line[len(line)-1]
	n := pieces(a, b, c) + pieces(b, c, d)
	for i := int64(1); i < n; i++ {
		j := n - i
		wa, wb, wc, wd := j*j*j, 3*i*j*j, 3*i*i*j, i*i*i
		line = append(line, dot{
			int32(floor(int64(a.x)*wa+int64(b.x)*wb+int64(c.x)*wc+int64(d.x)*wd, n*n*n)),
			int32(floor(int64(a.y)*wa+int64(b.y)*wb+int64(c.y)*wc+int64(d.y)*wd, n*n*n)),
		})
	}
	return append(line, d)
}

// pieces says into how many a curve is cut at a corner of its frame: the square
// root of the second difference, as the error of a chord falls with the square.
func pieces(a, b, c dot) int64 {
	dx, dy := int64(a.x-2*b.x+c.x), int64(a.y-2*b.y+c.y)
	return min(1+root(root(dx*dx+dy*dy)/8), 40)
}

// floor divides, rounding down; b is positive.
func floor(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// root is the whole square root, rounded down (Newton's method).
func root(n int64) int64 {
	if n < 2 {
		return max(n, 0)
	}
	x := n
	for y := (x + 1) / 2; y < x; y = (x + n/x) / 2 {
		x = y
	}
	return x
}
