package muster

import (
	"slices"

	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// Judgement is a draft held against a pack.
type Judgement struct {
	Force  Force // what it comes to; legal only without faults
	Rows   []Row
	Total  int // points
	Faults []Fault
	Fixes  []Fix
}

// Row is one unit, priced.
type Row struct {
	Line  int
	Unit  *rules.Unit
	Size  int
	Own   string
	Each  int // points a model; 0 where the unit has one price
	Total int
}

// Fault is one thing that keeps a draft from being a force.
type Fault struct {
	Kind   string // "name", "size", "army", "limit", "points", "empty", "own"
	Line   int    // 0: the force as a whole
	Reason reason.Reason
}

// Judge prices a draft and finds its faults. A name that is only near to one is
// taken for that in the sums, and is a fault all the same.
func (d Draft) Judge(p *rules.Pack) Judgement {
	j := &Judgement{}
	for _, line := range d.Lines {
		j.line(p, line)
	}
	j.Force = Force{Pack: p.ID, Edition: p.Edition, Limit: d.Limit, Army: d.Army, Name: d.Name}
	if j.Force.Army == "" {
		j.Force.Army = j.guess(p)
	}
	if army := p.Army(j.Force.Army); army != nil && d.Name == "" {
		j.Force.Name = army.Title
	}
	for _, row := range j.Rows {
		j.Total += row.Total
		j.Force.Units = append(j.Force.Units, Unit{Kind: row.Unit.ID, Size: row.Size, Own: row.Own})
	}
	j.whole(p)
	j.fixes(p, d)
	return *j
}

func (j *Judgement) fault(kind string, line int, id string, pairs ...any) {
	j.Faults = append(j.Faults, Fault{kind, line, reason.New(id, pairs...)})
}

// line settles one line's unit and size.
func (j *Judgement) line(p *rules.Pack, line Line) {
	unit := p.Unit(line.Kind)
	if unit == nil {
		unit = j.name(p, line)
	}
	if unit == nil {
		return
	}
	row := Row{Line: line.Number, Unit: unit, Size: line.Count, Own: line.Own, Each: unit.Each(p)}
	if unit.Least == unit.Most && line.Count <= 1 {
		row.Size = unit.Least // "Mortar" or "1 Mortar" is the unit as it comes
	}
	if unit.Price > 0 {
		row.Each = 0
	}
	j.size(row)
	row.Total = unit.Points(row.Size, p)
	j.Rows = append(j.Rows, row)
}

// name finds what a name that is not settled may mean: the nearest unit, or
// nil.
func (j *Judgement) name(p *rules.Pack, line Line) *rules.Unit {
	m := mean(p, line.Said)
	said := reason.Name(line.Said)
	switch {
	case m.one() != nil:
		return m.one()
	case len(m.units) > 1:
		j.fault("name", line.Number, "force.fault.several", "line", line.Number, "said", said, "units", titles(m.units))
		return nil
	case m.near != nil:
		j.fault("name", line.Number, "force.fault.near", "line", line.Number, "said", said, "unit", reason.Name(m.near.Title))
		return m.near
	}
	var all []*rules.Unit
	for i := range p.Units {
		all = append(all, &p.Units[i])
	}
	j.fault("name", line.Number, "force.fault.unknown", "line", line.Number, "said", said, "units", titles(all))
	return nil
}

func titles(units []*rules.Unit) []reason.Name {
	var names []reason.Name
	for _, u := range units {
		names = append(names, reason.Name(u.Title))
	}
	return names
}

func (j *Judgement) size(row Row) {
	u, name := row.Unit, reason.Name(row.Unit.Short)
	switch {
	case row.Size == 0:
		j.fault("size", row.Line, "force.fault.count", "line", row.Line, "unit", name, "least", u.Least, "most", u.Most)
	case u.Least == u.Most && row.Size != u.Least:
		j.fault("size", row.Line, "force.fault.fixed", "line", row.Line, "unit", name, "size", row.Size)
	case row.Size < u.Least || row.Size > u.Most:
		j.fault("size", row.Line, "force.fault.size", "line", row.Line, "unit", name, "size", row.Size, "least", u.Least, "most", u.Most)
	}
}

// guess is the army that has most of the units, the first of equals.
func (j *Judgement) guess(p *rules.Pack) string {
	best, most := "", 0
	for _, army := range p.Armies {
		n := 0
		for _, row := range j.Rows {
			if slices.Contains(army.Units, row.Unit.ID) {
				n++
			}
		}
		if n > most {
			best, most = army.ID, n
		}
	}
	return best
}

// whole judges the force as a whole.
func (j *Judgement) whole(p *rules.Pack) {
	if len(j.Rows) == 0 {
		if len(j.Faults) == 0 {
			j.fault("empty", 0, "force.fault.empty")
		}
		return
	}
	if army := p.Army(j.Force.Army); army != nil {
		for _, row := range j.Rows {
			if !slices.Contains(army.Units, row.Unit.ID) {
				j.fault("army", row.Line, "force.fault.army", "line", row.Line, "unit", reason.Name(row.Unit.Title), "army", reason.Name(army.Title))
			}
		}
	}
	j.number(p)
	j.owns(p)
	if limit := j.Force.Limit; limit > 0 && j.Total > limit {
		j.fault("points", 0, "force.fault.points", "total", j.Total, "limit", limit, "over", j.Total-limit)
	}
}

// number counts units against the limits of the muster and their own.
func (j *Judgement) number(p *rules.Pack) {
	size := j.Force.Limit
	if size == 0 {
		size = j.Total
	}
	for _, limit := range p.Muster.Limits {
		n := 0
		for _, row := range j.Rows {
			if row.Unit.Has(limit.Keyword) {
				n++
			}
		}
		allowed := limit.Allowed(size)
		switch {
		case n < limit.Least:
			j.fault("limit", 0, "force.fault.few", "keyword", reason.Name(limit.Keyword), "number", n, "least", limit.Least)
		case n > allowed:
			j.fault("limit", 0, "force.fault.many", "keyword", reason.Name(limit.Keyword), "number", n, "most", allowed)
		}
	}
	of := map[string]int{}
	for _, row := range j.Rows {
		if of[row.Unit.ID]++; row.Unit.Of > 0 && of[row.Unit.ID] == row.Unit.Of+1 {
			j.fault("limit", row.Line, "force.fault.twice", "line", row.Line, "unit", reason.Name(row.Unit.Title), "most", row.Unit.Of)
		}
	}
}

// owns refuses two units that orders could not tell apart.
func (j *Judgement) owns(p *rules.Pack) {
	seen := map[string]bool{}
	for i, name := range j.Force.Names(p) {
		if key := fold(name); seen[key] {
			j.fault("own", j.Rows[i].Line, "force.fault.own", "line", j.Rows[i].Line, "name", reason.Name(name))
		} else {
			seen[key] = true
		}
	}
}
