package picture

import (
	"fmt"
	"slices"
)

// Map is a campaign's map: who holds what, how regions are linked, where there
// are battles, and what has changed hands.
type Map struct {
	Title   string   `json:"title"`
	Alt     string   `json:"alt"`
	Width   int      `json:"width,omitempty"` // pixels; 1200 if 0
	Owners  []Owner  `json:"owners"`
	Regions []Region `json:"regions"`
	Links   []Link   `json:"links,omitempty"`
	River   []Spot   `json:"river,omitempty"` // a course, drawn as a smooth line
	Words   Signs    `json:"words"`
}

// Owner is a holder of regions; its place in the list is its look.
type Owner struct {
	Letter string `json:"letter"`
	Name   string `json:"name"` // with how much it holds, as the key shows it
}

// Region is a place on the map; x runs east and y south.
type Region struct {
	Name   string `json:"name"`
	X      int    `json:"x"`
	Y      int    `json:"y"`
	Owner  int    `json:"owner"` // from 0; -1 for nobody
	Home   bool   `json:"home,omitempty"`
	Battle bool   `json:"battle,omitempty"`
	Was    *int   `json:"was,omitempty"` // who held it before, if it has changed hands
}

// Link joins two regions, by their places in the list.
type Link struct {
	From int    `json:"from"`
	To   int    `json:"to"`
	By   string `json:"by"` // road, river or pass
}

// Spot is a point of the map.
type Spot struct {
	X int `json:"x"`
	Y int `json:"y"`
}

// Signs are the words of the key; a sign without words is left out of it.
type Signs struct {
	Battle string `json:"battle,omitempty"`
	Home   string `json:"home,omitempty"`
	Road   string `json:"road,omitempty"`
	River  string `json:"river,omitempty"`
	Pass   string `json:"pass,omitempty"`
	Was    string `json:"was,omitempty"`
}

// The limits of a map.
const (
	MaxRegions = 200
	MaxLinks   = 2000
	maxSpot    = 100_000
	minWidth   = 400
	maxWidth   = 2400
)

func (m Map) check() error {
	if n := len(m.Regions); n == 0 || n > MaxRegions {
		return fmt.Errorf("map: %d regions; expected 1 to %d", n, MaxRegions)
	}
	if len(m.Owners) > MaxOwners {
		return fmt.Errorf("map: %d owners; expected at most %d", len(m.Owners), MaxOwners)
	}
	if m.Width != 0 && (m.Width < minWidth || m.Width > maxWidth) {
		return fmt.Errorf("map: width %d; expected %d to %d pixels", m.Width, minWidth, maxWidth)
	}
	for i, r := range m.Regions {
		if err := m.region(i, r); err != nil {
			return err
		}
	}
	if len(m.Links) > MaxLinks || len(m.River) > MaxRegions {
		return fmt.Errorf("map: %d links and a river of %d points; expected at most %d and %d", len(m.Links), len(m.River), MaxLinks, MaxRegions)
	}
	for i, l := range m.Links {
		if l.From < 0 || l.To < 0 || l.From >= len(m.Regions) || l.To >= len(m.Regions) || l.From == l.To {
			return fmt.Errorf("map: link %d joins %d and %d; expected two of the regions 0 to %d", i, l.From, l.To, len(m.Regions)-1)
		}
		if l.By != "road" && l.By != "river" && l.By != "pass" {
			return fmt.Errorf("map: link %d is by %q; expected road, river or pass", i, l.By)
		}
	}
	for _, s := range m.River {
		if max(s.X, -s.X, s.Y, -s.Y) > maxSpot {
			return fmt.Errorf("map: the river runs by %d,%d; expected at most %d either way", s.X, s.Y, maxSpot)
		}
	}
	return nil
}

func (m Map) region(i int, r Region) error {
	if max(r.X, -r.X, r.Y, -r.Y) > maxSpot {
		return fmt.Errorf("map: region %d lies at %d,%d; expected at most %d either way", i, r.X, r.Y, maxSpot)
	}
	if r.Owner < -1 || r.Owner >= len(m.Owners) || r.Was != nil && (*r.Was < -1 || *r.Was >= len(m.Owners)) {
		return fmt.Errorf("map: region %d has an owner that is not in the list of %d (-1 is nobody)", i, len(m.Owners))
	}
	for j, o := range m.Regions[:i] {
		if o.X == r.X && o.Y == r.Y {
			return fmt.Errorf("map: regions %d and %d both lie at %d,%d; no ground is left for one of them", j, i, r.X, r.Y)
		}
	}
	return nil
}

