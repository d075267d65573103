package attack

import (
	"fmt"
	"math"
	"testing"
)

// The law of what comes through agrees with every way the dice can fall, for
// each re-roll and each gift, alone and together. Two ways to one answer: walk
// of the solver, odometer over the roller.
func TestThroughAgainstEveryRoll(t *testing.T) {
	steps := map[string][]Each{
		"save":       {fourUp, save4},
		"ones":       {{Sides: 6, Need: AtLeast(3), Rerolls: Ones}, fourUp},
		"misses":     {{Sides: 3, Need: AtLeast(3), Rerolls: Misses}, {Sides: 3, Need: AtLeast(2), Rerolls: Passes}},
		"no die":     {{Sides: 6, Need: AtLeast(1)}, fourUp, {Sides: 6, Need: AtLeast(7), On: FailsGoOn}},
		"impossible": {{Sides: 6, Need: AtLeast(7)}},
		"or less":    {{Sides: 4, Need: AtMost(3)}, {Sides: 4, Need: AtMost(1), On: FailsGoOn}},
		"extra+skip": {sixes(gift(Extra, 1), gift(Skip, 1)), fourUp},
	}
	for g, k := range giftKinds {
		steps[k.id] = []Each{sixes(gift(Gift(g), 1)), fourUp, save4}
		steps[k.id+" two"] = []Each{sixes(gift(Gift(g), 2)), save4}
	}
	for name, list := range steps {
		a := Attack{Number: Exactly(2), Steps: list}
		exact, err := a.Through()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		all, _ := law(func(d *every) int { return a.Roll(d).Through })
		for v, p := range all {
			want, _ := p.Float64()
			if math.Abs(exact.Exactly(v)-want) > 1e-14 {
				t.Errorf("%s: %d through has chance %v, over all rolls %v", name, v, exact.Exactly(v), want)
			}
		}
		if math.Abs(exact.AtLeast(0)-1) > 1e-14 {
			t.Errorf("%s: chances add up to %v", name, exact.AtLeast(0))
		}
	}
}

func TestThroughOfRandomNumber(t *testing.T) {
	a := Attack{Number: Number{Per: Amount{Dice: 1, Sides: 3}, Times: 2, Least: 2}, Steps: []Each{fourUp}}
	exact, _ := a.Through()
	all, _ := law(func(d *every) int { return a.Roll(d).Through })
	for v, p := range all {
		if want, _ := p.Float64(); math.Abs(exact.Exactly(v)-want) > 1e-14 {
			t.Errorf("%d: %v, over all rolls %v", v, exact.Exactly(v), want)
		}
	}
}

// 20 dice 3+, 4+, save 5+, as on the evening's webcam: 4.4 expected, 47 in 100
// for five or more (computed by script for the design).
func TestThroughOfTheEvening(t *testing.T) {
	a := Attack{Number: Exactly(20), Steps: []Each{
		{Sides: 6, Need: AtLeast(3)}, {Sides: 6, Need: AtLeast(4)}, {Sides: 6, Need: AtLeast(5), On: FailsGoOn}}}
	exact, _ := a.Through()
	if got := fmt.Sprintf("%.1f %.0f", exact.Mean(), 100*exact.AtLeast(5)); got != "4.4 47" {
		t.Error(got)
	}
}
