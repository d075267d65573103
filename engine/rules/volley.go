package rules

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// Volley is pools against pools, settled but for the dice: what is left of the
// attacker's successes does damage, one after another, to a target whose marks
// look up a table when they are crossed.
type Volley struct {
	attack.Volley
	Table string // looked up at each mark, "" for none
}

// Volley compiles what an order sets off that pits pools against pools. weapon
// may be "" where none is used. The reasons are as those of Compile, first the
// attacker's pool, then the other.
func (p *Pack) Volley(order string, attackers Group, weapon string, target Group, facts Facts) (Volley, []reason.Reason, error) {
	w := &work{scene: scene{pack: p, attacker: attackers, target: target, weapon: p.Weapon(weapon), facts: facts}, times: 1, sequence: p.SequenceOf(order)}
	if p.Does(order) != "pools" {
		return Volley{}, nil, reason.Refuse("", "rules.refuse.sequence", "order", order)
	}
	if err := w.present(); err != nil {
		return Volley{}, nil, err
	}
	if weapon != "" {
		if err := w.armed(weapon); err != nil {
			return Volley{}, nil, err
		}
	}
	step := p.Step(w.sequence.Steps[0])
	for _, e := range []*Each{&step.Each, step.Theirs} {
		s, err := w.newStep(step, e)
		if err != nil {
			return Volley{}, nil, err
		}
		s.theirs = e == step.Theirs
		w.steps = append(w.steps, s)
	}
	for _, e := range w.acting() {
		e.does.apply(w, e)
	}
	return w.volley(step)
}

// volley puts what was gathered into a plain value and its reasons.
func (w *work) volley(step *Step) (Volley, []reason.Reason, error) {
	mine := w.amount(step.Number)
	times := 1
	if w.weapon != nil && !w.weapon.Melee() {
		times = w.weapon.Used(w.attacker.Models)
	}
	v := Volley{}
	v.Pools.Mine.Number = max((mine.Plus+w.plus)*times*w.times, w.least)
	v.Pools.Theirs.Number = w.amount(step.Theirs.Number).Plus
	v.Pools.Mine.Step, v.Pools.Theirs.Step = w.steps[0].each(), w.steps[1].each()
	v.Damage = w.hurt().Amount
	v.Hull, v.Table = w.pack.Hull(w.target)
	why := []reason.Reason{w.poolReason(v.Pools.Mine.Number)}
	why = append(why, w.steps[0].reasons(v.Pools.Mine.Step)...)
	why = append(why, reason.New("why.pool.theirs", "number", v.Pools.Theirs.Number))
	why = append(why, w.steps[1].reasons(v.Pools.Theirs.Step)...)
	why = append(why, w.hullReason(v.Damage, v.Hull.Left))
	if v.Most() > mostDice {
		return Volley{}, nil, reason.Refuse("", "rules.refuse.dice", "dice", v.Most(), "most", mostDice)
	}
	return v, why, nil
}

func (w *work) poolReason(n int) reason.Reason {
	if len(w.attacksWhy) == 0 {
		return reason.New("why.pool.mine", "number", n)
	}
	return reason.New("why.pool.mine_because", "number", n, "because", chain(w.attacksWhy))
}

// hullReason says what each success does that was not cancelled.
func (w *work) hullReason(amount attack.Amount, left int) reason.Reason {
	name := reason.Name(w.pack.WoundsCalled())
	if len(w.damageWhy) == 0 {
		return reason.New("why.hull", "damage", amount.String(), "name", name, "left", left)
	}
	return reason.New("why.hull_because", "damage", amount.String(), "name", name, "left", left, "because", chain(w.damageWhy))
}

// Hull is what is left of a target to be crossed off, with its marks and what a
// look at the table may cross off besides; and which table that is, "" for none.
func (p *Pack) Hull(g Group) (attack.Hull, string) {
	wounds := p.Wounds(g)
	h := attack.Hull{Left: max(0, g.Models*wounds-g.Hurt)}
	for i := range p.Sequences {
		d := p.Sequences[i].Damage
		if d == nil || d.Marks == "" {
			continue
		}
		table := p.Table(d.Table)
		h.Table = table.roll()
		for _, line := range table.Rows {
			h.More = append(h.More, crossingOff(line.Then))
		}
		v, _, _ := (&scene{pack: p, attacker: g}).trait(Self, d.Marks)
		for _, mark := range v.Marks {
			if mark > g.Hurt {
				h.Marks = append(h.Marks, mark-g.Hurt)
			}
		}
		return h, d.Table
	}
	return h, ""
}

// crossingOff are the amounts that consequences cross off who was hit.
func crossingOff(all []Consequence) []attack.Amount {
	var amounts []attack.Amount
	for _, c := range all {
		if c.Do == "cross off" && c.Who == string(Target) {
			amounts = append(amounts, c.Amount)
		}
	}
	return amounts
}
