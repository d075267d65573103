package attack

import (
	"fmt"
	"math"
	"math/big"
	"testing"

	"drumhead/engine/odds"
)

// agrees checks a solved law against chances reckoned in another way.
func agrees(t *testing.T, name string, solved odds.Law, want map[int]*big.Rat) {
	t.Helper()
	total := 0.0
	for v, p := range want {
		f, _ := p.Float64()
		total += solved.Exactly(v)
		if math.Abs(solved.Exactly(v)-f) > 1e-12*f {
			t.Errorf("%s: %d solved as %.17g, over all rolls %.17g", name, v, solved.Exactly(v), f)
		}
	}
	if all := solved.AtLeast(solved.Least); math.Abs(all-total) > 1e-12 || math.Abs(all-1) > 1e-12 {
		t.Errorf("%s: chances add up to %.17g, those that can be rolled to %.17g", name, all, total)
	}
}

// ways gives attacks that together use everything that the algebra has, small
// enough to be rolled in every way there is.
func ways() map[string]Attack {
	d3 := Damage{Amount: Amount{Dice: 1, Sides: 3}}
	one6 := Each{Sides: 6, Need: AtLeast(4), Rerolls: OneMiss}
	mixed := []Segment{{Models: 2, Wounds: 2, Save: fourUp}, {Models: 1, Wounds: 3, Save: Each{Sides: 6, Need: AtLeast(2)}, Last: last5}}
	all := map[string]Attack{
		"pooled re-roll to hit":         {Number: Exactly(4), Steps: []Each{one6}, Damage: one, Ladder: three(Each{})},
		"pooled re-rolls at two steps":  {Number: Exactly(2), Steps: []Each{one6, one6}, Damage: one, Ladder: three(Each{})},
		"pooled with ones":              {Number: Exactly(3), Steps: []Each{{Sides: 6, Need: AtLeast(4), Rerolls: Ones | OneMiss}}, Damage: one, Ladder: three(Each{})},
		"pooled save":                   {Number: Exactly(3), Damage: d3, Ladder: three(one6)},
		"pooled last save":              {Number: Exactly(2), Damage: d3, Ladder: Ladder{Segments: []Segment{{Models: 2, Wounds: 2, Last: one6}}}},
		"pooled save, ones to hit":      {Number: Exactly(2), Steps: []Each{{Sides: 3, Need: AtLeast(2), Rerolls: Ones}}, Damage: one, Ladder: three(one6)},
		"pooled with extra":             {Number: Exactly(2), Steps: []Each{{Sides: 6, Need: AtLeast(5), Rerolls: OneMiss, Naturals: []Natural{gift(Extra, 1)}}, {Sides: 3, Need: AtLeast(3), Rerolls: OneMiss}}, Damage: one, Ladder: three(Each{})},
		"captain last":                  {Number: Exactly(3), Damage: d3, Ladder: Ladder{Segments: mixed}},
		"captain last, spill":           {Number: Exactly(2), Damage: Damage{Amount: Amount{Dice: 1, Sides: 3, Plus: 1}, Spill: true}, Ladder: Ladder{Segments: mixed, Rung: 1}},
		"carried wounds":                {Number: Exactly(3), Damage: d3, Ladder: Ladder{Segments: []Segment{{Models: 3, Wounds: 3}}, Rung: 2}},
		"sure across segments":          {Number: Exactly(2), Steps: []Each{sixes(gift(AlsoSure, 3)), fourUp}, Damage: one, Ladder: Ladder{Segments: mixed}},
		"extra across segments":         {Number: Exactly(1), Steps: []Each{sixes(gift(Extra, 2))}, Damage: Damage{Amount: Amount{Plus: 2}}, Ladder: Ladder{Segments: mixed, Rung: 1}},
		"random number":                 {Number: Number{Per: Amount{Dice: 1, Sides: 3}, Times: 2, Least: 2}, Steps: []Each{{Sides: 3, Need: AtLeast(2)}}, Damage: one, Ladder: three(Each{})},
		"no attacks":                    {Number: Exactly(0), Damage: one, Ladder: three(fourUp)},
		"nobody there":                  {Number: Exactly(1), Damage: one, Ladder: Ladder{Segments: []Segment{{Models: 1, Wounds: 2}}, Rung: 2}},
		"damage only counted":           {Number: Exactly(3), Steps: []Each{fourUp}, Damage: Damage{Amount: Amount{Dice: 1, Sides: 3}, Spill: true}, Ladder: Ladder{Segments: []Segment{{Models: 1, Wounds: Endless}}}},
		"counted damage with last save": {Number: Exactly(2), Damage: Damage{Amount: Amount{Dice: 1, Sides: 3}, Spill: true}, Ladder: Ladder{Segments: []Segment{{Models: 1, Wounds: Endless, Last: last5}}}},
		"second save":                   {Number: Exactly(2), Steps: []Each{sixes(gift(MorePiercing, 2))}, Damage: one, Ladder: Ladder{Segments: []Segment{{Models: 2, Wounds: 1, Save: save4, Other: Each{Sides: 6, Need: AtLeast(5)}}}}},
		"long rank, captain, extra":     {Number: Exactly(2), Steps: []Each{sixes(gift(Extra, 1), gift(MoreDamage, 1))}, Damage: Damage{Amount: Amount{Plus: 1}}, Ladder: Ladder{Rung: 3, Segments: []Segment{{Models: 4, Wounds: 2}, {Models: 1, Wounds: 2, Save: fourUp}}}},
	}
	for i, c := range byHand {
		all[fmt.Sprint(i, " ", c.name)] = c.attack
	}
	return all
}

