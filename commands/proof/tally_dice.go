package proof

import (
	"drumhead/engine/attack"
	"drumhead/engine/luck"
	"drumhead/engine/odds"
	"drumhead/engine/sentence"
	"drumhead/storage"
)

// thrower is whoever threw dice.
type thrower struct{ *luck.Tally }

// plain counts dice that need nothing.
func (t thrower) plain(sides int, faces ...int) {
	for _, f := range faces {
		t.Face(sides, f)
	}
}

// tries counts dice that need what a step says: those thrown first, then those
// thrown again. Every one of them has the same chance.
func (t thrower) tries(k luck.Kind, e attack.Each, first []int, again []attack.Redone) {
	chance := float64(e.Good()) / float64(max(1, e.Sides))
	for _, f := range first {
		t.Face(e.Sides, f)
		t.Try(k, chance, e.Passes(f))
	}
	for _, a := range again {
		t.Face(e.Sides, a.Face)
		t.Try(k, chance, e.Passes(a.Face))
	}
}

// attack counts an attack: hits, wounds and damage are the attacker's dice, saves
// those of the target's owner.
func (t thrower) attack(target thrower, a attack.Attack, r attack.Result) {
	t.plain(a.Number.Per.Sides, r.NumberDice...)
	pierced := false
	for i, step := range a.Steps {
		rolled := r.Steps[i]
		switch {
		case step.On == attack.PassesGoOn:
			t.tries(luck.Attacks, step, rolled.Dice, rolled.Again)
		case pierced: // what each die needed depended on the die before it
			target.unjudged(step.Sides, rolled)
		default:
			target.tries(luck.Saves, step, rolled.Dice, rolled.Again)
		}
		for _, n := range step.Naturals {
			pierced = pierced || n.Gift == attack.MorePiercing
		}
	}
	for _, p := range r.Packets {
		s := a.Ladder.Segments[p.Segment]
		target.save(s, p)
		t.plain(a.Damage.Amount.Sides, p.Damage...)
		target.tries(luck.LastSaves, s.Last, p.Last, p.LastAgain)
	}
}

// unjudged counts the faces of a step alone.
func (t thrower) unjudged(sides int, r attack.Rolled) {
	t.plain(sides, r.Dice...)
	for _, a := range r.Again {
		t.Face(sides, a.Face)
	}
}

// save counts the save against a packet, if one was rolled.
func (t thrower) save(s attack.Segment, p attack.Packet) {
	if p.Save == 0 {
		return
	}
	save := s.Save
	if s.Other.Sides > 0 && s.Other.Need == p.Need {
		save = s.Other
	}
	save.Need = p.Need
	var again []attack.Redone
	if p.SaveAgain > 0 {
		again = []attack.Redone{{Face: p.SaveAgain}}
	}
	t.tries(luck.Saves, save, []int{p.Save}, again)
}

// judged counts the dice of a total and, if it had to be made and its chance is
// known, whether it was: one try, however many dice.
func (t thrower) judged(total attack.Total, sum attack.Sum) {
	for i, term := range sum.Terms {
		t.term(total.Terms[i].Sides, term)
	}
	if total.Judge == attack.Unjudged || total.Rerolls != 0 {
		return
	}
	law := odds.Always(total.Plus)
	for _, term := range total.Terms {
		if term.Keep != 0 || term.Open != 0 || term.Times > 1 || term.Times < 0 {
			return
		}
		law = law.Plus(odds.Dice(term.Dice, term.Sides))
	}
	switch total.Judge {
	case attack.TotalAtLeast:
		t.Try(luck.Tests, law.AtLeast(total.Value), sum.Passed)
	case attack.TotalAtMost:
		t.Try(luck.Tests, law.AtMost(total.Value), sum.Passed)
	case attack.TotalMoreThan:
		t.Try(luck.Tests, law.AtLeast(total.Value+1), sum.Passed)
	}
}

// term counts the faces of a term, whether they were kept or not.
func (t thrower) term(sides int, r attack.TermRolled) {
	t.plain(sides, r.Dice...)
	for _, again := range [...][]attack.Redone{r.Again, r.More} {
		for _, a := range again {
			t.Face(sides, a.Face)
		}
	}
}

// roll counts a bare roll: all of it is its roller's.
func (t *Tallies) roll(rec storage.Record, c Command) error {
	event, err := RollOf(rec.Events)
	if err != nil {
		return err
	}
	s, err := sentence.Parse(event.Dice)
	if err != nil {
		return err
	}
	who := t.of(c.Player)
	for _, round := range event.Rounds {
		switch {
		case round.Sum != nil:
			who.side(s.Mine, *round.Sum)
		case round.Opposed != nil:
			for _, b := range round.Opposed.Bouts {
				who.side(s.Mine, b.Mine)
				who.side(*s.Theirs, b.Theirs)
			}
		case round.Pools != nil:
			who.stage(s.Stages[0], s.Mine.Terms[0].Sides, round.Pools.Mine)
			who.stage(*s.Theirs.Stage, s.Theirs.Terms[0].Sides, round.Pools.Theirs)
		case round.Chain != nil:
			who.chain(s, *round.Chain)
		}
	}
	return nil
}

// side counts a total of a sentence, and whether it was made.
func (t thrower) side(s sentence.Side, sum attack.Sum) {
	at := 0
	for _, term := range s.Terms {
		dice := 1
		if term.Tens { // tens, then ones
			dice = 2
		}
		for range dice {
			t.term(term.Sides, sum.Terms[at])
			at++
		}
	}
	if chance, ok := s.Made(); ok {
		t.Try(luck.Tests, chance, sum.Passed)
	}
}

// stage counts a stage of a sentence.
func (t thrower) stage(st sentence.Stage, sides int, r attack.Rolled) {
	kind := luck.Attacks
	if st.Save {
		kind = luck.Saves
	}
	t.tries(kind, attack.Each{Sides: sides, Need: st.Need}, r.Dice, r.Again)
}

// chain counts the stages of a sentence and the damage after them.
func (t thrower) chain(s sentence.Sentence, r attack.Result) {
	sides := s.Dice().Sides
	for i, rolled := range r.Steps {
		t.stage(s.Stages[i], sides, rolled)
	}
	for _, p := range r.Packets {
		if p.Save > 0 { // the last stage, rolled model by model
			last := attack.Each{Sides: sides, Need: s.Stages[len(s.Stages)-1].Need}
			t.save(attack.Segment{Save: last}, p)
		}
		t.plain(s.Hurt.Amount.Sides, p.Damage...)
		if s.Hurt.Last != nil {
			t.tries(luck.LastSaves, attack.Each{Sides: sides, Need: *s.Hurt.Last}, p.Last, p.LastAgain)
		}
	}
}
