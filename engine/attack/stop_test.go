package attack

import (
	"math"
	"testing"

	"drumhead/engine/dice"
)

// Where attacks came to nothing, and what one die more would have taken. Chances
// by hand: a die of d6 meets 4+ in one case of two, 5+ in one of three.
func TestStopped(t *testing.T) {
	four, five := Each{Sides: 6, Need: AtLeast(4)}, Each{Sides: 6, Need: AtLeast(5)}
	again := four
	again.Rerolls = Misses
	target := Ladder{Segments: []Segment{{Models: 10, Wounds: 1, Save: Each{Sides: 6, Need: AtLeast(4), OneFails: true, On: FailsGoOn}}}}
	for name, c := range map[string]struct {
		attack Attack
		faces  []int
		dice   int
		need   Need
		chance float64
	}{
		"all miss":              {Attack{Number: Exactly(3), Steps: []Each{four, five}}, []int{1, 2, 3}, 3, AtLeast(4), 7. / 8},
		"the second step":       {Attack{Number: Exactly(3), Steps: []Each{four, five}}, []int{6, 5, 3, 4, 1}, 2, AtLeast(5), 5. / 9},
		"rolled again in vain":  {Attack{Number: Exactly(1), Steps: []Each{again}}, []int{1, 3}, 1, AtLeast(4), 3. / 4},
		"all saved":             {Attack{Number: Exactly(3), Steps: []Each{four}, Damage: Damage{Amount: Amount{Plus: 1}}, Ladder: target}, []int{6, 4, 1, 5, 4}, 2, AtLeast(4), 3. / 4},
		"something went on":     {Attack{Number: Exactly(2), Steps: []Each{four}}, []int{6, 1}, 0, Need{}, 0},
		"a model fell":          {Attack{Number: Exactly(2), Steps: []Each{four}, Damage: Damage{Amount: Amount{Plus: 1}}, Ladder: target}, []int{6, 1, 2}, 0, Need{}, 0},
		"there were no attacks": {Attack{Number: Exactly(0), Steps: []Each{four}}, nil, 0, Need{}, 0},
	} {
		stop, ok := c.attack.Stopped(c.attack.Roll(dice.NewShown([][]int{append([]int{6}, c.faces...)})))
		if ok != (c.dice > 0) || stop.Dice != c.dice || ok && (stop.Step.Need != c.need || math.Abs(stop.Chance-c.chance) > 1e-12) {
			t.Errorf("%s: %+v, %v; expected %d dice against %v, %v", name, stop, ok, c.dice, c.need, c.chance)
		}
	}
}
