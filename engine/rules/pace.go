package rules

import (
	"drumhead/engine/reason"
)

// Pace is how far a unit moves, with what changes it.
func (p *Pack) Pace(g Group) reason.Inches {
	v, _, _ := (&scene{pack: p, attacker: g}).trait(Self, p.Movement.Pace)
	return reason.Inches(10 * v.Number)
}

// crossed is the characteristic that damage crosses off in this game, "" for
// none: that of the first sequence with any.
func (p *Pack) crossed() string {
	for i := range p.Sequences {
		if id := p.Sequences[i].Crossed(); id != "" {
			return id
		}
	}
	return ""
}

// WoundsCalled is what people call what damage crosses off: wounds, hull, steps.
func (p *Pack) WoundsCalled() string { return p.wordsFor(p.crossed()) }

// Wounds is how many wounds each model of a unit has; 1 where nothing is crossed
// off.
func (p *Pack) Wounds(g Group) int {
	id := p.crossed()
	if id == "" {
		return 1
	}
	v, _, _ := (&scene{pack: p, attacker: g}).trait(Self, id)
	return max(1, v.Number)
}

// Reach is how far an order reaches, 0 for as far as the dice carry.
func (p *Pack) Reach(order string, g Group) reason.Inches {
	seq := p.SequenceOf(order)
	if seq == nil || seq.Reach.From == "" {
		return 0
	}
	v, _, _ := (&scene{pack: p, attacker: g}).trait(Self, seq.Reach.From)
	return reason.Inches(10 * v.Number)
}

// Measures tells whether what an order sets off depends on the distance.
func (p *Pack) Measures(order string) bool {
	seq := p.SequenceOf(order)
	if seq == nil {
		return false
	}
	for _, id := range seq.Steps {
		step := p.Step(id)
		sources := []Source{step.Need, step.By}
		if chart := p.Chart(step.Need.Chart); chart != nil {
			sources = append(sources, chart.First, chart.Second)
		}
		for _, s := range sources {
			if s.Measure != "" {
				return true
			}
		}
	}
	return false
}

// lost is how much of what a unit came with is gone, in wounds, and how much
// that was.
func (p *Pack) lost(g Group) (lost, whole int) {
	size := max(g.Size, g.Models)
	wounds := p.Wounds(Group{Unit: g.Unit})
	return (size-g.Models)*wounds + g.Hurt, size * wounds
}

// Number is a plain number of a unit's profile, with what changes it.
func (p *Pack) Number(g Group, characteristic string) int {
	v, _, _ := (&scene{pack: p, attacker: g}).trait(Self, characteristic)
	return v.Number
}
