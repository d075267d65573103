package picture

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
)

// Dice is a throw, or a chain of throws, as it fell.
type Dice struct {
	Title  string  `json:"title"`            // who
	Detail string  `json:"detail,omitempty"` // what they rolled
	Alt    string  `json:"alt"`
	Throws []Throw `json:"throws"`
}

// Throw is the dice of one step. With a need, Good are those that met it; without,
// all stand in Good.
type Throw struct {
	Title string `json:"title,omitempty"` // of a step in a chain
	Sides int    `json:"sides"`
	Good  Group  `json:"good"`
	Rest  Group  `json:"rest"`
}

// Group is dice that belong together: a number and a word for them, and the
// faces, in any order; the picture sorts them.
type Group struct {
	Number string `json:"number"`
	Word   string `json:"word"`
	Faces  []int  `json:"faces"`
}

// The limits of a dice picture.
const (
	MaxDice   = 10_000
	MaxThrows = 24
	MaxSides  = 65_536
	eachDie   = 60 // more dice than these are shown as one die a face with a count
)

func (d Dice) check() error {
	if len(d.Throws) == 0 || len(d.Throws) > MaxThrows {
		return fmt.Errorf("dice: %d throws; expected 1 to %d", len(d.Throws), MaxThrows)
	}
	n := 0
	for i, t := range d.Throws {
		if t.Sides < 2 || t.Sides > MaxSides {
			return fmt.Errorf("dice: throw %d has dice of %d sides; expected 2 to %d", i+1, t.Sides, MaxSides)
		}
		for _, f := range slices.Concat(t.Good.Faces, t.Rest.Faces) {
			if f < 1 || f > t.Sides {
				return fmt.Errorf("dice: throw %d shows %d on a die of %d sides", i+1, f, t.Sides)
			}
			n++
		}
	}
	if n > MaxDice {
		return fmt.Errorf("dice: %d dice; expected at most %d", n, MaxDice)
	}
	return nil
}

// Sheet lays the dice out: successes large and apart, the rest small under a
// rule, equal faces side by side.
func (d Dice) Sheet() (*Sheet, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	p := newPen(800, d.Alt)
	y := p.heading(d.Title, d.Detail)
	for i, t := range d.Throws {
		if i > 0 {
			y += p.u(4)
		}
		y = p.throw(t, y, len(d.Throws) > 1)
	}
	return p.closeAt(y + p.u(12)), nil
}

const (
	side   = 12.0 // margin at the left and right, phone points
	column = 62.0 // where dice begin: left of it stand numbers
)

// heading writes who and what in one line, shortened if it must be, and gives
// the height below it.
func (p *pen) heading(title, detail string) Length {
	t := Text{At: Point{p.u(side), p.u(21)}, Size: p.u(14), Bold: true, Colour: ink, Words: plain(title)}.fit(p.u(250))
	b := p.write(t)
	if detail != "" {
		p.write(Text{At: Point{b.X1 + p.u(6), t.At.Y}, Size: p.u(13), Colour: soft, Words: plain(detail)}.fit(px(p.Width) - b.X1 - p.u(6+side)))
	}
	return p.u(31)
}

// throw draws one step of a chain, or the whole picture if there is only one.
func (p *pen) throw(t Throw, y Length, chain bool) Length {
	if t.Title != "" {
		p.write(Text{At: Point{p.u(side), y + p.u(11)}, Size: p.u(11), Bold: true, Colour: ink, Words: plain(t.Title)}.fit(px(p.Width) - p.u(2*side)))
		y += p.u(17)
	}
	large, small := p.u(34), p.u(24)
	if chain {
		large, small = p.u(24), p.u(17)
	}
	y = p.group(t.Good, t.Sides, y, large, counted)
	if t.Rest.Number == "" && len(t.Rest.Faces) == 0 {
		return y
	}
	y += p.u(3)
	p.line(p.u(0.5), rule, Point{p.u(side), y}, Point{px(p.Width) - p.u(side), y})
	return p.group(t.Rest, t.Sides, y+p.u(7), small, rest)
}

// group draws a number, its word, and the dice.
func (p *pen) group(g Group, sides int, y, die Length, l look) Length {
	big, colour := die*88/100, ink
	if l == rest {
		colour = soft
	}
	number := Text{At: Point{p.u(side), y + big*3/4}, Size: big, Bold: true, Colour: colour, Words: plain(g.Number)}
	for room := p.u(column - side - 3); number.Width() > room && number.Size > p.u(9); {
		number.Size -= p.u(1)
	}
	p.write(number.fit(p.u(column - side - 3)))
	word := Text{At: Point{p.u(side), y + big*3/4 + p.u(11)}, Size: p.u(10), Colour: soft, Words: plain(g.Word)}
	p.write(word.fit(p.u(column - side - 3)))
	low := word.At.Y + p.u(3)
	if len(g.Faces) == 0 {
		return low
	}
	faces := slices.Clone(g.Faces)
	slices.SortFunc(faces, func(a, b int) int { return cmp.Compare(b, a) })
	if len(faces) > eachDie {
		return max(low, p.folded(faces, sides, y, die, l))
	}
	return max(low, p.spread(faces, sides, y, die, l))
}

// spread draws every die. A row that is full breaks between faces where it can:
// then a row is a face.
func (p *pen) spread(faces []int, sides int, y, die Length, l look) Length {
	left, right := p.u(column), px(p.Width)-p.u(side)
	gap, apart := die*16/100, die*22/100
	x := left
	for i := 0; i < len(faces); {
		n := alike(faces[i:])
		wide := Length(n)*(die+gap) - gap
		if x > left && x+apart+wide > right {
			x, y = left, y+die+gap
		} else if x > left {
			x += apart
		}
		for range n {
			if x+die > right {
				x, y = left, y+die+gap
			}
			p.die(Point{x, y}, die, faces[i], sides, l)
			x += die + gap
		}
		i += n
	}
	return y + die + p.u(4)
}

// folded draws one die a face and how many there were.
func (p *pen) folded(faces []int, sides int, y, die Length, l look) Length {
	left, right := p.u(column), px(p.Width)-p.u(side)
	x := left
	for i := 0; i < len(faces); {
		n := alike(faces[i:])
		times := Text{Size: p.u(12), Bold: true, Colour: ink, Words: "× " + strconv.Itoa(n)}
		wide := die + p.u(4) + times.Width()
		if x > left && x+wide > right {
			x, y = left, y+die+p.u(5)
		}
		p.die(Point{x, y}, die, faces[i], sides, l)
		times.At = Point{x + die + p.u(4), y + die/2 + p.u(4)}
		p.write(times)
		x += wide + p.u(9)
		if i += n; y > px(MaxSide)-p.u(80) && i < len(faces) {
			p.write(Text{At: Point{left, y + die + p.u(12)}, Size: p.u(11), Colour: soft, Words: "…"})
			return y + die + p.u(17)
		}
	}
	return y + die + p.u(4)
}

// alike counts how many faces at the front are the same.
func alike(faces []int) int {
	n := 1
	for n < len(faces) && faces[n] == faces[0] {
		n++
	}
	return n
}
