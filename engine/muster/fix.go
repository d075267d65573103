package muster

import (
	"fmt"
	"slices"

	"drumhead/engine/rules"
)

// Fix is one change that would mend a fault. Kind says what it does: "name"
// settles a name, "size" changes the number of models, "drop" leaves the unit
// out, "add" takes one more in. Change is the words that Draft.Change reads.
type Fix struct {
	Kind   string
	Line   int
	Unit   *rules.Unit
	Size   int
	Total  int // points of the force then
	Change string
}

// Limits of what is offered.
const (
	mostNames = 3 // meanings of one name
	mostLines = 3 // lines with a wrong size or a unit that may not be there
)

// fixes offers a change for each name that is not settled and, for a force that
// costs too much, the dearest force with one unit smaller and the dearest with
// one unit left out.
func (j *Judgement) fixes(p *rules.Pack, d Draft) {
	for _, line := range d.Lines {
		if line.Kind != "" {
			continue
		}
		m := mean(p, line.Said)
		units := m.units
		if m.near != nil {
			units = []*rules.Unit{m.near}
		}
		if len(units) > mostNames {
			continue
		}
		for _, u := range units {
			j.Fixes = append(j.Fixes, Fix{Kind: "name", Line: line.Number, Unit: u, Size: line.Count,
				Total: j.Total, Change: fmt.Sprintf("line %d: %s", line.Number, u.Title)})
		}
	}
	j.missing(p)
	j.lines(p)
	if !slices.ContainsFunc(j.Faults, func(f Fault) bool { return f.Kind == "points" }) {
		return
	}
	if fix, ok := j.smaller(p); ok {
		j.Fixes = append(j.Fixes, fix)
	}
	if fix, ok := j.without(p); ok {
		j.Fixes = append(j.Fixes, fix)
	}
}

// smaller is the unit whose shrinking alone leaves the dearest force that fits.
func (j *Judgement) smaller(p *rules.Pack) (best Fix, found bool) {
	over := j.Total - j.Force.Limit
	for _, row := range j.Rows {
		if row.Each == 0 {
			continue
		}
		size := row.Size - (over+row.Each-1)/row.Each
		total := j.Total - (row.Size-size)*row.Each
		if size < row.Unit.Least || size > row.Unit.Most || found && total <= best.Total {
			continue
		}
		best, found = Fix{Kind: "size", Line: row.Line, Unit: row.Unit, Size: size, Total: total,
			Change: fmt.Sprintf("line %d: %d %s", row.Line, size, row.Unit.Title)}, true
	}
	return best, found
}

// without is the unit whose leaving out leaves the dearest force that fits and
// breaks no limit that holds now.
func (j *Judgement) without(p *rules.Pack) (best Fix, found bool) {
	for i, row := range j.Rows {
		total := j.Total - row.Total
		if total > j.Force.Limit || len(j.Rows) == 1 || found && total <= best.Total || j.needs(p, i) {
			continue
		}
		best, found = Fix{Kind: "drop", Line: row.Line, Unit: row.Unit, Total: total,
			Change: fmt.Sprintf("line %d: none", row.Line)}, true
	}
	return best, found
}

// needs tells whether a limit asks for the unit of a row to stay.
func (j *Judgement) needs(p *rules.Pack, leave int) bool {
	for _, limit := range p.Muster.Limits {
		n := 0
		for i, row := range j.Rows {
			if i != leave && row.Unit.Has(limit.Keyword) {
				n++
			}
		}
		if n < limit.Least {
			return true
		}
	}
	return false
}

// missing offers, for each limit that asks for more, the cheapest unit of the
// army that would meet it and that the points still pay for.
func (j *Judgement) missing(p *rules.Pack) {
	army := p.Army(j.Force.Army)
	if army == nil {
		return
	}
	for _, limit := range p.Muster.Limits {
		if j.have(limit.Keyword) != limit.Least-1 {
			continue // one unit more would not do
		}
		if fix, ok := j.cheapest(p, army, limit.Keyword); ok {
			j.Fixes = append(j.Fixes, fix)
		}
	}
}

// have counts the units with a keyword.
func (j *Judgement) have(keyword string) (n int) {
	for _, row := range j.Rows {
		if row.Unit.Has(keyword) {
			n++
		}
	}
	return n
}

// cheapest is the unit with a keyword that costs least at its smallest.
func (j *Judgement) cheapest(p *rules.Pack, army *rules.Army, keyword string) (best Fix, found bool) {
	for _, id := range army.Units {
		u := p.Unit(id)
		if !u.Has(keyword) || slices.ContainsFunc(j.Rows, func(r Row) bool { return r.Unit == u }) {
			continue // one that is there would only change its size
		}
		total := j.Total + u.Points(u.Least, p)
		if j.Force.Limit > 0 && total > j.Force.Limit || found && total >= best.Total {
			continue
		}
		best, found = Fix{Kind: "add", Unit: u, Size: u.Least, Total: total, Change: u.Title}, true
		if u.Least < u.Most {
			best.Change = fmt.Sprintf("%d %s", u.Least, u.Title)
		}
	}
	return best, found
}

// lines offers, for the first lines whose size is wrong or whose unit may not be
// there, the nearest size that is allowed, or to leave the unit out.
func (j *Judgement) lines(p *rules.Pack) {
	for _, f := range j.Faults[:min(len(j.Faults), mostLines)] {
		i := slices.IndexFunc(j.Rows, func(r Row) bool { return r.Line == f.Line })
		if i < 0 || f.Line == 0 {
			continue
		}
		row := j.Rows[i]
		switch f.Reason.ID {
		case "force.fault.count", "force.fault.size", "force.fault.fixed":
			size := max(row.Unit.Least, min(row.Size, row.Unit.Most))
			total := j.Total - row.Total + row.Unit.Points(size, p)
			said := size
			if row.Unit.Least == row.Unit.Most {
				said = 1 // however many models it comes with
			}
			j.Fixes = append(j.Fixes, Fix{Kind: "size", Line: row.Line, Unit: row.Unit, Size: said, Total: total,
				Change: fmt.Sprintf("line %d: %d %s", row.Line, said, row.Unit.Title)})
		case "force.fault.army", "force.fault.twice":
			j.Fixes = append(j.Fixes, Fix{Kind: "drop", Line: row.Line, Unit: row.Unit, Total: j.Total - row.Total,
				Change: fmt.Sprintf("line %d: none", row.Line)})
		}
	}
}
