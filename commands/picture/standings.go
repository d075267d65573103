package picture

import "fmt"

// Standings is who stands where, a strip for each: a bar of what counts and the
// battles as they came.
type Standings struct {
	Title  string  `json:"title"`
	Detail string  `json:"detail,omitempty"`
	Alt    string  `json:"alt"`
	Strips []Strip `json:"strips"`
}

// Strip is one player's line.
type Strip struct {
	Place   int      `json:"place"`
	Owner   int      `json:"owner"` // look on the map, from 0; -1 for none
	Letter  string   `json:"letter,omitempty"`
	Name    string   `json:"name"`
	Value   int      `json:"value"`
	Words   string   `json:"words"` // the value in words
	Battles []Battle `json:"battles,omitempty"`
}

// Battle is how one battle ended for somebody, with the letter that says it.
type Battle struct {
	End    string `json:"end"` // won, drawn or lost
	Letter string `json:"letter"`
}

// The limits of a strip chart.
const (
	MaxStrips  = 60
	maxBattles = 14 // the latest are shown
)

func (s Standings) check() error {
	if len(s.Strips) == 0 || len(s.Strips) > MaxStrips {
		return fmt.Errorf("standings: %d strips; expected 1 to %d", len(s.Strips), MaxStrips)
	}
	for _, v := range s.Strips {
		if v.Value < 0 || v.Value > maxCount {
			return fmt.Errorf("standings: value %d; expected 0 to %d", v.Value, maxCount)
		}
		if v.Owner < -1 || v.Owner >= MaxOwners {
			return fmt.Errorf("standings: owner %d; expected -1 to %d", v.Owner, MaxOwners-1)
		}
		for _, b := range v.Battles {
			if b.End != "won" && b.End != "drawn" && b.End != "lost" {
				return fmt.Errorf("standings: a battle ended %q; expected won, drawn or lost", b.End)
			}
		}
	}
	return nil
}

// Sheet draws the strips, each of two lines: who and how much, then the battles.
func (s Standings) Sheet() (*Sheet, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	p := newPen(800, s.Alt)
	y := p.titles(s.Title, s.Detail) + p.u(2)
	most := 1
	for _, v := range s.Strips {
		most = max(most, v.Value)
	}
	for i, v := range s.Strips {
		if i%2 == 0 {
			p.fill(rectangle(Box{p.u(6), y, px(p.Width) - p.u(6), y + p.u(31)}), ground)
		}
		p.strip(v, i, most, y)
		y += p.u(31)
	}
	return p.closeAt(y + p.u(9)), nil
}

func (p *pen) strip(v Strip, i, most int, y Length) {
	p.write(Text{At: Point{p.u(side), y + p.u(20)}, Size: p.u(12), Bold: true, Colour: ink, Words: fmt.Sprint(v.Place)}.fit(p.u(22)))
	o := nobody
	if v.Owner >= 0 {
		o = lookOf(v.Owner)
	}
	p.badge(Point{p.u(46), y + p.u(15.5)}, p.u(8), o, v.Letter, false)
	p.write(Text{At: Point{p.u(60), y + p.u(20)}, Size: p.u(12), Bold: true, Colour: ink, Words: shown(v.Name, i+1)}.fit(p.u(118)))
	words := Text{Size: p.u(10), Colour: ink, Words: plain(v.Words)}.fit(p.u(120))
	left := p.u(184)
	long := Length(int64(p.u(110)) * int64(v.Value) / int64(most))
	if v.Value > 0 {
		p.fill(rounded(Box{left, y + p.u(4), left + max(long, p.u(1)), y + p.u(13)}, p.u(1)), blue)
	}
	words.At = Point{left + long + p.u(4), y + p.u(12)}
	if over := words.At.X + words.Width() - (px(p.Width) - p.u(side)); over > 0 {
		words = words.fit(words.Width() - over)
	}
	p.write(words)
	latest := v.Battles[max(len(v.Battles)-maxBattles, 0):]
	for j, b := range latest {
		p.ended(b, Point{left + p.u(6) + Length(j)*p.u(14), y + p.u(22)})
	}
}

// ended draws one battle: full for won, ringed for drawn, bare for lost, and
// its letter in each.
func (p *pen) ended(b Battle, at Point) {
	r := p.u(5.8)
	t := Text{At: Point{at.X, at.Y + p.u(3.3)}, Anchor: Middle, Size: p.u(9), Bold: true, Colour: ink, Words: plain(b.Letter)}
	p.fill(circle(at, r), ink)
	switch b.End {
	case "won":
		t.Colour = white
		p.fill(circle(at, r-p.u(0.6)), blue)
	case "drawn":
		p.fill(circle(at, r-p.u(0.6)), pale)
	default:
		p.fill(circle(at, r-p.u(0.6)), paper)
	}
	p.write(t.fit(2 * r))
}
