package rules

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// bound notes units whose attacks or wounds would be more than can be rolled
// and solved, at full size and with everything that naturals may add.
func (l *loader) bound() {
	l.pooled()
	for i := range l.pack.Units {
		u, r := &l.pack.Units[i], l.rows["unit"][i]
		seen := map[string]bool{}
		for part := range 1 + len(u.Others) {
			for _, id := range u.WeaponsOf(part) {
				if seen[id] {
					continue
				}
				seen[id] = true
				if n := l.pack.mostTokens(u, part, l.pack.Weapon(id)); n > MostTokens {
					r.Fault("weapons", reason.New("pack.tokens", "unit", u.ID, "weapon", id, "number", n, "most", MostTokens))
				}
			}
		}
		l.wounds(r, u.Profile)
		for _, other := range u.Others {
			l.wounds(r, other.Profile)
		}
	}
}

// wounds notes what is crossed off and is nothing or too much, and marks beyond
// it: the last wound is the end and no mark.
func (l *loader) wounds(r row, profile Profile) {
	for i := range l.pack.Sequences {
		id := l.pack.Sequences[i].Crossed()
		v, has := profile[id]
		if !has {
			continue
		}
		if v.Number < 1 || v.Number > MostWounds {
			r.Fault("profile", reason.New("pack.wounds", "key", id, "value", v.Number, "most", MostWounds))
			return
		}
		if d := l.pack.Sequences[i].Damage; d != nil && d.Marks != "" {
			for _, mark := range profile[d.Marks].Marks {
				if mark >= v.Number {
					r.Fault("profile", reason.New("pack.marks.outside", "mark", mark, "key", id, "value", v.Number))
					return
				}
			}
		}
	}
}

// mostTokens is the most attacks of a part of a unit with a weapon: every model,
// every attack, every effect that adds some.
func (p *Pack) mostTokens(u *Unit, part int, w *Weapon) int {
	if w == nil {
		return 0
	}
	seq := p.SequenceOf(w.order())
	if seq == nil || seq.Number == nil {
		return 0
	}
	s := scene{pack: p, attacker: Group{Unit: u.ID, Models: u.Most}, weapon: w, facts: Facts{Part: part}}
	per, times, extra := s.amount(seq.Number.From).Most(), w.Used(u.Most), 1
	for _, id := range s.named(Attacker) {
		e := p.Effect(id)
		if e == nil {
			continue
		}
		switch does := e.does.(type) {
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

// pooled notes weapons that bring dice of an unknown number, or too many, to a
// pool.
func (l *loader) pooled() {
	for i := range l.pack.Weapons {
		w := &l.pack.Weapons[i]
		for _, order := range w.orders() {
			seq := l.pack.SequenceOf(order)
			if seq == nil || len(seq.Steps) == 0 || l.pack.Does(order) != "pools" || l.pack.Step(seq.Steps[0]).Number.Of != OfWeapon {
				continue
			}
			if n := (&scene{pack: l.pack, weapon: w}).amount(l.pack.Step(seq.Steps[0]).Number); n.Dice > 0 || n.Plus > mostPool {
				l.rows["weapon"][i].Fault("attacks", reason.New("pack.pool", "weapon", w.ID, "written", n.String(), "most", mostPool))
			}
		}
	}
}

// mostPool is the most dice of one pool before effects.
const mostPool = 100