// Sheet draws the map.
func (m Map) Sheet() (*Sheet, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	p := newPen(m.width(), m.Alt)
	return p.closeAt(p.whole(m, 0)), nil
}

func (m Map) width() int {
	if m.Width == 0 {
		return 1200
	}
	return m.Width
}

// Maps is several maps, one below the other: before and after.
type Maps struct {
	Alt  string `json:"alt"`
	Maps []Map  `json:"maps"`
}

// Sheet draws them.
func (m Maps) Sheet() (*Sheet, error) {
	if len(m.Maps) < 1 || len(m.Maps) > 3 {
		return nil, fmt.Errorf("maps: %d of them; expected 1 to 3", len(m.Maps))
	}
	p := newPen(m.Maps[0].width(), m.Alt)
	y := Length(0)
	for i, v := range m.Maps {
		if err := v.check(); err != nil {
			return nil, fmt.Errorf("maps: number %d: %w", i+1, err)
		}
		y = p.whole(v, y)
	}
	return p.closeAt(y), nil
}

// plan is a map with its places in pixels.
type plan struct {
	*pen
	Map
	frame Box
	sites []Point // where regions lie
	seats []Point // where their badges are drawn: there, or a little aside
	river []Point
}

// whole draws one map from a height on and gives the height below it.
func (p *pen) whole(m Map, top Length) Length {
	d := plan{pen: p, Map: m}
	d.lay(top + p.u(28))
	d.ground()
	p.write(Text{At: Point{p.u(8), top + p.u(19)}, Size: p.u(14), Bold: true, Colour: ink, Words: plain(m.Title)}.fit(p.u(384)))
	d.links()
	names := d.labels()
	return d.key(d.frame.Y1+p.u(8), names)
}

// lay scales the map into its frame: as wide as the sheet, as high as the map
// asks for within reason.
func (d *plan) lay(top Length) {
	x0, y0, x1, y1 := d.Regions[0].X, d.Regions[0].Y, d.Regions[0].X, d.Regions[0].Y
	for _, r := range d.Regions {
		x0, y0, x1, y1 = min(x0, r.X), min(y0, r.Y), max(x1, r.X), max(y1, r.Y)
	}
	pad := max(x1-x0, y1-y0)/9 + 10
	x0, y0, x1, y1 = x0-pad, y0-pad, x1+pad, y1+pad
	wide, high := x1-x0, y1-y0
	if least := wide * 2 / 5; high < least {
		y0, high = y0-(least-high)/2, least
	}
	if least := high * 10 / 13; wide < least {
		x0, wide = x0-(least-wide)/2, least
	}
	d.frame = Box{d.u(8), top, px(d.pen.Width) - d.u(8), 0}
	across := int64(d.frame.X1 - d.frame.X0)
	d.frame.Y1 = top + Length(across*int64(high)/int64(wide))
	at := func(x, y int) Point {
		return Point{d.frame.X0 + Length(floor(across*int64(x-x0), int64(wide))), top + Length(floor(across*int64(y-y0), int64(wide)))}
	}
	for _, r := range d.Regions {
		d.sites = append(d.sites, at(r.X, r.Y))
	}
	for _, s := range d.River {
		d.river = append(d.river, at(s.X, s.Y))
	}
	d.seats = seated(d.sites, d.u(17), d.frame.Grown(-d.u(9)))
}

