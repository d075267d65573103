package battle

import "drumhead/engine/rules"

// cast rolls for a power. In order: the casting roll, a counter, the power
// itself, what the caster brings on itself, and what its end does to who is near.
func (r *run) cast(l Line) {
	u := *r.state.unit(l.Unit)
	c, why, err := r.state.Pack.Casting(r.state.group(u), l.Power)
	if err != nil {
		return // legal lines name a power that the unit knows
	}
	ladder := r.state.ladder(u)
	with := Casting{Compiled: c, Wounds: ladder.Top() - ladder.Rung, Opposed: c.Counts && r.state.counterer(Other(u.Side)) != ""}
	sum := c.Cast.Roll(r.drawer)
	faces := sum.Terms[0].Dice
	fails, mishap := c.Shows(faces)
	e := &CastAt{Line: r.line, Unit: u.ID, Power: l.Power, At: l.At, Dice: faces, Total: sum.Total,
		Need: c.Cast.Value, Works: sum.Passed && !fails}
	if len(mishap) > 0 {
		e.Mishap = "top"
		if faces[0] == 1 {
			e.Mishap = "ones"
		}
	}
	r.emit(e)
	r.tell(Told{What: ACast, Unit: u.ID, At: l.At, Power: l.Power, Why: why, Total: c.Cast, Sum: sum, Cast: with, Event: e})
	if e.Works && !r.countered(Other(u.Side), c, sum.Total) {
		r.happen(c.Power.Then, l.affair(l.Power))
	}
	r.happen(mishap, l.affair(Mishap))
	if !r.state.unit(u.ID).Stands() {
		r.happen(c.Dies, l.affair(Blast))
	}
}

// countered lets an opposing caster try to cancel a power, if its owner's
// standing order or the pack says so. Each caster counters once a turn.
func (r *run) countered(side int, c rules.Casting, cast int) bool {
	total, possible := c.Against(cast)
	caster := r.state.counterer(side)
	if !possible || caster == "" || !r.wantsCounter(side, cast) {
		return false
	}
	sum := total.Roll(r.drawer)
	e := &Countered{Unit: caster, Dice: sum.Terms[0].Dice, Total: sum.Total, Beat: cast, Cancels: sum.Passed}
	r.emit(e)
	r.tell(Told{What: ACounter, Unit: caster, Total: total, Sum: sum, Event: e})
	return e.Cancels
}

// wantsCounter asks the side's standing order, which is opened by being asked.
func (r *run) wantsCounter(side, cast int) bool {
	o := r.settled(side, func(s Standing) bool { return s.Counter != nil })
	if o == nil {
		return r.state.Pack.Standing.Counter != "never"
	}
	r.open(o)
	return !o.order.Counter.Never && cast >= o.order.Counter.AtLeast
}

// counterer is the first caster of a side that may still counter in this turn.
func (s State) counterer(side int) string {
	for _, u := range s.standing(side) {
		if !u.Turn.Countered && len(s.kind(u.Kind).Powers) > 0 {
			return u.ID
		}
	}
	return ""
}
