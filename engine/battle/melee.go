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
	switch first := r.first(u, t, charger); first {
	case "":
		// Both with all that stood before: what the first does takes nobody from the other.
		mine, theirs := r.band(u), r.band(t)
		r.land(mine, t.ID)
		r.land(theirs, u.ID)
		r.fallen(t.ID)
	default:
		one, other := u, t
		if first == t.ID {
			one, other = t, u
		}
		r.land(r.band(one), other.ID)
		r.fallen(other.ID)
		if other = *r.state.unit(other.ID); other.Stands() {
			r.land(r.band(other), one.ID)
		}
		r.fallen(one.ID)
	}
	r.fallen(unit)
}

// first is who of two strikes first, "" for both at the same time: by the pack
// the charger, or whose characteristic is higher.
func (r *run) first(u, t Unit, charger string) string {
	switch m := r.state.Pack.Melee; {
	case m.Strikes == rules.ChargerFirst:
		return charger
	case m.Strikes == rules.ByCharacteristic:
		mine, theirs := r.state.Pack.Number(r.state.group(u), m.By), r.state.Pack.Number(r.state.group(t), m.By)
		if mine > theirs {
			return u.ID
		}
		if mine < theirs {
			return t.ID
		}
	}
	return ""
}

// enemyOf is the enemy that a unit strikes at, of those that it is in melee with:
// as the pack says the one longest in contact, the one that has lost most of
// itself, or the dearest; of equals the one longest in contact.
func (r *run) enemyOf(unit string) string {
	best, most := "", -1
	for _, id := range r.state.unit(unit).With {
		u := *r.state.unit(id)
		if !u.Stands() {
			continue
		}
		worth := 0
		switch r.state.Pack.Standing.Fight {
		case "most wounded":
			worth = 1000 * (u.Size - u.Left) / u.Size
		case "dearest":
			worth = r.state.kind(u.Kind).Points(u.Left, r.state.Pack)
		}
		if worth > most {
			best, most = id, worth
		}
	}
	return best
}

// band is a unit and who stands among it, as they are now.
func (r *run) band(u Unit) []Unit { return append([]Unit{u}, r.state.joined(u.ID)...) }

// land lets each of a band strike, as they were when the band was called.
func (r *run) land(band []Unit, at string) {
	for _, u := range band {
		r.strikeOnce(u, at)
	}
}

// strikeOnce carries out a strike of a unit that has not struck in this turn, part
// by part. Who has nothing to strike with has had its turn.
func (r *run) strikeOnce(u Unit, at string) {
	if u.Turn.Struck {
		return
	}
	for part := range 1 + len(r.state.kind(u.Kind).Others) {
		w := r.state.bladeOf(u, part)
		if w == nil {
			continue
		}
		for _, h := range r.state.hands(u, w, 0) {
			t := *r.state.unit(at)
			if h.part != part || !t.Stands() {
				continue
			}
			if b, err := r.settle(Fight, u, t, w, Aim{}, h); err == nil {
				r.strike(b)
			}
		}
	}
	if !r.state.unit(u.ID).Turn.Struck {
		r.emit(&Engaged{Line: r.line, Unit: u.ID})
	}
}
