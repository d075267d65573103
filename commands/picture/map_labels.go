package picture

import (
	"fmt"
	"strconv"
)

// badge draws an owner's sign, round, or as a house for a home.
func (p *pen) badge(at Point, r Length, o owner, letter string, home bool) {
	shape := circle
	if home {
		shape = house
	}
	e := p.u(0.9)
	p.fill(shape(at, r+e/2), paper)
	p.fill(shape(at, r), ink)
	p.fill(shape(at, r-e), o.badge)
	size := max(r*5/4, p.u(9))
	t := Text{At: Point{at.X, at.Y + size*36/100}, Anchor: Middle, Size: size, Bold: true, Colour: o.letter, Words: initial(letter)}
	p.put(t)
}

// initial is a letter for a badge; nobody has a dash.
func initial(letter string) string {
	for _, r := range plain(letter) {
		return string(r)
	}
	return "–"
}

// cross is the sign of a battle.
func (p *pen) cross(c Point, r Length) {
	for _, s := range [2]struct {
		wide Length
		ink  Colour
	}{{p.u(3.6), paper}, {p.u(2), red}} {
		p.line(s.wide, s.ink, Point{c.X - r, c.Y - r}, Point{c.X + r, c.Y + r})
		p.line(s.wide, s.ink, Point{c.X - r, c.Y + r}, Point{c.X + r, c.Y - r})
	}
}

// arrow points from what was to what is.
func (p *pen) arrow(from, to Point) {
	head := p.u(3)
	back := Point{to.X - head, to.Y}
	if to.X < from.X {
		back.X = to.X + head
	}
	p.line(p.u(2.6), paper, from, to)
	p.line(p.u(1.2), ink, from, back)
	p.fill(polygon(to, Point{back.X, to.Y - head*3/4}, Point{back.X, to.Y + head*3/4}), ink)
}

// plate is where a region's name, or the number that stands for it, may go.
type plate struct {
	text Text
	box  Box
}

// labels draws badges, signs and names, and gives the names that found no room
// and stand as numbers: the key has them.
func (d *plan) labels() (numbered []int) {
	var taken []Box
	for i, r := range d.Regions {
		taken = append(taken, d.seat(i, r.Home))
	}
	for i, r := range d.Regions {
		taken = d.signs(i, r, taken)
	}
	for i, r := range d.Regions {
		d.badge(d.seats[i], d.u(7.2), d.owner(r.Owner), d.letter(r.Owner), r.Home)
	}
	plates := make([]*plate, len(d.Regions))
	for range 3 {
		for i := range d.Regions {
			plates[i] = nil
			plates[i] = d.place(i, d.name(i), taken, plates)
		}
	}
	for i, p := range plates {
		if p != nil {
			continue
		}
		if n := d.place(i, strconv.Itoa(i+1), taken, plates); n != nil {
			plates[i] = n
			numbered = append(numbered, i)
		}
	}
	for _, p := range plates {
		if p != nil {
			d.put(Fill{Shape: rounded(p.box, d.u(2)), Colour: paper, Thin: 46})
			d.write(p.text)
		}
	}
	return numbered
}

func (d *plan) name(i int) string { return shown(d.Regions[i].Name, i+1) }

// seat is what a region's badge takes.
func (d *plan) seat(i int, home bool) Box {
	b := around(d.seats[i], d.u(8.7))
	if home {
		b.Y0 -= d.u(3.6)
	}
	return b
}

func around(c Point, r Length) Box { return Box{c.X - r, c.Y - r, c.X + r, c.Y + r} }

// signs draws a region's battle and who held it before, each at the first side
// of the badge that is free; where none is, the sign is left to the words.
func (d *plan) signs(i int, r Region, taken []Box) []Box {
	at := d.seats[i]
	room := func(size Length, offs ...Point) (Point, bool) {
		for _, o := range offs {
			c := Point{at.X + o.X, at.Y + o.Y}
			if b := around(c, size); d.free(b, taken, nil) {
				taken = append(taken, b)
				return c, true
			}
		}
		return Point{}, false
	}
	if r.Was != nil && *r.Was != r.Owner {
		if old, ok := room(d.u(7), Point{-d.u(22), 0}, Point{d.u(22), 0}); ok {
			tip := Point{at.X - d.u(7.7), at.Y}
			if old.X > at.X {
				tip.X = at.X + d.u(7.7)
			}
			d.arrow(old, tip)
			d.badge(old, d.u(5.8), d.owner(*r.Was), d.letter(*r.Was), false)
		}
	}
	if r.Battle {
		x, y := d.u(14.5), d.u(9)
		if c, ok := room(d.u(5), Point{x, -y}, Point{-x, -y}, Point{x, y}, Point{-x, y}, Point{x, 0}, Point{-x, 0}, Point{0, x}); ok {
			d.cross(c, d.u(3.4))
		}
	}
	return taken
}

