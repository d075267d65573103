package attack

import "drumhead/engine/dice"

// throw is the dice of one step, thrown together: all of them in order, then the
// re-rolls. Worse holds how much harder each die's need is, nil if none is.
type throw struct {
	step  Each
	n     int
	worse []int
	dice  []int // first faces
	faces []int // faces that count
	again []Redone
}

// add puts one more die into the hand and returns its place.
func (t *throw) add(worse int) int {
	if worse != 0 && t.worse == nil {
		t.worse = make([]int, t.n)
	}
	if t.worse != nil {
		t.worse = append(t.worse, worse)
	}
	t.n++
	return t.n - 1
}

// roll throws. used tells whether the single re-roll is spent, and is set.
func (t *throw) roll(d dice.Drawer, used *bool) {
	if t.n == 0 {
		return
	}
	t.dice = make([]int, t.n)
	for i := range t.dice {
		t.dice[i] = d.Draw(t.step.Sides)
	}
	t.faces = t.dice
	if t.step.Rerolls == 0 {
		return
	}
	t.faces = append([]int(nil), t.dice...)
	done := make([]bool, t.n)
	for _, single := range [...]bool{false, true} {
		t.reroll(d, done, single, used)
	}
}

// reroll goes over the dice once, for the re-rolls that act on each die or for
// the one that acts on a single die.
func (t *throw) reroll(d dice.Drawer, done []bool, single bool, used *bool) {
	for i := range t.faces {
		if done[i] || (single && *used) || !t.step.Rerolls.picks(t.faces[i], t.passed(i), single) {
			continue
		}
		*used = *used || single
		done[i] = true
		t.faces[i] = d.Draw(t.step.Sides)
		t.again = append(t.again, Redone{Die: i, Face: t.faces[i]})
	}
}

// passed judges a die as it lies now.
func (t *throw) passed(i int) bool {
	step := t.step
	if t.worse != nil {
		step.Need = step.Need.Better(-t.worse[i])
	}
	return step.Passes(t.faces[i])
}

// one throws a single die and returns its first face and, if it was re-rolled,
// the face after that, else 0.
func (e Each) one(d dice.Drawer, used *bool) (first, again int) {
	first = d.Draw(e.Sides)
	for _, single := range [...]bool{false, true} {
		if (single && *used) || !e.Rerolls.picks(first, e.Passes(first), single) {
			continue
		}
		*used = *used || single
		return first, d.Draw(e.Sides)
	}
	return first, 0
}
