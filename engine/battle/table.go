package battle

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// volley rolls pools against pools and crosses off what is left.
func (r *run) volley(how Verb, unit, at string, w *rules.Weapon, a Aim) {
	u, t := *r.state.unit(unit), *r.state.unit(at)
	v, why, err := r.pools(how, u, t, w, a)
	if err != nil {
		return // legal lines have pools to roll
	}
	rolled := v.Roll(r.drawer)
	ladder := r.state.ladder(t)
	rung := ladder.Rung + rolled.Hull.Crossed
	fell := ladder.Fallen(rung) - ladder.Fallen(ladder.Rung)
	e := &Volleyed{Line: r.line, How: how, Unit: unit, At: at, Mine: v.Pools.Mine.Number, Theirs: v.Pools.Theirs.Number,
		Hits: rolled.Pools.Mine.On, Stopped: rolled.Pools.Theirs.On, Points: rolled.Hull.Points, Crossed: rolled.Hull.Crossed,
		Fell: fell, Left: t.Left - fell, Hurt: ladder.Hurt(rung)}
	if w != nil {
		e.Weapon = w.ID
	}
	r.emit(e)
	r.tell(Told{What: AVolley, Unit: unit, At: at, Weapon: e.Weapon, Why: why, Volley: v, Pools: rolled, Event: e})
	r.criticals(at, v.Table, t.Hurt, rolled.Hull)
	r.fallen(at)
}

// pools compiles pools against pools.
func (r *run) pools(how Verb, u, t Unit, w *rules.Weapon, a Aim) (rules.Volley, []reason.Reason, error) {
	weapon := ""
	if w != nil {
		weapon = w.ID
	}
	f := facts(u, t, a)
	f.Charged = f.Charged || how == Charge
	return r.state.Pack.Volley(string(how), r.state.group(u), weapon, r.state.group(t), f)
}

// ram comes into contact and rolls pools against pools.
func (r *run) ram(l Line) {
	r.emit(&Met{Line: r.line, Unit: l.Unit, At: l.At, Tenths: l.Tenths})
	r.volley(Charge, l.Unit, l.At, r.state.blade(*r.state.unit(l.Unit)), l.Aim)
}

// assault rolls on a table, for all who attack together, and lets the result
// happen.
func (r *run) assault(l Line) {
	looked, why, err := r.odds(l)
	if err != nil {
		return // legal lines have a table to roll on
	}
	stakes, rolled := r.stakes(l), looked.Roll.Roll(r.drawer)
	e := &Looked{Line: r.line, Table: looked.Table.ID, Unit: l.Unit, Also: l.Also, At: l.At, Column: looked.Column, First: looked.First,
		Second: looked.Second, Shift: looked.Shift, Row: rolled.Result, Total: rolled.Sum.Total, Dice: rolled.Sum.Terms[0].Dice}
	r.emit(e)
	r.tell(Told{What: ALook, Unit: l.Unit, At: l.At, Why: why, Looked: looked, Stakes: stakes, Sum: rolled.Sum, Event: e})
	_, then := looked.Result(rolled.Result)
	a := l.affair(ByTable)
	a.of = looked.Table.ID
	r.happen(then, a)
}

// odds compiles an assault.
func (r *run) odds(l Line) (rules.Looked, []reason.Reason, error) {
	var all []rules.Group
	for _, id := range append([]string{l.Unit}, l.Also...) {
		all = append(all, r.state.group(*r.state.unit(id)))
	}
	u, t := *r.state.unit(l.Unit), *r.state.unit(l.At)
	return r.state.Pack.Assault(string(Charge), all, r.state.group(t), facts(u, t, l.Aim))
}

// contest is an opposed roll of two units in contact.
func (r *run) contest(unit, at string) {
	u, t := *r.state.unit(unit), *r.state.unit(at)
	o, step, why, err := r.state.Pack.Contest(string(Fight), r.state.group(u), r.state.group(t), facts(u, t, Aim{}))
	if err != nil {
		return
	}
	rolled := o.Roll(r.drawer)
	last := rolled.Bouts[len(rolled.Bouts)-1]
	e := &Contested{Line: r.line, Unit: unit, At: at, Bouts: len(rolled.Bouts), Won: rolled.Winner,
		Dice: faces(last.Mine), Mine: last.Mine.Total, Other: faces(last.Theirs), Theirs: last.Theirs.Total}
	r.emit(e)
	r.tell(Told{What: AContest, Unit: unit, At: at, Why: why, Opposed: o, Bouts: rolled.Bouts, Event: e})
	a := affair{attackers: []string{unit}, target: at, self: unit, why: ByContest}
	switch rolled.Winner {
	case 1:
		r.happen(step.Then, a)
	case -1:
		r.happen(step.Otherwise, a)
	}
}

// faces are the dice of a total, none as an empty list.
func faces(s attack.Sum) []int {
	out := []int{}
	for _, t := range s.Terms {
		out = append(out, t.Dice...)
		for _, more := range t.More {
			out = append(out, more.Face)
		}
	}
	return out
}

// hold stays, at an objective perhaps; who holds may mend what is broken.
func (r *run) hold(l Line) {
	r.emit(&Held{Line: r.line, Unit: l.Unit, At: l.At})
	u := *r.state.unit(l.Unit)
	if !r.state.mends(u) {
		return
	}
	up, why, err := r.state.Pack.Upkeep(string(Hold), r.state.group(u))
	if err != nil || up.Pool.Number == 0 {
		return
	}
	rolled := up.Pool.Step.Roll(r.drawer, up.Pool.Number)
	e := &Mended{Line: r.line, Unit: u.ID, Dice: rolled.Faces(), Passed: rolled.On}
	r.emit(e)
	r.tell(Told{What: AMending, Unit: u.ID, Why: why, Pool: up.Pool, Rolled: rolled, Event: e})
	for range rolled.On {
		r.happen(up.Then, affair{self: u.ID, why: ByTest})
	}
}

// mends tells whether a unit that holds now rolls for itself: it has not moved,
// has something to mend, and the time for it has not gone by.
func (s State) mends(u Unit) bool {
	return s.Pack.Does(string(Hold)) == "dice" && !u.Turn.Moved && s.broken(u) != "" && s.Pack.PhaseOf(string(Hold)) >= s.Phase
}

// blow rolls for what may carry a unit away when it runs.
func (r *run) blow(id string) {
	m, why, err := r.state.Pack.Trial(string(Run), r.state.group(*r.state.unit(id)), 0)
	if err != nil {
		return // running is just that here
	}
	sum := m.Total.Roll(r.drawer)
	e := &Blown{Unit: id, Dice: faces(sum), Total: sum.Total}
	if m.Total.Judge == attack.TotalAtMost {
		e.Excess = max(0, sum.Total-m.Total.Value)
	}
	r.emit(e)
	r.tell(Told{What: AWind, Unit: id, Why: why, Total: m.Total, Sum: sum, Event: e})
	r.judged(m, sum, id, e.Excess)
}

// judged lets happen what comes of a total: what is too much, passed or not.
func (r *run) judged(m rules.Morale, sum attack.Sum, id string, excess int) {
	a := affair{self: id, target: id, attackers: []string{id}, why: ByTest, of: m.Step, excess: excess}
	if m.Excess != nil && excess > 0 {
		r.happen([]rules.Consequence{*m.Excess}, a)
	}
	if sum.Passed {
		r.happen(m.Then, a)
	} else {
		r.happen(m.Otherwise, a)
	}
}
