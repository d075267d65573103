package rules

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// bound notes units whose attacks or wounds would be more than can be rolled
// and solved, at full size and with everything that naturals may add.
func (p *Pack) bound(l *loader) {
	for i := range p.Units {
		u, r := &p.Units[i], l.rows["unit"][i]
		for _, id := range u.Weapons {
			if n := p.mostTokens(u, p.Weapon(id)); n > MostTokens {
				r.Fault("weapons", reason.New("pack.tokens", "unit", u.ID, "weapon", id, "number", n, "most", MostTokens))
			}
		}
		if n := u.Most * p.wounds(u); n > MostRungs {
			r.Fault("size", reason.New("pack.rungs", "unit", u.ID, "number", n, "most", MostRungs))
		}
	}
}

// wounds is the highest number that a sequence crosses off the unit's models.
func (p *Pack) wounds(u *Unit) int {
	most := 1
	for _, seq := range p.Sequences {
		if seq.Damage != nil {
			most = max(most, u.Profile[seq.Damage.Wounds].Number)
		}
	}
	return most
}

// mostTokens is the most attacks of a unit with a weapon: every model, every
// attack, every effect that adds some.
func (p *Pack) mostTokens(u *Unit, w *Weapon) int {
	seq := p.SequenceOf(w.order())
	if seq == nil || seq.Number == nil {
		return 0
	}
	s := scene{pack: p, attacker: Group{Unit: u.ID, Models: u.Most}, weapon: w}
	per, times, extra := s.amount(seq.Number.From).Most(), w.Used(u.Most), 1
	for _, id := range s.named(Attacker) {
		switch does := p.Effect(id).does.(type) {
		case moreAttacks:
			per, times = max(per+does.plus, does.least), times*does.times
		case natural:
			for _, gift := range does.gives {
				if gift.Gift == attack.Extra {
					extra += gift.Amount
				}
			}
		}
	}
	return times * per * extra
}