// Two ways to one answer: the solver's bands, and an odometer over every face of
// every die of the roller, with fractions.
func TestSolveAgainstEveryRoll(t *testing.T) {
	for name, a := range ways() {
		through, err := a.Through()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		all, _ := law(func(d *every) int { return a.Roll(d).Through })
		agrees(t, name+", through", through, all)
		if len(a.Ladder.Segments) == 0 {
			continue
		}
		solved, err := a.Solve()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		all, _ = law(func(d *every) int { return a.Roll(d).Crossed })
		agrees(t, name+", crossed", solved.Crossed(a.Ladder.Rung), all)
		all, _ = law(func(d *every) int { return a.Roll(d).Fell })
		agrees(t, name+", fell", solved.Fell(a.Ladder.Rung), all)
	}
}

// Two attacks on one target, one after the other, are exact together.
func TestSolveOneAfterAnother(t *testing.T) {
	first := Attack{Number: Exactly(2), Steps: []Each{fourUp}, Damage: Damage{Amount: Amount{Plus: 2}}, Ladder: three(fourUp)}
	second := Attack{Number: Exactly(2), Damage: Damage{Amount: Amount{Dice: 1, Sides: 3}}, Ladder: three(Each{})}
	one, err := first.Solve()
	if err != nil {
		t.Fatal(err)
	}
	both, err := second.SolveFrom(one.Rungs)
	if err != nil {
		t.Fatal(err)
	}
	all, _ := law(func(d *every) int {
		next := second
		next.Ladder.Rung = first.Roll(d).Rung
		return next.Roll(d).Rung
	})
	agrees(t, "both", both.Rungs, all)
	if p := both.Destroyed(); p != both.At(6) || p <= 0 || p >= 1 {
		t.Errorf("destroyed with chance %v", p)
	}
}

// Totals, opposed rolls, pools and tables against every roll.
func TestTotalsAgainstEveryRoll(t *testing.T) {
	d6 := func(n int) Term { return Term{Dice: n, Sides: 6} }
	totals := map[string]Total{
		"plain": {Terms: []Term{d6(2), {Dice: 1, Sides: 3, Times: -1}}, Plus: 1}, "d66": {Terms: []Term{{Dice: 1, Sides: 6, Times: 10}, d6(1)}},
		"kept": {Terms: []Term{{Dice: 4, Sides: 6, Keep: 3}}}, "worst kept, ones": {Terms: []Term{{Dice: 3, Sides: 4, Keep: -2}}, Rerolls: Ones},
		"open": {Terms: []Term{{Dice: 2, Sides: 4, Open: 2}}}, "less open": {Terms: []Term{{Dice: 1, Sides: 4, Open: 2, Times: -1}}},
	}
	for _, r := range []Rerolls{0, Ones, Misses, Passes, Worst, Ones | Misses, Ones | Worst, Ones | Passes, Misses | Worst} {
		for judge, word := range map[Judge]string{TotalAtLeast: "at least", TotalAtMost: "at most", TotalMoreThan: "more than", Unjudged: "unjudged"} {
			totals[fmt.Sprint(word, " ", r)] = Total{Terms: []Term{d6(2)}, Plus: 1, Judge: judge, Value: 8, Rerolls: r}
		}
	}
	for name, total := range totals {
		solved, err := total.Law()
		if err != nil {
			t.Fatal(name, err)
		}
		all, _ := law(func(d *every) int { return total.Roll(d).Total })
		agrees(t, name, solved, all)
	}
	for tie := range TieToTheirs + 1 {
		o := Opposed{Mine: Total{Terms: []Term{d6(1)}, Plus: 1}, Theirs: Total{Terms: []Term{d6(2)}}, Tie: tie}
		solved, err := o.Law()
		all, _ := law(func(d *every) int { return o.Roll(d).Winner + 1 })
		if agrees(t, "opposed", solved, all); err != nil {
			t.Error(err)
		}
	}
	again := Opposed{Mine: Total{Terms: []Term{d6(1)}}, Theirs: Total{Terms: []Term{d6(1)}}, Tie: TieRollAgain}
	if w, _ := again.Solve(); math.Abs(w.Mine-w.Theirs) > 1e-15 || math.Abs(w.Tie-math.Pow(6, -21)) > 1e-28 {
		t.Errorf("ties rolled again: %+v; by hand both alike, and 1 in 6^21 for a tie", w)
	}
	pools := Pools{Mine: Pool{3, Each{Sides: 6, Need: AtLeast(4), Naturals: []Natural{gift(Extra, 1)}}}, Theirs: Pool{2, Each{Sides: 6, Need: AtLeast(5), Rerolls: OneMiss}}}
	solved, err := pools.Law()
	all, _ := law(func(d *every) int { return pools.Roll(d).Left })
	if agrees(t, "pools", solved, all); err != nil {
		t.Error(err)
	}
	table := Table{Dice: Total{Terms: []Term{d6(2)}}, Rows: []Row{{2, 3}, {5, 0}, {9, 1}, {12, 3}}}
	solved, err = table.Law()
	all, _ = law(func(d *every) int { return table.Roll(d).Result })
	if agrees(t, "table", solved, all); err != nil {
		t.Error(err)
	}
}
