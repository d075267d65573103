package attack

// Stop is where an attack came to nothing: so many dice were rolled against a
// step, and none went on. One more would have done, with the chance that at least
// one goes on, of those dice rolled anew.
type Stop struct {
	Step   Each
	Dice   int
	Chance float64
}

// Stopped finds where the attack r came to nothing; ok is false if something came
// of it, or if it was no die of one step that stopped it: there were no attacks,
// the models' saves differ, or last saves stopped the rest.
func (a Attack) Stopped(r Result) (s Stop, ok bool) {
	switch {
	case r.Crossed > 0 || len(a.Ladder.Segments) == 0 && r.Through > 0:
		return s, false
	case r.Through > 0:
		s, ok = a.allSaved(r)
	default:
		for i, step := range r.Steps {
			if len(step.Dice) > 0 && step.On == 0 && step.Sure == 0 {
				s, ok = Stop{Step: a.Steps[i], Dice: len(step.Dice)}, true
			}
		}
	}
	if !ok {
		return s, false
	}
	law, err := Attack{Number: Exactly(s.Dice), Steps: []Each{s.Step}}.Through()
	if err != nil {
		return s, false
	}
	s.Chance = law.AtLeast(1)
	return s, true
}

// allSaved is the stop at the saves of a target whose models are all alike.
func (a Attack) allSaved(r Result) (Stop, bool) {
	if len(a.Ladder.Segments) != 1 || len(r.Packets) == 0 {
		return Stop{}, false
	}
	need := r.Packets[0].Need
	for _, p := range r.Packets {
		if !p.Saved || p.Save == 0 || p.Need != need {
			return Stop{}, false
		}
	}
	target := a.Ladder.Segments[0]
	step := target.Save
	if target.Other.Sides > 0 && target.Other.Need == need {
		step = target.Other
	}
	step.Need, step.On = need, FailsGoOn // piercing may have worsened it
	return Stop{Step: step, Dice: len(r.Packets)}, true
}

// Missed is where a volley came to nothing: so many hits would have been one more
// than were cancelled, with the chance that the dice show as many or more.
type Missed struct {
	Hits, Cancelled int
	Chance          float64
}

// Stopped finds what a volley that crossed off nothing would have taken, the other
// pool being as it fell; ok is false if something was crossed off, or if it was not
// the pools that stopped it.
func (v Volley) Stopped(r VolleyRolled) (m Missed, ok bool) {
	if r.Hull.Crossed > 0 || r.Pools.Left > 0 || v.Pools.Mine.Number == 0 {
		return m, false
	}
	law, err := v.Pools.Mine.Law()
	if err != nil {
		return m, false
	}
	m = Missed{Hits: r.Pools.Theirs.On + 1, Cancelled: r.Pools.Theirs.On}
	m.Chance = law.AtLeast(m.Hits)
	return m, true
}

// Short tells by how much a judged total failed: so much more would have passed, or
// so much less where by is below 0. It is false for one that passed, or that
// nothing judges.
func (t Total) Short(s Sum) (by int, short bool) {
	if s.Passed {
		return 0, false
	}
	switch t.Judge {
	case TotalAtLeast, TotalAtMost:
		return t.Value - s.Total, true
	case TotalMoreThan:
		return t.Value + 1 - s.Total, true
	}
	return 0, false
}

// Short tells by how much the first side of an opposed roll did not win, in its last
// bout: one more than the other, or as many where a tie is its own.
func (o Opposed) Short(r OpposedRolled) (by int, short bool) {
	if r.Winner == 1 || len(r.Bouts) == 0 {
		return 0, false
	}
	last := r.Bouts[len(r.Bouts)-1]
	by = last.Theirs.Total - last.Mine.Total
	if o.Tie != TieToMine {
		by++
	}
	return by, true
}
