package battle

import (
	"drumhead/engine/dice"
	"drumhead/engine/rules"
)

// done ends the turn: melees that have not been fought, morale of who lost
// models, points for what is held, and the other side's move. It gives false,
// with everything so far standing, when the entry has too few dice left.
func (r *run) done() bool {
	for _, side := range []int{r.state.Side, Other(r.state.Side)} {
		for _, u := range r.state.standing(side) {
			if u = *r.state.unit(u.ID); !u.Stands() || !u.InMelee() || u.Turn.Struck {
				continue
			}
			if r.most(Line{Order: Fight, Unit: u.ID}) > r.drawer.Left() {
				return false
			}
			r.melee(u.ID, "", "")
		}
	}
	if most := r.mostBurnt(); most > r.drawer.Left() && most <= dice.MostDice {
		return false // all of it in one entry, so that nothing happens twice
	}
	for _, u := range r.state.Units {
		if u.Stands() && !r.burn(u.ID) {
			return false
		}
	}
	for _, u := range r.state.Units {
		if !r.test(u.ID) {
			return false
		}
	}
	r.score()
	r.handOver()
	return true
}

// mustTest tells whether a unit has to be tested as the turn ends.
func (s State) mustTest(u Unit) bool {
	return u.Stands() && !u.Turn.Tested && s.Pack.Tests(s.group(u), u.Turn.Lost, u.Side == s.Side)
}

// test is the morale of a unit: models of it flee, or it passes or not.
func (r *run) test(id string) bool {
	u := *r.state.unit(id)
	if !r.state.mustTest(u) {
		return true
	}
	m, why, err := r.state.Pack.Trial(string(Test), r.state.group(u), u.Turn.Lost)
	if err != nil {
		return true // this game knows no morale
	}
	if m.Total.Most()+r.mostJudged(m, id) > r.drawer.Left() {
		return false
	}
	sum := m.Total.Roll(r.drawer)
	if m.Each == 0 {
		e := &Tried{Unit: id, Dice: faces(sum), Total: sum.Total, Need: m.Total.Value, Passed: sum.Passed, Step: m.Step}
		r.emit(e)
		r.tell(Told{What: ATest, Unit: id, Why: why, Total: m.Total, Sum: sum, Event: e})
		r.judged(m, sum, id, 0)
		return true
	}
	fled := min(m.Flee(sum.Total), u.Left)
	e := &Tested{Unit: id, Dice: sum.Terms[0].Dice, Lost: u.Turn.Lost, Total: sum.Total,
		Nerve: m.Total.Value, Fled: fled, Left: u.Left - fled}
	r.emit(e)
	r.tell(Told{What: AMorale, Unit: id, Why: why, Total: m.Total, Sum: sum, Event: e})
	if e.Left == 0 {
		r.emit(&Broken{Unit: id, How: Routed, By: u.By})
	}
	return true
}

// eachTurn is what lies on a unit and does something as its owner's turn ends.
func (s State) eachTurn(u Unit) []*rules.Status {
	var out []*rules.Status
	for _, id := range u.Statuses {
		if st := s.Pack.Status(id); st != nil && len(st.Each) > 0 && u.Side == s.Side {
			out = append(out, st)
		}
	}
	return out
}

// mostBurnt is the most dice of what lies on all units.
func (r *run) mostBurnt() int {
	most := 0
	for _, u := range r.state.Units {
		if !u.Stands() {
			continue
		}
		for _, st := range r.state.eachTurn(u) {
			most += r.mostThen(st.Each, affair{self: u.ID, target: u.ID, attackers: []string{u.ID}})
		}
	}
	return most
}

// burn carries out what lies on a unit, false if the entry has too few dice left.
func (r *run) burn(id string) bool {
	for _, st := range r.state.eachTurn(*r.state.unit(id)) {
		a := affair{self: id, target: id, attackers: []string{id}, why: ByStatus, of: st.ID}
		if r.mostThen(st.Each, a) > r.drawer.Left() {
			return false
		}
		r.happen(st.Each, a)
	}
	return true
}

// score gives the side whose turn ends its points for what it alone holds.
func (r *run) score() {
	sc := r.state.Pack.Scenario(r.state.Terms.Scenario)
	if sc == nil || sc.Holds == 0 {
		return
	}
	for _, o := range sc.Objectives {
		if r.state.Holder(o.ID) == r.state.Side {
			r.emit(&Scored{Side: r.state.Side, Objective: o.ID, Points: sc.Holds})
		}
	}
}

// handOver gives the turn to the other side, or ends the battle.
func (r *run) handOver() {
	s := r.state
	next, turn := Other(s.Side), s.Turn
	if next == s.First {
		turn++
	}
	switch {
	case len(s.standing(0)) == 0 || len(s.standing(1)) == 0:
		r.emit(&Finished{Why: Swept})
	case turn > s.Terms.Turns:
		r.emit(&Finished{Why: LastTurn})
	default:
		r.emit(&Handed{Side: next, Turn: turn, Cleared: s.ending(next)})
	}
}

// ending lists the statuses that end with the begin of a side's turn.
func (s State) ending(side int) []Cleared {
	var out []Cleared
	for _, u := range s.Units {
		for _, id := range u.Statuses {
			st := s.Pack.Status(id)
			if st != nil && (u.Side == side && st.Until == rules.UntilOwnTurn || st.Until == rules.UntilTurnEnd) {
				out = append(out, Cleared{Unit: u.ID, Status: id})
			}
		}
	}
	return out
}
