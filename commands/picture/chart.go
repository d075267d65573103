package picture

import (
	"fmt"
	"strconv"
)

// Odds is a law as bars: how likely each number is.
type Odds struct {
	Title   string `json:"title"`            // the question
	Detail  string `json:"detail,omitempty"` // its answer in one sentence
	Alt     string `json:"alt"`
	Axis    string `json:"axis"`    // what is counted
	First   int    `json:"first"`   // the number of the first bar
	Chances []int  `json:"chances"` // of First, First+1, …, in millionths
	Band    *Band  `json:"band,omitempty"`
	Fell    *Flag  `json:"fell,omitempty"`
}

// Band marks the bars From to To, both included, with words over them.
type Band struct {
	From  int    `json:"from"`
	To    int    `json:"to"`
	Words string `json:"words"`
}

// Flag marks one number with words.
type Flag struct {
	At    int    `json:"at"`
	Words string `json:"words"`
}

// MaxBars is how many numbers a chart shows.
const MaxBars = 2000

const million = 1_000_000

func (o Odds) check() error {
	if len(o.Chances) == 0 || len(o.Chances) > MaxBars {
		return fmt.Errorf("odds: %d chances; expected 1 to %d", len(o.Chances), MaxBars)
	}
	if o.First < -million || o.First > million {
		return fmt.Errorf("odds: first is %d; expected at most a million either way", o.First)
	}
	for i, c := range o.Chances {
		if c < 0 || c > million {
			return fmt.Errorf("odds: chance of %d is %d; expected millionths, 0 to %d", o.First+i, c, million)
		}
	}
	return nil
}

// bars is where the bars of a chart stand.
type bars struct {
	*pen
	odds              Odds
	left, right       Length
	top, floor, tall  Length // of the tallest bar's top, of all feet, and between
	most              int
	bandTop, bandText Length
}

// Sheet draws the chart: the middle dark on a band, the rest pale, what fell in
// amber with a flag. There is no upright axis: the words say the numbers.
func (o Odds) Sheet() (*Sheet, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	p := newPen(800, o.Alt)
	y := p.titles(o.Title, o.Detail)
	b := bars{pen: p, odds: o, left: p.u(side), right: px(p.Width) - p.u(side)}
	b.bandTop, b.bandText = y, y+p.u(11)
	b.top, b.floor = y+p.u(36), y+p.u(144)
	b.tall = b.floor - b.top
	for _, c := range o.Chances {
		b.most = max(b.most, c)
	}
	b.band()
	for i, c := range o.Chances {
		b.bar(i, c)
	}
	p.line(p.u(0.9), ink, Point{b.left, b.floor}, Point{b.right, b.floor})
	b.axis()
	b.flag()
	p.write(Text{At: Point{p.u(side), b.floor + p.u(29)}, Size: p.u(11), Colour: soft, Words: plain(o.Axis)}.fit(p.u(370)))
	return p.closeAt(b.floor + p.u(36)), nil
}

// titles writes a question and the sentence that answers it, each in its line.
func (p *pen) titles(title, detail string) Length {
	p.write(Text{At: Point{p.u(side), p.u(20)}, Size: p.u(13.5), Bold: true, Colour: ink, Words: plain(title)}.fit(p.u(400 - 2*side)))
	if detail == "" {
		return p.u(28)
	}
	p.write(Text{At: Point{p.u(side), p.u(35)}, Size: p.u(11), Colour: soft, Words: plain(detail)}.fit(p.u(400 - 2*side)))
	return p.u(44)
}

// span is where bar i has its place, its share of the gaps included.
func (b bars) span(i int) (x0, x1 Length) {
	n := len(b.odds.Chances)
	wide := int(b.right - b.left)
	return b.left + Length(wide*i/n), b.left + Length(wide*(i+1)/n)
}

// slim is the bar without its gaps, 24 in 100 of its place; bars too thin for
// gaps stand side by side.
func (b bars) slim(i int) (x0, x1 Length) {
	x0, x1 = b.span(i)
	if gap := (x1 - x0) * 12 / 100; gap >= 4 {
		return x0 + gap, x1 - gap
	}
	return x0, x1
}

