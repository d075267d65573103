package battle

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// blow is one unit's attack with one weapon, settled but for the dice.
type blow struct {
	how    Verb // Shoot or Fight
	unit   Unit
	at     Unit
	weapon *rules.Weapon
	models int
	part   int // of the unit
	attack attack.Attack
	why    []reason.Reason
	reroll *opening // the standing order that may roll one lost save again
}

// shoot shoots with everything that the unit uses at the aim, weapon by weapon,
// until the target has nobody left.
func (r *run) shoot(unit string, a Aim) {
	for _, w := range r.state.weapons(*r.state.unit(unit), a) {
		u, t := *r.state.unit(unit), *r.state.unit(a.At)
		if !t.Stands() {
			return
		}
		if r.state.Pack.Does(string(Shoot)) == "pools" {
			r.volley(Shoot, unit, a.At, w, a)
			continue
		}
		r.strikes(Shoot, u, t.ID, w, a)
		r.fallen(t.ID)
	}
}

// strikes carries out one weapon's attacks, part by part of the unit, until the
// target has nobody left.
func (r *run) strikes(how Verb, u Unit, at string, w *rules.Weapon, a Aim) {
	for _, h := range r.state.hands(u, w, min(a.Models, u.Left)) {
		t := *r.state.unit(at)
		if !t.Stands() || t.Left == 0 {
			return
		}
		if b, err := r.settle(how, u, t, w, a, h); err == nil {
			r.strike(b)
		}
	}
}

// settle compiles an attack by models of one part of a unit. A weapon that the
// rules cannot use here is refused.
func (r *run) settle(how Verb, u, t Unit, w *rules.Weapon, a Aim, h hands) (blow, error) {
	b := blow{how: how, unit: u, at: t, weapon: w, models: h.models, part: h.part}
	f := facts(u, t, a)
	f.Attacking, f.Part = h.models, h.part
	target := r.state.group(t)
	_, target.Keep = r.keeps(t)
	var err error
	b.attack, b.why, err = r.state.Pack.Compile(r.state.group(u), w.ID, target, f)
	if err != nil {
		return b, err
	}
	if order := r.mayReroll(t, b.attack); order != nil {
		b.reroll = order
		withReroll(&b.attack)
	}
	return b, nil
}

// keeps finds the standing order by which a unit's owner has some of its models
// fall last, and which part of it they are; nil and "" if none says so.
func (r *run) keeps(t Unit) (*opening, string) {
	unit := r.state.kind(t.Kind)
	o := r.settled(t.Side, func(s Standing) bool { return s.Falls != nil })
	if o == nil {
		return nil, ""
	}
	for _, other := range unit.Others {
		if other.ID == o.order.Falls.Part {
			return o, other.ID
		}
	}
	return nil, ""
}

// thinned is who is left of each part of a target after an attack, and of which
// part the next to fall is; nil where all its models are alike. A standing order
// that says who falls last is opened.
func (r *run) thinned(t Unit, fell int) (parts []int, front int) {
	if len(r.state.kind(t.Kind).Others) == 0 {
		return nil, 0
	}
	target := r.state.group(t)
	var o *opening
	if o, target.Keep = r.keeps(t); o != nil && fell > 0 {
		r.open(o)
	}
	target.Parts = r.state.Pack.After(target, fell)
	if fell > 0 {
		target.Hurt = 0
	}
	return target.Parts, r.state.Pack.Front(target)
}

// mayReroll finds the standing order by which the target's owner has one lost
// save rolled again, if a re-roll of this game turn is left. A save that has
// re-rolls of its own is not rolled a third time. The newest order that speaks
// of the unit decides; where it keeps an older one from acting, it is opened.
func (r *run) mayReroll(t Unit, a attack.Attack) *opening {
	if r.state.Pack.Standing.Reroll == "never" || r.state.Rerolled[t.Side] >= r.state.Pack.RerollsEachTurn || len(a.Ladder.Segments) == 0 {
		return nil
	}
	save := a.Ladder.Segments[0].Save
	if !save.NeedsDie() || save.Rerolls != 0 {
		return nil
	}
	var newest *opening
	for i := range r.openings[t.Side] {
		o := &r.openings[t.Side][i]
		order := o.order.Reroll
		if order == nil || order.Unit != "" && order.Unit != t.ID {
			continue
		}
		allows := !order.Never && (order.Need == 0 || save.Need.Face <= order.Need)
		switch {
		case newest == nil && allows:
			return o
		case newest == nil:
			newest = o
		case allows:
			r.open(newest)
			return nil
		}
	}
	return nil
}

