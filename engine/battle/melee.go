package battle

import (
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// charge does what a charge is in this game: pools against pools on contact, a
// roll on a table, or a roll for the distance.
func (r *run) charge(l Line) {
	switch r.state.Pack.Does(string(Charge)) {
	case "pools":
		r.ram(l)
	case "table":
		r.assault(l)
	default:
		r.chargeRoll(l)
	}
}

// chargeRoll rolls for the distance and, if it is enough, fights at once.
func (r *run) chargeRoll(l Line) {
	u := *r.state.unit(l.Unit)
	total, why, err := r.state.Pack.Charge(r.state.group(u), reason.Inches(l.Tenths))
	if err != nil {
		return // legal lines have a charge to roll
	}
	sum := total.Roll(r.drawer)
	e := &Charged{Line: r.line, Unit: l.Unit, At: l.At, Tenths: l.Tenths,
		Dice: sum.Terms[0].Dice, Total: sum.Total, Need: total.Value, In: sum.Passed}
	r.emit(e)
	r.tell(Told{What: ACharge, Unit: l.Unit, At: l.At, Why: why, Total: total, Sum: sum, Event: e})
	if e.In {
		r.melee(l.Unit, l.At, l.Unit)
	}
}

// melee lets a unit and one of its enemies strike, each once a turn. The pack
// says whether a charger strikes first, or both at the same time; where nobody
// charged it is the same time. charger is the unit that did, "" for none.
func (r *run) melee(unit, at, charger string) {
	if at == "" {
		at = r.enemyOf(unit)
	}
	u, t := *r.state.unit(unit), *r.state.unit(at)
	if !u.Stands() || !t.Stands() {
		return
	}
	if r.state.Pack.Does(string(Fight)) == "opposed" {
		r.contest(unit, at)
		return
	}
	mine := r.ready(u, t)
	if charger != "" && r.state.Pack.Melee.Strikes == rules.ChargerFirst {
		r.land(u, mine)
		r.fallen(at)
		if t = *r.state.unit(at); t.Stands() {
			r.land(t, r.ready(t, *r.state.unit(unit)))
		}
	} else {
		theirs := r.ready(t, u)
		r.land(u, mine)
		r.land(t, theirs)
		r.fallen(at)
	}
	r.fallen(unit)
}

// enemyOf is the enemy that a unit has been in melee with for longest.
func (r *run) enemyOf(unit string) string {
	for _, id := range r.state.unit(unit).With {
		if r.state.unit(id).Stands() {
			return id
		}
	}
	return ""
}

// ready settles the strike of a unit that has not struck in this turn.
func (r *run) ready(u, t Unit) *blow {
	w := r.state.blade(u)
	if u.Turn.Struck || w == nil {
		return nil
	}
	b, err := r.settle(Fight, u, t, w, Aim{})
	if err != nil {
		return nil
	}
	return &b
}

// land carries out a strike. Who has nothing to strike with has had its turn.
func (r *run) land(u Unit, b *blow) {
	switch {
	case b != nil:
		r.strike(*b)
	case !u.Turn.Struck:
		r.emit(&Engaged{Line: r.line, Unit: u.ID})
	}
}
