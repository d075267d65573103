package attack

import (
	"slices"

	"drumhead/engine/dice"
)

// Most is the most dice that the total can draw.
func (t Total) Most() int {
	sum := 0
	for _, term := range t.Terms {
		n := term.Dice * (1 + term.Open)
		if t.rerolls() != 0 {
			n *= 2
		}
		sum += n
	}
	return sum
}

// rerolls are the re-rolls that act: none beside an open-ended die.
func (t Total) rerolls() Rerolls {
	for _, term := range t.Terms {
		if term.Open > 0 {
			return 0
		}
	}
	return t.Rerolls
}

// Roll rolls the total term by term: its dice, the ones again, the chains of
// open-ended dice. Re-rolls that wait for the judgement come last.
func (t Total) Roll(d dice.Drawer) Sum {
	s := Sum{}
	for _, term := range t.Terms {
		s.Terms = append(s.Terms, term.roll(d, t.rerolls()&Ones != 0))
	}
	t.settle(&s)
	if t.rerollJudged(d, &s) {
		t.settle(&s)
	}
	return s
}

// roll rolls the dice of one term.
func (t Term) roll(d dice.Drawer, ones bool) TermRolled {
	r := TermRolled{Dice: make([]int, t.Dice)}
	for i := range r.Dice {
		r.Dice[i] = d.Draw(t.Sides)
	}
	for i, face := range r.Dice {
		if ones && face == 1 {
			r.Again = append(r.Again, Redone{Die: i, Face: d.Draw(t.Sides)})
		}
		for more := 0; face == t.Sides && more < t.Open; more++ {
			face = d.Draw(t.Sides)
			r.More = append(r.More, Redone{Die: i, Face: face})
		}
	}
	return r
}

// Values is what each die of the term counts, re-rolls and chains included.
func (r TermRolled) Values() []int {
	values := slices.Clone(r.Dice)
	for _, a := range r.Again {
		values[a.Die] = a.Face
	}
	for _, m := range r.More {
		values[m.Die] += m.Face
	}
	return values
}

// settle adds up and judges.
func (t Total) settle(s *Sum) {
	s.Total = t.Plus
	for i, term := range t.Terms {
		values := s.Terms[i].Values()
		s.Terms[i].Kept = term.kept(values)
		sum := 0
		if term.Keep == 0 {
			for _, v := range values {
				sum += v
			}
		}
		for _, k := range s.Terms[i].Kept {
			sum += values[k]
		}
		s.Total += sum * term.times()
	}
	s.Passed = t.judge(s.Total)
}

func (t Term) times() int {
	if t.Times == 0 {
		return 1
	}
	return t.Times
}

// kept lists the places of the dice that count, nil when all do.
func (t Term) kept(values []int) []int {
	if t.Keep == 0 {
		return nil
	}
	places := make([]int, len(values))
	for i := range places {
		places[i] = i
	}
	slices.SortStableFunc(places, func(a, b int) int {
		if t.Keep > 0 {
			return values[b] - values[a]
		}
		return values[a] - values[b]
	})
	keep := min(max(t.Keep, -t.Keep), len(places))
	places = places[:keep]
	slices.Sort(places)
	return places
}

// judge tells whether a total passes; unjudged it does not.
func (t Total) judge(total int) bool {
	switch t.Judge {
	case TotalAtLeast:
		return total >= t.Value
	case TotalAtMost:
		return total <= t.Value
	case TotalMoreThan:
		return total > t.Value
	}
	return false
}

// rerollJudged rolls again what the judgement asks for, never a die twice, and
// tells whether it did.
func (t Total) rerollJudged(d dice.Drawer, s *Sum) bool {
	if t.Judge == Unjudged {
		return false
	}
	rerolls := t.rerolls()
	switch {
	case rerolls&Misses != 0 && !s.Passed, rerolls&Passes != 0 && s.Passed:
		for i, term := range t.Terms {
			for die := range term.Dice {
				s.Terms[i].again(d, die, term.Sides)
			}
		}
		return true
	case rerolls&Worst != 0 && !s.Passed:
		return t.rerollWorst(d, s)
	}
	return false
}

// again rolls one die anew, unless it was already.
func (r *TermRolled) again(d dice.Drawer, die, sides int) {
	if !r.wasAgain(die) {
		r.Again = append(r.Again, Redone{Die: die, Face: d.Draw(sides)})
	}
}

func (r *TermRolled) wasAgain(die int) bool {
	return slices.ContainsFunc(r.Again, func(a Redone) bool { return a.Die == die })
}

// rerollWorst rolls the lowest die again that was not yet, the first of equals.
func (t Total) rerollWorst(d dice.Drawer, s *Sum) bool {
	term, die, lowest := -1, 0, 0
	for i := range s.Terms {
		for j, v := range s.Terms[i].Values() {
			if (term < 0 || v < lowest) && !s.Terms[i].wasAgain(j) {
				term, die, lowest = i, j, v
			}
		}
	}
	if term < 0 {
		return false
	}
	s.Terms[term].again(d, die, t.Terms[term].Sides)
	return true
}

// Most is the most dice that the opposed roll can draw.
func (o Opposed) Most() int {
	bout := o.Mine.Most() + o.Theirs.Most()
	if o.Tie == TieRollAgain {
		bout *= 1 + MostTies
	}
	return bout
}

// Roll rolls mine, then theirs; on a tie once more, if the tie says so.
func (o Opposed) Roll(d dice.Drawer) OpposedRolled {
	r := OpposedRolled{}
	for range 1 + MostTies {
		b := Bout{Mine: o.Mine.Roll(d), Theirs: o.Theirs.Roll(d)}
		r.Bouts = append(r.Bouts, b)
		r.Winner = o.winner(b.Mine.Total, b.Theirs.Total)
		if r.Winner != 0 || o.Tie != TieRollAgain {
			break
		}
	}
	return r
}

func (o Opposed) winner(mine, theirs int) int {
	switch {
	case mine > theirs, mine == theirs && o.Tie == TieToMine:
		return 1
	case mine < theirs, o.Tie == TieToTheirs:
		return -1
	}
	return 0
}
