package battle

import (
	"drumhead/engine/attack"
	"drumhead/engine/rules"
)

// affair is what consequences are about: who did it, to whom, who is near.
type affair struct {
	attackers []string // the first gave the order
	target    string
	self      string // who rolled, the caster
	near      []string
	why       string // what Suffered says
	of        string
	excess    int  // points too many
	blocked   bool // the target cannot retreat
	counted   bool // what is crossed off the target is counted already
}

// affair of a line: who gave it, at whom, who is near.
func (l Line) affair(why string) affair {
	return affair{attackers: append([]string{l.Unit}, l.Also...), target: l.At, self: l.Unit, near: l.Near, why: why, blocked: l.Blocked}
}

// concerned lists the units that a consequence is about. Who is near a caster
// the players have said in the line.
func (a affair) concerned(c rules.Consequence) []string {
	switch c.Who {
	case "caster", "self":
		return []string{a.self}
	case "target":
		return []string{a.target}
	case "attacker":
		return a.attackers
	case "every unit":
		return a.near
	}
	return nil
}

// happen carries out consequences, in their order.
func (r *run) happen(all []rules.Consequence, a affair) {
	for _, c := range all {
		if c.Do == "look up" {
			r.lookUp(c.Table, a)
			continue
		}
		for _, id := range a.concerned(c) {
			if r.state.unit(id).Stands() {
				r.befall(c, id, a)
			}
		}
	}
}

// befall carries out one consequence for one unit.
func (r *run) befall(c rules.Consequence, id string, a affair) {
	by := r.foe(id, a)
	switch c.Do {
	case "sure":
		r.suffer(id, a, by, c.Amount)
	case "cross off":
		if !a.counted || id != a.target {
			r.crossOff(id, a, by, c.Amount)
		}
	case "lose":
		_, points := c.Amount.Roll(r.drawer)
		r.emit(&Weakened{Unit: id, Characteristic: c.Characteristic, By: points})
	case "flee":
		r.scatter(id, min(a.excess*c.Each, r.state.unit(id).Left))
	case "retreat":
		r.retreat(id, int(c.Inches), a)
	case "rout":
		r.emit(&Broken{Unit: id, How: Routed, By: by})
	case "status":
		r.emit(&Status{Unit: id, Status: c.Status})
	case "clear status":
		if r.state.unit(id).Has(c.Status) {
			r.emit(&Lifted{Unit: id, Status: c.Status})
		}
	case "repair":
		r.repair(id)
	case "drift":
		if a.excess > 0 {
			r.emit(&Drifted{Unit: id, Tenths: 10 * a.excess * c.Each})
		}
	case "may":
		r.followUp(id, a)
	}
}

// foe is the enemy of a unit in an affair, "" if there is none.
func (r *run) foe(id string, a affair) string {
	foes := []string{a.self}
	if a.why == ByTable || a.why == ByContest {
		foes = append(foes, a.target)
	}
	for _, other := range foes {
		if u, ok := r.state.Unit(other); ok && u.Side != r.state.unit(id).Side {
			return other
		}
	}
	return ""
}

// crossOff crosses points off a unit; a hull looks up its table at each mark.
func (r *run) crossOff(id string, a affair, by string, hurt attack.Amount) {
	dice, points := hurt.Roll(r.drawer)
	u := *r.state.unit(id)
	hull, table := r.state.Pack.Hull(r.state.group(u))
	rolled := hull.Roll(r.drawer, points)
	ladder := r.state.ladder(u)
	rung := ladder.Rung + rolled.Crossed
	fell := ladder.Fallen(rung) - ladder.Fallen(ladder.Rung)
	e := &Suffered{Unit: id, Why: a.why, Of: a.of, By: by, Dice: dice, Points: points,
		Crossed: rolled.Crossed, Fell: fell, Left: u.Left - fell, Hurt: ladder.Hurt(rung)}
	r.emit(e)
	total, sum := amount(hurt, dice, points)
	r.tell(Told{What: Suffering, Unit: id, Total: total, Sum: sum, Event: e})
	r.criticals(id, table, u.Hurt, rolled)
	r.fallen(id)
}

