package rules

import "drumhead/engine/reason"

// Pace is how far a unit moves, with what changes it.
func (p *Pack) Pace(g Group) reason.Inches {
	v, _, _ := (&scene{pack: p, attacker: g}).trait(Self, p.Movement.Pace)
	return reason.Inches(10 * v.Number)
}

// Wounds is how many wounds each model of a unit has: the characteristic that
// the first sequence with damage crosses off; 1 where there is none.
func (p *Pack) Wounds(g Group) int {
	for i := range p.Sequences {
		if d := p.Sequences[i].Damage; d != nil {
			v, _, _ := (&scene{pack: p, attacker: g}).trait(Self, d.Wounds)
			return max(1, v.Number)
		}
	}
	return 1
}