func (d *plan) letter(owner int) string {
	if owner < 0 {
		return ""
	}
	return d.Owners[owner].Letter
}

// place finds room for a name: below its badge, then above, right, left and
// askew; nil if every place would cover something.
func (d *plan) place(i int, name string, taken []Box, plates []*plate) *plate {
	t := Text{Anchor: Middle, Size: d.u(9.5), Colour: ink, Words: name}.fit(d.u(96))
	half := t.Width()/2 + d.u(2.5)
	at := d.seats[i]
	beside := half + d.u(10)
	for _, off := range []Point{
		{0, d.u(19)}, {0, -d.u(13)}, {beside, d.u(3)}, {-beside, d.u(3)},
		{half * 2 / 3, d.u(19)}, {-half * 2 / 3, d.u(19)}, {half * 2 / 3, -d.u(13)}, {-half * 2 / 3, -d.u(13)},
		{beside, d.u(12)}, {-beside, d.u(12)}, {beside, -d.u(7)}, {-beside, -d.u(7)}, {0, d.u(26)}, {0, -d.u(20)},
	} {
		t.At = Point{at.X + off.X, at.Y + off.Y}
		p := plate{text: t, box: Box{t.At.X - half, t.At.Y - d.u(9.2), t.At.X + half, t.At.Y + d.u(3.4)}}
		if d.free(p.box, taken, plates) {
			return &p
		}
	}
	return nil
}

func (d *plan) free(b Box, taken []Box, plates []*plate) bool {
	if !b.Within(d.frame.Grown(-d.u(0.5))) {
		return false
	}
	for _, t := range taken {
		if b.Meets(t) {
			return false
		}
	}
	for _, p := range plates {
		if p != nil && b.Meets(p.box) {
			return false
		}
	}
	return true
}

// key explains the owners, the signs, and the numbers that stand for names.
func (d *plan) key(y Length, numbered []int) Length {
	k := keyLine{plan: d, x: d.u(8), y: y}
	for i, o := range d.Owners {
		k.item(d.u(17), o.Name, func(at Point) { d.badge(Point{at.X + d.u(6.5), at.Y}, d.u(6), lookOf(i), o.Letter, false) })
	}
	w := d.Words
	has := func(f func(Region) bool) bool {
		for _, r := range d.Regions {
			if f(r) {
				return true
			}
		}
		return false
	}
	if w.Battle != "" && has(func(r Region) bool { return r.Battle }) {
		k.item(d.u(13), w.Battle, func(at Point) { d.cross(Point{at.X + d.u(5), at.Y}, d.u(3.4)) })
	}
	if w.Home != "" && has(func(r Region) bool { return r.Home }) {
		k.item(d.u(15), w.Home, func(at Point) {
			d.fill(house(Point{at.X + d.u(6), at.Y + d.u(1)}, d.u(5)), ink)
			d.fill(house(Point{at.X + d.u(6), at.Y + d.u(1)}, d.u(4)), paper)
		})
	}
	if w.Was != "" && has(func(r Region) bool { return r.Was != nil && *r.Was != r.Owner }) {
		k.item(d.u(15), w.Was, func(at Point) { d.arrow(Point{at.X, at.Y}, Point{at.X + d.u(12), at.Y}) })
	}
	for _, l := range []struct{ by, words string }{{"road", w.Road}, {"river", w.River}, {"pass", w.Pass}} {
		if l.words != "" && d.uses(l.by) {
			k.item(d.u(20), l.words, func(at Point) { d.link(l.by, at, Point{at.X + d.u(16), at.Y}) })
		}
	}
	for _, i := range numbered {
		k.item(0, fmt.Sprintf("%d %s", i+1, plain(d.Regions[i].Name)), nil)
	}
	return k.y + d.u(20)
}

func (d *plan) uses(by string) bool {
	for _, l := range d.Links {
		if l.By == by {
			return true
		}
	}
	return false
}

// keyLine fills lines with signs and their words.
type keyLine struct {
	*plan
	x, y Length
}

func (k *keyLine) item(sign Length, words string, draw func(at Point)) {
	t := Text{Size: k.u(10), Colour: ink, Words: plain(words)}.fit(k.u(180))
	if wide := sign + t.Width(); k.x > k.u(8) && k.x+wide > k.u(392) {
		k.x, k.y = k.u(8), k.y+k.u(16)
	}
	if draw != nil {
		draw(Point{k.x, k.y + k.u(8)})
	}
	t.At = Point{k.x + sign, k.y + k.u(11.5)}
	k.write(t)
	k.x += sign + t.Width() + k.u(10)
}
