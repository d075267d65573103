package sentence

import "drumhead/engine/attack"

// attack compiles a chain: the same value that a rules pack would come to. A save
// that damage follows is the models' own, rolled attack by attack; any other is
// a step whose failures go on.
func (s Sentence) attack() attack.Attack {
	d := s.Dice()
	a := attack.Attack{Number: attack.Exactly(d.Dice)}
	for _, st := range s.Stages {
		a.Steps = append(a.Steps, st.each(d.Sides))
	}
	if s.Hurt == nil {
		return a
	}
	target := attack.Segment{Models: 1, Wounds: attack.Endless}
	a.Damage = attack.Damage{Amount: s.Hurt.Amount, Spill: s.Hurt.Models == 0}
	if s.Hurt.Models > 0 {
		target.Models, target.Wounds = s.Hurt.Models, s.Hurt.Wounds
	}
	if last := len(s.Stages) - 1; s.Stages[last].Save {
		target.Save = a.Steps[last]
		a.Steps = a.Steps[:last]
	}
	if s.Hurt.Last != nil {
		target.Last = attack.Each{Sides: d.Sides, Need: *s.Hurt.Last}
	}
	a.Ladder = attack.Ladder{Segments: []attack.Segment{target}}
	return a
}

// each compiles one stage for dice of so many sides.
func (st Stage) each(sides int) attack.Each {
	e := attack.Each{Sides: sides, Need: st.Need, Rerolls: st.Rerolls}
	if st.Save {
		e.On = attack.FailsGoOn
	}
	for _, g := range [...]struct {
		said bool
		gift attack.Gift
	}{{st.Twice, attack.Extra}, {st.Next, attack.Skip}, {st.NoSave, attack.NoSave}} {
		if g.said {
			e.Naturals = append(e.Naturals, attack.Natural{From: sides, Gift: g.gift, Amount: 1})
		}
	}
	return e
}

// total compiles a side that is added up.
func (s Side) total() attack.Total {
	t := attack.Total{Plus: s.Plus}
	for _, term := range s.Terms {
		one := term.attack()
		if term.Tens {
			tens := one
			tens.Times = 10 * one.Times
			t.Terms = append(t.Terms, tens)
		}
		t.Terms = append(t.Terms, one)
	}
	if s.Total != nil {
		t.Judge, t.Value = attack.TotalAtLeast, s.Total.Face
		if s.Total.OrLess {
			t.Judge = attack.TotalAtMost
		}
	}
	return t
}

// AsTotal is what a side that is added up is rolled as; a d66 is two terms of it.
func (s Side) AsTotal() attack.Total { return s.total() }

// attack compiles a term; of a d66, the ones.
func (t Term) attack() attack.Term {
	one := attack.Term{Dice: t.Dice, Sides: t.Sides, Keep: t.Keep, Times: 1}
	if t.Minus {
		one.Times = -1
	}
	if t.Open {
		one.Open = MostOpen
	}
	return one
}

// opposed compiles a total against another.
func (s Sentence) opposed() attack.Opposed {
	return attack.Opposed{Mine: s.Mine.total(), Theirs: s.Theirs.total()}
}

// pools compiles successes against successes.
func (s Sentence) pools() attack.Pools {
	mine, theirs := s.Mine.Terms[0], s.Theirs.Terms[0]
	return attack.Pools{
		Mine:   attack.Pool{Number: mine.Dice, Step: s.Stages[0].each(mine.Sides)},
		Theirs: attack.Pool{Number: theirs.Dice, Step: s.Theirs.Stage.each(theirs.Sides)},
	}
}

// most is the most dice that the sentence can draw.
func (s Sentence) most() int {
	once := 0
	switch s.Shape() {
	case Total:
		once = s.Mine.total().Most()
	case Chain:
		once = s.attack().Most()
	case Opposed:
		once = s.opposed().Most()
	case Pools:
		once = s.pools().Most()
	}
	return once * s.Times
}
