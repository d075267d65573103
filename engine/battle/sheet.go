package battle

import (
	"maps"
	"slices"

	"drumhead/engine/reason"
)

// checkSheet refuses a sheet with a line that cannot be done, whatever the dice
// of the lines before it show. A line that has an alternative is refused only
// when none of them can be done.
func checkSheet(s State, o Order, sheet Sheet) (mayRoll bool, err error) {
	if err := mover(s, o); err != nil {
		return false, err
	}
	switch n := len(sheet.Orders); {
	case n == 0:
		return false, reason.Refuse("done", "battle.refuse.empty")
	case n > MaxLines:
		return false, refuse("battle.refuse.lines", "lines", n, "most", MaxLines)
	}
	v := view{State: s.own(), unsure: map[string]bool{}, loose: map[string]bool{}}
	for i, l := range sheet.Orders {
		why := wellFormed(l)
		if why == nil && i > 0 && sheet.Orders[i-1].Order == Done {
			why = refuse("battle.refuse.after_done")
		}
		if why == nil {
			l, why = v.choose(l)
		}
		if why != nil {
			why.Line = i + 1
			return false, why
		}
		mayRoll = v.expect(l) || mayRoll
	}
	return mayRoll, nil
}

// wellFormed refuses what no sheet that was read holds.
func wellFormed(l Line) *reason.Refusal {
	if !slices.Contains(verbs, l.Order) {
		return refuse("battle.refuse.verb", "said", string(l.Order))
	}
	if len(l.Else) > MaxElse {
		return refuse("battle.refuse.else", "most", MaxElse)
	}
	if len(l.Also) >= MaxUnits {
		return refuse("battle.refuse.together_many", "most", MaxUnits)
	}
	for _, a := range append(l.aims(), l.Shares...) {
		if a.Tenths < 0 || a.Tenths > MaxTenths {
			return refuse("battle.refuse.inches", "said", reason.Inches(a.Tenths), "most", reason.Inches(MaxTenths))
		}
		if a.Models < 0 {
			return refuse("battle.refuse.models", "unit", l.Unit, "said", a.Models, "most", 0)
		}
	}
	return nil
}

// choose finds the first aim of a line that can be done, or says why its own
// cannot.
func (v view) choose(l Line) (Line, *reason.Refusal) {
	var first *reason.Refusal
	for i, a := range l.aims() {
		tried := l
		if i > 0 {
			tried = l.with(a)
		}
		why := v.legal(tried)
		if why == nil {
			return tried, nil
		}
		if first == nil {
			first = why
		}
	}
	return l, first
}

// expect takes into a view what a line is sure to do, and what it may do, and
// tells whether it may roll.
func (v *view) expect(l Line) (mayRoll bool) {
	v.reach(l.Order)
	if l.If != nil {
		return v.perhaps(l)
	}
	u := v.unit(l.Unit)
	switch l.Order {
	case Move:
		u.Turn.Moved, u.Joined, u.At = true, l.Joins, l.At
		for _, with := range v.joined(u.ID) {
			v.unit(with.ID).Turn.Moved = true
		}
	case FallBack:
		u.Turn.Moved = true
		v.part(u.ID)
		v.lay(*u, v.Pack.Movement.FallBackStatus)
	case Run:
		u.Turn.Moved = true
		v.lay(*u, v.Pack.Movement.RunStatus)
		return v.Pack.Movement.RunAdds.Dice > 0 || v.Pack.Does(string(Run)) != ""
	case Hold:
		if v.mends(*u) {
			u.Turn.Moved = true
			return true
		}
	case Shoot, Split:
		u.Turn.Shot = true
		v.doubt(l.At)
		for _, a := range l.Shares {
			v.doubt(a.At)
		}
		v.doubtElse(l)
		return true
	case Cast:
		u.Turn.Cast = add(u.Turn.Cast, l.Power)
		v.doubt(append([]string{l.Unit, l.At}, l.Near...)...)
		v.doubtElse(l)
		return true
	case Charge:
		for _, id := range append([]string{l.Unit}, l.Also...) {
			v.unit(id).Turn.Charged = true
			v.doubt(id)
		}
		v.doubt(l.At)
		v.doubtElse(l)
		return true
	case Fight:
		v.doubt(append([]string{l.Unit, l.At}, u.With...)...)
		u.Turn.Struck = true
		return true
	case Done:
		return len(v.unsure) > 0 || v.endMayRoll()
	}
	return false
}

// doubt notes units whose fate is left to dice.
func (v *view) doubt(ids ...string) {
	for _, id := range ids {
		v.unsure[id] = true
	}
}