// within gives a band's bars, cut to those that are there.
func (b bars) within() (from, to int, ok bool) {
	if b.odds.Band == nil {
		return 0, 0, false
	}
	from = max(b.odds.Band.From-b.odds.First, 0)
	to = min(b.odds.Band.To-b.odds.First, len(b.odds.Chances)-1)
	return from, to, from <= to
}

func (b bars) band() {
	from, to, ok := b.within()
	if !ok {
		return
	}
	x0, _ := b.span(from)
	_, x1 := b.span(to)
	b.fill(rectangle(Box{x0, b.bandTop, x1, b.floor}), ground)
	t := Text{At: Point{(x0 + x1) / 2, b.bandText}, Anchor: Middle, Size: b.u(11), Bold: true, Colour: ink, Words: plain(b.odds.Band.Words)}
	b.write(b.inside(t))
}

// inside moves a centred text so that it lies between the margins.
func (b bars) inside(t Text) Text {
	t = t.fit(b.right - b.left)
	half := t.Width()/2 + 1
	t.At.X = min(max(t.At.X, b.left+half), b.right-half)
	return t
}

func (b bars) height(chance int) Length {
	if chance == 0 || b.most == 0 {
		return 0
	}
	return max(Length(int64(b.tall)*int64(chance)/int64(b.most)), 2)
}

func (b bars) bar(i, chance int) {
	x0, x1 := b.slim(i)
	box := Box{x0, b.floor - b.height(chance), x1, b.floor}
	fell := b.odds.Fell != nil && b.odds.Fell.At == b.odds.First+i
	if box.Y0 == box.Y1 && !fell {
		return
	}
	from, to, ok := b.within()
	switch {
	case fell:
		if x1-x0 < b.u(3) { // a thin bar would be lost
			box.X0, box.X1 = (x0+x1)/2-b.u(1.5), (x0+x1)/2+b.u(1.5)
		}
		box.Y0 = min(box.Y0, b.floor-b.u(2))
		b.fill(rectangle(box), rim)
		b.fill(rectangle(Box{box.X0 + b.u(0.6), box.Y0 + b.u(0.6), box.X1 - b.u(0.6), box.Y1}), amber)
	case ok && (i < from || i > to):
		b.fill(rectangle(box), pale)
	default:
		b.fill(rectangle(box), blue)
	}
}

// axis writes numbers under the bars, so few that they keep apart.
func (b bars) axis() {
	n := len(b.odds.Chances)
	each := 1
	for _, s := range []int{1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000} {
		if each = s; int(b.right-b.left)*s/n >= int(b.u(22)) {
			break
		}
	}
	for i := range n {
		if v := b.odds.First + i; v%each == 0 {
			x0, x1 := b.span(i)
			b.write(b.inside(Text{At: Point{(x0 + x1) / 2, b.floor + b.u(13)}, Anchor: Middle, Size: b.u(10), Colour: soft, Words: strconv.Itoa(v)}))
		}
	}
}

// flag points at what fell.
func (b bars) flag() {
	f := b.odds.Fell
	if f == nil || f.At < b.odds.First || f.At >= b.odds.First+len(b.odds.Chances) {
		return
	}
	i := f.At - b.odds.First
	x0, x1 := b.slim(i)
	mid, tip := (x0+x1)/2, b.floor-max(b.height(b.odds.Chances[i]), b.u(2))-b.u(1)
	t := b.inside(Text{At: Point{mid, tip - b.u(8)}, Anchor: Middle, Size: b.u(11), Bold: true, Colour: rim, Words: plain(f.Words)})
	half := t.Width()/2 + b.u(4)
	box := Box{t.At.X - half, tip - b.u(19), t.At.X + half, tip - b.u(4)}
	b.fill(polygon(Point{mid - b.u(4), box.Y1}, Point{mid + b.u(4), box.Y1}, Point{mid, tip}), rim)
	b.fill(rounded(box, b.u(2)), rim)
	b.fill(rounded(box.Grown(-b.u(0.8)), b.u(1.4)), cream)
	b.write(t)
}
