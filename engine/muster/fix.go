package muster

import (
	"fmt"
	"slices"

	"drumhead/engine/rules"
)

// Fix is one change that would mend a fault. Kind says what it does: "name"
// settles a name, "size" changes the number of models, "drop" leaves the unit
// out. Change is the words that Draft.Change reads.
type Fix struct {
	Kind   string
	Line   int
	Unit   *rules.Unit
	Size   int
	Total  int // points of the force then
	Change string
}

// mostNames is how many meanings of one name are offered.
const mostNames = 3

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