// withReroll lets the first lost save be rolled again.
func withReroll(a *attack.Attack) {
	if len(a.Ladder.Segments) > 0 && a.Ladder.Segments[0].Save.Rerolls == 0 {
		a.Ladder.Segments = append([]attack.Segment(nil), a.Ladder.Segments...)
		a.Ladder.Segments[0].Save.Rerolls = attack.OneMiss
	}
}

// strike rolls an attack and lets it happen.
func (r *run) strike(b blow) {
	result := b.attack.Roll(r.drawer)
	target := r.state.group(b.at)
	_, target.Keep = r.keeps(b.at)
	own, beside := r.state.Pack.Shares(target, result.Crossed)
	e := &Attacked{
		Line: r.line, How: b.how, Unit: b.unit.ID, At: b.at.ID, Weapon: b.weapon.ID, Models: b.models,
		Attacks: result.Attacks, Crossed: own.Crossed, Fell: own.Fell,
		Left: b.at.Left - own.Fell, Hurt: own.Hurt, Part: b.part,
	}
	e.Parts, e.Worn = r.thinned(b.at, own.Fell)
	for _, s := range result.Steps {
		e.Steps = append(e.Steps, s.On)
		e.Extra += s.Extra
	}
	for _, p := range result.Packets {
		if p.Saved {
			e.Saved++
		}
		e.Stopped += p.Stopped
		e.Again = e.Again || b.reroll != nil && p.SaveAgain > 0
	}
	told := Told{What: AnAttack, Unit: b.unit.ID, At: b.at.ID, Weapon: b.weapon.ID,
		Why: b.why, Attack: b.attack, Result: result, Event: e}
	if e.Again {
		r.open(b.reroll)
		told.Opened = b.reroll.event()
	}
	r.emit(e)
	r.tell(told)
	r.beside(b, beside)
}

// beside crosses off what an attack did to who had joined its target.
func (r *run) beside(b blow, shares []rules.Share) {
	for i, with := range r.state.joined(b.at.ID) {
		if i < len(shares) && shares[i].Crossed > 0 {
			s := shares[i]
			r.emit(&Suffered{Unit: with.ID, Why: Beside, Of: b.at.ID, By: b.unit.ID, Points: s.Crossed,
				Crossed: s.Crossed, Fell: s.Fell, Left: with.Left - s.Fell, Hurt: s.Hurt})
			r.fallen(with.ID)
		}
	}
}

// event is the opening as it stands in the ledger.
func (o *opening) event() *Opened { return &Opened{Of: o.Of, Salt: o.Salt, Value: o.Value} }

// fallen takes a unit off the table that has nobody left.
func (r *run) fallen(id string) {
	u := *r.state.unit(id)
	if u.Gone == "" && u.Left == 0 {
		r.emit(&Broken{Unit: id, How: Fallen, By: u.By})
	}
}

// suffer crosses off damage that no save stops. It always spills. By is the
// enemy unit that did it, or "".
func (r *run) suffer(id string, a affair, by string, hurt attack.Amount) {
	u := *r.state.unit(id)
	dice, points := hurt.Roll(r.drawer)
	ladder := r.state.ladder(u)
	rung := min(ladder.Rung+points, ladder.Top())
	fell := ladder.Fallen(rung) - ladder.Fallen(ladder.Rung)
	e := &Suffered{Unit: id, Why: a.why, Of: a.of, By: by, Dice: dice, Points: points,
		Crossed: rung - ladder.Rung, Fell: fell, Left: u.Left - fell, Hurt: ladder.Hurt(rung)}
	r.emit(e)
	total, sum := amount(hurt, dice, points)
	r.tell(Told{What: Suffering, Unit: id, Total: total, Sum: sum, Event: e})
	r.fallen(id)
}
