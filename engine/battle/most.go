package battle

import "drumhead/engine/rules"

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

// mostJudged is the most dice of what comes of a total.
func (r *run) mostJudged(m rules.Morale, id string) int {
	a := affair{self: id, target: id, attackers: []string{id}}
	return max(r.mostThen(m.Then, a), r.mostThen(m.Otherwise, a))
}
