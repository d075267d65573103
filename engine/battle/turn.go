package battle

import "drumhead/engine/rules"

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
	for _, u := range r.state.Units {
		if !r.test(u.ID) {
			return false
		}
	}
	r.score()
	r.handOver()
	return true
}

// test is the morale of a unit that lost models in this turn.
func (r *run) test(id string) bool {
	u := *r.state.unit(id)
	if !u.Stands() || u.Turn.Lost == 0 || u.Turn.Tested {
		return true
	}
	m, why, err := r.state.Pack.Morale(r.state.group(u), u.Turn.Lost)
	if err != nil {
		return true // this game knows no morale
	}
	if m.Total.Most() > r.drawer.Left() {
		return false
	}
	sum := m.Total.Roll(r.drawer)
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
			if st := s.Pack.Status(id); u.Side == side && st != nil && st.Until == "own turn" {
				out = append(out, Cleared{Unit: u.ID, Status: id})
			}
		}
	}
	return out
}

// most is the most dice that a line can draw, whatever anybody's standing
// orders say. Done asks for each part of it by itself.
func (r *run) most(l Line) int {
	u := *r.state.unit(l.Unit)
	switch l.Order {
	case Run:
		return r.state.Pack.Movement.RunAdds.Dice
	case Shoot:
		return r.mostShot(u, l.Aim)
	case Split:
		sum := 0
		for _, a := range l.Shares {
			sum += r.mostShot(u, a)
		}
		return sum
	case Cast:
		return r.mostCast(u, l)
	case Charge, Fight:
		at := l.At
		if at == "" {
			at = r.enemyOf(u.ID)
		}
		t := *r.state.unit(at)
		return mostChargeDice + r.mostBlow(Fight, u, t, r.state.blade(u), Aim{}) + r.mostBlow(Fight, t, u, r.state.blade(t), Aim{})
	}
	return 0
}

// mostChargeDice bounds the dice of a charge roll, however a pack writes it.
const mostChargeDice = 100

func (r *run) mostShot(u Unit, a Aim) int {
	sum, t := 0, *r.state.unit(a.At)
	for _, w := range r.state.weapons(u, a) {
		sum += r.mostBlow(Shoot, u, t, w, a)
	}
	return sum
}

func (r *run) mostBlow(how Verb, u, t Unit, w *rules.Weapon, a Aim) int {
	if w == nil || !u.Stands() || !t.Stands() {
		return 0
	}
	b, err := r.settle(how, u, t, w, a)
	if err != nil {
		return 0
	}
	withReroll(&b.attack)
	return b.attack.Most()
}

func (r *run) mostCast(u Unit, l Line) int {
	c, _, err := r.state.Pack.Casting(r.state.group(u), l.Power)
	if err != nil {
		return 0
	}
	sum := c.Cast.Most() + c.Counter.Most()
	_, low := c.Shows([]int{1})
	_, high := c.Shows([]int{c.Cast.Terms[0].Sides})
	for _, all := range [][]rules.Consequence{c.Power.Then, low, high, c.Dies} {
		for _, one := range all {
			sum += one.Amount.Dice * max(1, len(concerned(one, l)))
		}
	}
	return sum
}