func (v *view) doubtElse(l Line) {
	for _, a := range l.Else {
		v.doubt(a.At)
	}
}

// lay lays a status on a unit and on who stands among it, if the pack names one.
func (v *view) lay(u Unit, status string) {
	if status == "" {
		return
	}
	for _, one := range append([]Unit{u}, v.joined(u.ID)...) {
		(&Status{Unit: one.ID, Status: status}).apply(&v.State)
	}
}

// perhaps takes into a view a line that may not be carried out at all: everything
// that it would change is left open. It tells whether the line may roll.
func (v *view) perhaps(l Line) (mayRoll bool) {
	before := view{State: v.own(), unsure: maps.Clone(v.unsure), loose: maps.Clone(v.loose)}
	l.If = nil
	mayRoll = before.expect(l)
	for id := range before.unsure {
		v.doubt(id)
	}
	for _, id := range append([]string{l.Unit}, l.Also...) {
		v.loose[id] = true
		v.doubt(id)
		for _, with := range v.joined(id) {
			v.loose[with.ID] = true
			v.doubt(with.ID)
		}
	}
	if l.Order == FallBack {
		v.doubt(v.unit(l.Unit).With...)
	}
	return mayRoll
}

// endMayRoll tells whether done may roll: somebody is in melee, or lost models.
func (s State) endMayRoll() bool {
	return slices.ContainsFunc(s.Units, func(u Unit) bool {
		return u.Stands() && (u.InMelee() || s.mustTest(u) || len(s.eachTurn(u)) > 0)
	})
}

// sheet carries out lines until one has become impossible.
func (r *run) sheet(lines []Line) {
	for i, l := range lines {
		r.line = i + 1
		if l.If != nil && !l.If.Hold(r.state) {
			r.emit(&Skipped{Line: r.line, Unit: l.Unit, Asked: l.If.Unit, Is: l.If.Is})
			continue
		}
		chosen, why := now(r.state).choose(l)
		if why == nil && r.most(chosen) > r.drawer.Left() {
			why = refuse("battle.refuse.dice")
		}
		if why != nil {
			r.stop(why, l.At, len(lines))
			return
		}
		if !r.carryOut(chosen) {
			r.stop(refuse("battle.refuse.dice"), "", len(lines))
			return
		}
	}
}

// stop ends the sheet at the present line.
func (r *run) stop(why *reason.Refusal, what string, lines int) {
	e := &Stopped{Line: r.line, Why: why.Reason.ID, What: what}
	for n := r.line + 1; n <= lines; n++ {
		e.Rest = append(e.Rest, n)
	}
	r.emit(e)
}

// carryOut does one line. It gives false if done needs more dice than an entry
// has: what was rolled stands, and done can be said again.
func (r *run) carryOut(l Line) bool {
	switch l.Order {
	case Move, Run, FallBack:
		r.move(l)
	case Hold:
		r.hold(l)
	case Shoot:
		r.shoot(l.Unit, l.Aim)
	case Split:
		for i := range l.Shares {
			r.shoot(l.Unit, r.share(l, i))
		}
	case Cast:
		r.cast(l)
	case Charge:
		r.charge(l)
	case Fight:
		r.melee(l.Unit, l.At, "")
	case Done:
		return r.done()
	}
	return true
}

// share is one weapon's aim of a split. Where its target is gone and the pack goes
// on to who was named next, it is the aim of the first after it that still stands
// within the weapon's reach.
func (r *run) share(l Line, i int) Aim {
	a := l.Shares[i]
	w := r.state.Pack.Weapon(a.Weapon)
	if r.state.unit(a.At).Stands() || r.state.Pack.Standing.Split != "next named" || w == nil {
		return a
	}
	for n := 1; n < len(l.Shares); n++ {
		next := l.Shares[(i+n)%len(l.Shares)]
		if r.state.unit(next.At).Stands() && w.Reaches(reason.Inches(next.Tenths)) {
			next.Weapon = a.Weapon
			return next
		}
	}
	return a
}

// Sorted gives the places of a sheet's lines in the order of a turn, lines of
// one phase in the order in which they were given; done comes last.
func Sorted(s State, lines []Line) []int {
	phase := func(i int) int {
		if lines[i].Order == Done {
			return len(s.Pack.Phases)
		}
		return s.Pack.PhaseOf(string(lines[i].Order))
	}
	places := make([]int, len(lines))
	for i := range places {
		places[i] = i
	}
	slices.SortStableFunc(places, func(a, b int) int { return phase(a) - phase(b) })
	return places
}
