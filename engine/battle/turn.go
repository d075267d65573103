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

// mostJudged is the most dice of what comes of a total.
func (r *run) mostJudged(m rules.Morale, id string) int {
	a := affair{self: id, target: id, attackers: []string{id}}
	return max(r.mostThen(m.Then, a), r.mostThen(m.Otherwise, a))
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

// most is the most dice that a line can draw, whatever anybody's standing
// orders say. Done asks for each part of it by itself.
func (r *run) most(l Line) int {
	u := *r.state.unit(l.Unit)
	switch l.Order {
	case Run:
		return r.state.Pack.Movement.RunAdds.Dice + r.mostBlown(u)
	case Hold:
		return r.mostMended(u)
	case Shoot:
		return r.mostShot(u, l.Aim)
	case Split:
		sum := 0
		for _, a := range l.Shares {
			most := 0
			for _, other := range l.Shares { // a target that is gone may be another's
				other.Weapon = a.Weapon
				most = max(most, r.mostShot(u, other))
			}
			sum += most
		}
		return sum
	case Cast:
		return r.mostCast(u, l)
	case Charge, Fight:
		if n, other := r.mostMet(l); other {
			return n
		}
		at := l.At
		if at == "" {
			at = r.enemyOf(u.ID)
		}
		t := *r.state.unit(at)
		return mostChargeDice + r.mostMelee(u, t) + r.mostMelee(t, u)
	}
	return 0
}

// mostChargeDice bounds the dice of a charge roll, however a pack writes it.
const mostChargeDice = 100

func (r *run) mostShot(u Unit, a Aim) int {
	sum, t := 0, *r.state.unit(a.At)
	for _, w := range r.state.weapons(u, a) {
		if r.state.Pack.Does(string(Shoot)) == "pools" {
			sum += r.mostVolley(Shoot, u, t, w, a)
			continue
		}
		sum += r.mostBlow(Shoot, u, t, w, a)
	}
	return sum
}

// mostBlow is the most dice of a weapon's attacks, part by part of the unit.
func (r *run) mostBlow(how Verb, u, t Unit, w *rules.Weapon, a Aim) int {
	if w == nil || !u.Stands() || !t.Stands() {
		return 0
	}
	sum := 0
	for _, h := range r.state.hands(u, w, min(a.Models, u.Left)) {
		if b, err := r.settle(how, u, t, w, a, h); err == nil {
			withReroll(&b.attack)
			sum += b.attack.Most()
		}
	}
	return sum
}

// mostMelee is the most dice of a unit's strike in melee.
func (r *run) mostMelee(u, t Unit) int {
	sum := 0
	for part := range 1 + len(r.state.kind(u.Kind).Others) {
		sum += r.mostBlow(Fight, u, t, r.state.bladeOf(u, part), Aim{})
	}
	for _, with := range r.state.joined(u.ID) {
		sum += r.mostMelee(with, t)
	}
	return sum
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
		sum += r.mostThen(all, l.affair(""))
	}
	return sum
}

// mostVolley is the most dice of pools against pools and what marks look up.
func (r *run) mostVolley(how Verb, u, t Unit, w *rules.Weapon, a Aim) int {
	v, _, err := r.pools(how, u, t, w, a)
	if err != nil || !u.Stands() || !t.Stands() {
		return 0
	}
	return v.Most() + r.mostMarks(t, v.Table)
}

// mostMarks is the most dice of what a hull's table does besides crossing off.
func (r *run) mostMarks(t Unit, table string) int {
	looked, ok := r.state.Pack.LookUp(table)
	if !ok {
		return 0
	}
	hull, _ := r.state.Pack.Hull(r.state.group(t))
	most := 0
	for i := range looked.Table.Rows {
		_, then := looked.Result(i)
		dice := 0
		for _, c := range then {
			dice += c.Amount.Dice
		}
		most = max(most, dice)
	}
	return len(hull.Marks) * most
}

// mostMet is the most dice of what units do in contact where that is no blow;
// other tells that it is not.
func (r *run) mostMet(l Line) (most int, other bool) {
	u, t := *r.state.unit(l.Unit), *r.state.unit(l.At)
	switch kind := r.state.Pack.Does(string(l.Order)); {
	case l.Order == Charge && kind == "pools":
		return r.mostVolley(Charge, u, t, r.state.blade(u), l.Aim), true
	case l.Order == Charge && kind == "table":
		looked, _, err := r.odds(l)
		if err != nil {
			return 0, true
		}
		for i := range looked.Table.Rows {
			_, then := looked.Result(i)
			most = max(most, r.mostThen(then, l.affair("")))
		}
		return most + looked.Roll.Most() + 2*r.mostCornered(l), true
	case l.Order == Fight && kind == "opposed":
		if l.At == "" {
			t = *r.state.unit(r.enemyOf(u.ID))
		}
		o, step, _, err := r.state.Pack.Contest(string(Fight), r.state.group(u), r.state.group(t), rules.Facts{})
		if err != nil {
			return 0, true
		}
		a := affair{attackers: []string{u.ID}, target: t.ID, self: u.ID}
		return o.Most() + max(r.mostThen(step.Then, a), r.mostThen(step.Otherwise, a)), true
	}
	return 0, false
}

// mostCornered is the most dice of what befalls who cannot retreat.
func (r *run) mostCornered(l Line) int {
	seq := r.state.Pack.SequenceOf(string(Charge))
	sum := 0
	for _, c := range seq.Blocked {
		hull, _ := r.state.Pack.Hull(r.state.group(*r.state.unit(l.At)))
		sum += c.Amount.Dice + hull.Most()
	}
	return sum
}

func (r *run) mostBlown(u Unit) int {
	m, _, err := r.state.Pack.Trial(string(Run), r.state.group(u), 0)
	if err != nil {
		return 0
	}
	return m.Total.Most() + r.mostJudged(m, u.ID)
}

func (r *run) mostMended(u Unit) int {
	up, _, err := r.state.Pack.Upkeep(string(Hold), r.state.group(u))
	if err != nil || !r.state.mends(u) {
		return 0
	}
	return up.Pool.Most() + up.Pool.Number*r.mostThen(up.Then, affair{self: u.ID})
}
