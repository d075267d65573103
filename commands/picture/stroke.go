package picture

// round24 is 24 directions around, in 16,384ths: the cosines of steps of 15
// degrees. Corners of lines are filled with the polygon that they make.
var round24 = func() (out [24]dot) {
	quarter := [7]int32{16384, 15826, 14189, 11585, 8192, 4240, 0}
	for i := range out {
		cos := func(k int) int32 {
			switch k %= 24; {
			case k <= 6:
				return quarter[k]
			case k <= 12:
				return -quarter[12-k]
			case k <= 18:
				return -quarter[k-12]
			}
			return quarter[24-k]
		}
		out[i] = dot{cos(i), cos(i + 18)}
	}
	return out
}()

// flatten turns a stroke into polygons, all wound the same way: one for each
// straight piece and one for each corner.
func (s Stroke) flatten() [][]dot {
	line := make([]dot, 0, len(s.Points)+1)
	for _, p := range s.Points {
		if d := p.dot(); len(line) == 0 || line[len(line)-1] != d {
			line = append(line, d)
		}
	}
	if s.Closed && len(line) > 1 && line[0] != line[len(line)-1] {
		line = append(line, line[0])
	}
	half := int32(s.Width) * 4
	if s.Dash == nil {
		return along(nil, line, half, s.Closed)
	}
	var out [][]dot
	for _, piece := range dashes(line, s.Dash) {
		out = along(out, piece, half, false)
	}
	return out
}

// along is a line of a width: a quad a piece, a polygon a corner.
func along(out [][]dot, line []dot, half int32, closed bool) [][]dot {
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		n := normal(a, b, half)
		out = append(out, []dot{
			{a.x + n.x, a.y + n.y}, {a.x - n.x, a.y - n.y}, {b.x - n.x, b.y - n.y}, {b.x + n.x, b.y + n.y},
		})
		if i+1 < len(line) || closed {
			out = append(out, corner(b, half))
		}
	}
	return out
}

// normal is the direction across a piece, half a line's width long.
func normal(a, b dot, half int32) dot {
	dx, dy := int64(b.x-a.x), int64(b.y-a.y)
	l := max(root((dx*dx+dy*dy)<<8), 1) // 16 times as exact
	return dot{int32(floor(-dy*int64(half)*16+l/2, l)), int32(floor(dx*int64(half)*16+l/2, l))}
}

func corner(c dot, half int32) []dot {
	out := make([]dot, 0, len(round24))
	step := 1
	if half < 3*64/2 {
		step = 2
	}
	for i := 0; i < len(round24); i += step {
		d := round24[i]
		out = append(out, dot{c.x + int32(floor(int64(d.x)*int64(half)+8192, 16384)), c.y + int32(floor(int64(d.y)*int64(half)+8192, 16384))})
	}
	return out
}

// dashes cuts a line into the pieces that are drawn.
func dashes(line []dot, dash []Length) (out [][]dot) {
	if len(line) == 0 {
		return nil
	}
	on, turn := true, 0
	left := int64(max(dash[0], 1)) * 8
	piece := []dot{line[0]}
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		dx, dy := int64(b.x-a.x), int64(b.y-a.y)
		long := root(dx*dx + dy*dy)
		for gone := int64(0); ; {
			if long-gone <= left {
				left -= long - gone
				if on {
					piece = append(piece, b)
				}
				break
			}
			gone += left
			at := dot{a.x + int32(floor(dx*gone, long)), a.y + int32(floor(dy*gone, long))}
			if on {
				out = append(out, append(piece, at))
			}
			on, turn, piece = !on, (turn+1)%len(dash), []dot{at}
			left = int64(max(dash[turn], 1)) * 8
		}
	}
	if on && len(piece) > 1 {
		out = append(out, piece)
	}
	return out
}