// seated moves points that are nearer than least away from each other, each by
// half of what lacks, again and again; a crowd may keep some too near.
func seated(points []Point, least Length, within Box) []Point {
	out := slices.Clone(points)
	for range 60 {
		calm := true
		for i := range out {
			for j := range i {
				dx, dy := int64(out[i].X-out[j].X), int64(out[i].Y-out[j].Y)
				long := root(dx*dx + dy*dy)
				if long >= int64(least) {
					continue
				}
				if calm = false; long == 0 {
					dx, long = 1, 1
				}
				half := (int64(least) - long + 2) / 2
				step := Point{Length(floor(dx*half, long)), Length(floor(dy*half, long))}
				out[i] = within.hold(Point{out[i].X + step.X, out[i].Y + step.Y})
				out[j] = within.hold(Point{out[j].X - step.X, out[j].Y - step.Y})
			}
		}
		if calm {
			break
		}
	}
	return out
}

// hold is the point of the box that is nearest.
func (b Box) hold(p Point) Point {
	return Point{min(max(p.X, b.X0), b.X1), min(max(p.Y, b.Y0), b.Y1)}
}

func (d *plan) owner(i int) owner {
	if i < 0 {
		return nobody
	}
	return lookOf(i)
}

func (d *plan) tile(i int) *Tile {
	t := &d.tiles[i+1]
	if *t == nil {
		*t = d.owner(i).tile(d.pen)
	}
	return *t
}

// ground draws the regions, the river and the borders.
func (d *plan) ground() {
	land := cells(d.sites, d.frame)
	bends := d.u(3)
	for i, c := range land {
		if len(c.corners) < 3 {
			continue
		}
		var line []Point
		for k, a := range c.corners {
			b := c.corners[(k+1)%len(c.corners)]
			if c.next[k] < 0 {
				line = append(line, b)
			} else {
				line = append(line, wander(a, b, bends)...)
			}
		}
		d.put(Hatch{Shape: polygon(line...), Tile: d.tile(d.Regions[i].Owner)})
	}
	d.water()
	for i, c := range land {
		for k, a := range c.corners {
			if j := c.next[k]; j > i {
				b := c.corners[(k+1)%len(c.corners)]
				d.border(append([]Point{a}, wander(a, b, bends)...), d.Regions[i].Owner == d.Regions[j].Owner)
			}
		}
	}
	f := d.frame
	for _, s := range [][]Point{{{f.X0, f.Y0}, {f.X1, f.Y0}}, {{f.X1, f.Y0}, {f.X1, f.Y1}}, {{f.X1, f.Y1}, {f.X0, f.Y1}}, {{f.X0, f.Y1}, {f.X0, f.Y0}}} {
		d.line(d.u(0.9), ink, s...)
	}
}

func (d *plan) border(line []Point, same bool) {
	if same {
		d.put(Stroke{Points: line, Width: d.u(0.7), Colour: soft, Dash: []Length{d.u(2.4), d.u(1.8)}})
		return
	}
	d.line(d.u(1.9), ink, line...)
}

// water draws the river, cut a little outside of the frame, with paper over that.
func (d *plan) water() {
	if len(d.river) < 2 {
		return
	}
	runs := within(curve(d.river), d.frame.Grown(d.u(4)))
	for _, line := range runs {
		d.line(d.u(7.5), 0x3F7C98, line...)
	}
	for _, line := range runs {
		d.line(d.u(5.7), 0xCFE3EC, line...)
	}
	f, w := d.frame, px(d.pen.Width)
	over := d.u(9)
	for _, b := range []Box{{0, f.Y0 - over, f.X0, f.Y1 + over}, {f.X1, f.Y0 - over, w, f.Y1 + over}, {f.X0, f.Y0 - over, f.X1, f.Y0}, {f.X0, f.Y1, f.X1, f.Y1 + over}} {
		d.fill(rectangle(b), paper)
	}
}

// links draws what joins regions, each kind with a line of its own.
func (d *plan) links() {
	for _, l := range d.Links {
		d.link(l.By, d.seats[l.From], d.seats[l.To])
	}
}

func (d *plan) link(by string, a, b Point) {
	d.line(d.u(3), paper, a, b)
	s := Stroke{Points: []Point{a, b}, Width: d.u(1.4), Colour: 0x4A4036}
	switch by {
	case "river":
		s.Width, s.Colour, s.Dash = d.u(1.8), 0x2A6A8C, []Length{d.u(1.8), d.u(1.8)}
	case "pass":
		s.Dash = []Length{d.u(5), d.u(3)}
	}
	d.put(s)
}
