package picture

import "strconv"

// look is how a die is shown.
type look struct {
	body, edge, pip Colour
	edgeOf, pipOf   Length // a hundredth of the side each
	raised          bool   // a shadow below
}

var (
	counted = look{blue, blueRim, white, 5, 10, true}
	rest    = look{bone, boneRim, bonePip, 3, 9, false}
	plainly = look{white, ink, ink, 5, 10, true}
)

// spots is where the pips of a d6 are, in quarters of the side from its middle.
var spots = [7][][2]Length{
	1: {{0, 0}},
	2: {{-1, -1}, {1, 1}},
	3: {{-1, -1}, {0, 0}, {1, 1}},
	4: {{-1, -1}, {1, -1}, {-1, 1}, {1, 1}},
	5: {{-1, -1}, {1, -1}, {0, 0}, {-1, 1}, {1, 1}},
	6: {{-1, -1}, {1, -1}, {-1, 0}, {1, 0}, {-1, 1}, {1, 1}},
}

// die draws a die with its upper left corner at a point: with pips if it has
// six sides, else with a numeral.
func (p *pen) die(at Point, side Length, face, sides int, l look) {
	b := Box{at.X, at.Y, at.X + side, at.Y + side}
	corner := side / 5
	if l.raised {
		s := b
		s.Y0, s.Y1 = s.Y0+side*5/100, s.Y1+side*5/100
		p.fill(rounded(s, corner), shadow)
	}
	e := max(side*l.edgeOf/100, 4)
	p.fill(rounded(b, corner), l.edge)
	p.fill(rounded(b.Grown(-e), corner-e), l.body)
	mid := Point{at.X + side/2, at.Y + side/2}
	if sides != 6 || face < 1 || face > 6 {
		size := side * 62 / 100
		if face > 99 {
			size = side * 38 / 100
		}
		p.put(Text{At: Point{mid.X, mid.Y + size*36/100}, Anchor: Middle, Size: size, Bold: true, Colour: l.pip, Words: strconv.Itoa(face)})
		return
	}
	var pips Shape
	for _, s := range spots[face] {
		pips = append(pips, circle(Point{mid.X + s[0]*side/4, mid.Y + s[1]*side/4}, side*l.pipOf/100)...)
	}
	p.fill(pips, l.pip)
}
