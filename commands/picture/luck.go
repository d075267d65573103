package picture

import (
	"fmt"
	"strconv"
)

// Luck is how often each face fell, and how often it was to be expected.
type Luck struct {
	Title    string `json:"title"`
	Detail   string `json:"detail"` // the verdict on the whole set
	Alt      string `json:"alt"`
	Expected Flag   `json:"expected"` // At in thousandths
	Low      int    `json:"low"`      // 19 of 20 honest counts lie from Low to High
	High     int    `json:"high"`
	Note     string `json:"note"` // what the band is
	Sides    int    `json:"sides"`
	Rows     []Row  `json:"rows"`
}

// Row is one face's count; Word says it if it lies outside the band.
type Row struct {
	Face  int    `json:"face"`
	Count int    `json:"count"`
	Word  string `json:"word,omitempty"`
}

// MaxRows is how many faces a luck chart shows.
const MaxRows = 20

// maxCount is the most dice of one face; its thousandths fit an int of 32 bits.
const maxCount = 2_000_000

func (l Luck) check() error {
	if len(l.Rows) == 0 || len(l.Rows) > MaxRows {
		return fmt.Errorf("luck: %d rows; expected 1 to %d", len(l.Rows), MaxRows)
	}
	for _, r := range l.Rows {
		if r.Count < 0 || r.Count > maxCount || r.Face < 1 || r.Face > MaxSides {
			return fmt.Errorf("luck: face %d with count %d; expected a face of 1 or more and a count of 0 to %d", r.Face, r.Count, maxCount)
		}
	}
	if l.Low < 0 || l.High < l.Low || l.High > maxCount || l.Expected.At < 0 || l.Expected.At > 1000*maxCount {
		return fmt.Errorf("luck: band %d to %d, expected %d thousandths; expected counts of 0 or more, low before high", l.Low, l.High, l.Expected.At)
	}
	return nil
}

// Sheet draws a bar a face over the band of ordinary counts.
func (l Luck) Sheet() (*Sheet, error) {
	if err := l.check(); err != nil {
		return nil, err
	}
	p := newPen(800, l.Alt)
	top := p.titles(l.Title, l.Detail) + p.u(2)
	left, right := p.u(46), px(p.Width)-p.u(42)
	most := max(l.High, l.Expected.At/1000+1, 1)
	for _, r := range l.Rows {
		most = max(most, r.Count)
	}
	at := func(thousandths int) Length {
		return left + Length(int64(right-left)*int64(thousandths)/(int64(most)*1000))
	}
	each := p.u(25.5)
	foot := top + Length(len(l.Rows))*each
	p.fill(rectangle(Box{at(l.Low * 1000), top, at(l.High * 1000), foot}), 0xE0D6BF)
	for i, r := range l.Rows {
		p.count(r, l.Sides, top+Length(i)*each, left, at(r.Count*1000))
	}
	x := at(l.Expected.At)
	p.line(p.u(2), paper, Point{x, top}, Point{x, foot + p.u(1)})
	p.line(p.u(0.9), ink, Point{x, top}, Point{x, foot + p.u(1)})
	t := Text{At: Point{x, foot + p.u(12)}, Anchor: Middle, Size: p.u(11), Bold: true, Colour: ink, Words: plain(l.Expected.Words)}.fit(p.u(200))
	half := t.Width()/2 + 1
	t.At.X = min(max(x, p.u(side)+half), px(p.Width)-p.u(side)-half)
	p.write(t)
	p.write(Text{At: Point{p.u(side), foot + p.u(27)}, Size: p.u(11), Colour: soft, Words: plain(l.Note)}.fit(p.u(400 - 2*side)))
	return p.closeAt(foot + p.u(35)), nil
}

// count draws one face's row.
func (p *pen) count(r Row, sides int, y, left, end Length) {
	p.die(Point{p.u(side), y + p.u(2)}, p.u(21), r.Face, sides, plainly)
	bar := Box{left, y + p.u(5), max(end, left+p.u(0.5)), y + p.u(20.5)}
	p.fill(rectangle(bar), blue)
	n := Text{At: Point{left + p.u(6), y + p.u(16.5)}, Size: p.u(11), Bold: true, Colour: white, Words: strconv.Itoa(r.Count)}
	after := bar.X1 + p.u(5)
	if n.Width()+p.u(9) > bar.X1-left { // no room inside: on paper of its own, beside
		n.Colour, n.At.X = ink, after
		b := n.Box().Grown(p.u(1.5))
		p.fill(rounded(b, p.u(2)), paper)
		after = b.X1 + p.u(4)
	}
	p.write(n)
	if r.Word != "" {
		p.write(Text{At: Point{after, n.At.Y}, Size: p.u(11), Bold: true, Colour: ink, Words: plain(r.Word)}.fit(px(p.Width) - after - p.u(3)))
	}
}