// criticals tells what the marks of a hull looked up, and lets it happen. What
// was crossed off by it is counted already; before is what was off the hull
// before.
func (r *run) criticals(id, table string, before int, rolled attack.HullRolled) {
	looked, ok := r.state.Pack.LookUp(table)
	if !ok {
		return
	}
	for _, c := range rolled.Criticals {
		e := &Looked{Line: r.line, Table: table, Unit: id, Mark: before + c.Mark, Row: c.Result, Total: c.Sum.Total, Dice: c.Sum.Terms[0].Dice, More: c.More}
		r.emit(e)
		r.tell(Told{What: ALook, Unit: id, Looked: looked, Sum: c.Sum, Event: e})
		_, then := looked.Result(c.Result)
		r.happen(then, affair{target: id, self: id, why: ByTable, of: table, counted: true})
	}
}

// lookUp rolls on a table and lets what it says happen.
func (r *run) lookUp(table string, a affair) {
	looked, ok := r.state.Pack.LookUp(table)
	if !ok {
		return
	}
	rolled := looked.Roll.Roll(r.drawer)
	e := &Looked{Line: r.line, Table: table, Unit: a.self, Row: rolled.Result, Total: rolled.Sum.Total, Dice: rolled.Sum.Terms[0].Dice}
	r.emit(e)
	r.tell(Told{What: ALook, Unit: a.self, Looked: looked, Sum: rolled.Sum, Event: e})
	_, then := looked.Result(rolled.Result)
	a.why, a.of, a.counted = ByTable, table, false
	r.happen(then, a)
}

// retreat has a unit give ground. Who cannot suffers what the rules have for it.
func (r *run) retreat(id string, tenths int, a affair) {
	e := &Retreated{Unit: id, Tenths: tenths, Blocked: a.blocked && id == a.target}
	r.emit(e)
	if !e.Blocked {
		return
	}
	for _, c := range r.state.Pack.Cornered() {
		if r.state.unit(id).Stands() {
			r.befall(c, id, affair{self: id, target: id, why: Cornered})
		}
	}
}

// followUp has a unit take the ground of its target, if its owner does so.
func (r *run) followUp(id string, a affair) {
	if r.state.Pack.Standing.FollowUp == "never" || a.ground(r.state) == "" {
		return
	}
	if u := r.state.unit(id); u.Stands() && !u.InMelee() {
		r.emit(&Followed{Unit: id, At: a.ground(r.state)})
	}
}

// ground is the objective that the target of an affair has given up.
func (a affair) ground(s State) string {
	if t, ok := s.Unit(a.target); ok && t.At == "" {
		return t.Turn.Gave
	}
	return ""
}

// repair mends the first thing that lasts until it is repaired.
func (r *run) repair(id string) {
	if status := r.state.broken(*r.state.unit(id)); status != "" {
		r.emit(&Lifted{Unit: id, Status: status})
	}
}

// broken is the first status of a unit that can be repaired, "" for none.
func (s State) broken(u Unit) string {
	for _, id := range u.Statuses {
		if st := s.Pack.Status(id); st != nil && st.Until == rules.UntilRepaired {
			return id
		}
	}
	return ""
}

// scatter has models flee.
func (r *run) scatter(id string, n int) {
	if n == 0 {
		return
	}
	u := *r.state.unit(id)
	r.emit(&Scattered{Unit: id, Fled: n, Left: u.Left - n})
	if u.Left == n {
		r.emit(&Broken{Unit: id, How: Routed, By: u.By})
	}
}

// mostThen is the most dice that consequences can draw.
func (r *run) mostThen(all []rules.Consequence, a affair) int {
	sum := 0
	for _, c := range all {
		if c.Do == "look up" {
			sum += r.mostLook(c.Table, a)
			continue
		}
		for _, id := range a.concerned(c) {
			hull, _ := r.state.Pack.Hull(r.state.group(*r.state.unit(id)))
			sum += c.Amount.Dice + hull.Most()
		}
	}
	return sum
}

// mostLook is the most dice of a look at a table and what comes of it.
func (r *run) mostLook(table string, a affair) int {
	looked, ok := r.state.Pack.LookUp(table)
	if !ok {
		return 0
	}
	most := 0
	for i := range looked.Table.Rows {
		_, then := looked.Result(i)
		most = max(most, r.mostThen(then, a))
	}
	return looked.Roll.Most() + most
}
