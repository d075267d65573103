// Package luck tells ordinary luck from what chance alone hardly does. It counts
// dice and tries, holds the counts against what fair dice do, and corrects for
// having looked at several counts at once. It knows dice as numbers only: whose
// they are, and over which evening, is for whoever fills a Tally.
package luck

import (
	"maps"
	"slices"
)

// Kind is what a die was thrown for.
type Kind int

// The kinds of try. Whatever else a die is for (damage, how many attacks, an
// order of play) it needs nothing, and only its face is counted.
const (
	Attacks   Kind = iota // a die of an attack, or any die that needs a face
	Saves                 // a save, by whoever rolls it
	LastSaves             // a last save, a die for each point of damage
	Tests                 // a total that must be made: a charge, a cast, morale
)

// kinds lists every kind in the order in which they are shown.
var kinds = [...]Kind{Attacks, Saves, LastSaves, Tests}

// Tally counts dice: every face that fell, by the sides of the die, and every
// try, by its chance. The zero value is empty and ready. It belongs to one
// goroutine.
type Tally struct {
	faces map[int][]int // sides → how often each face fell, the first for 1
	tries [len(kinds)]map[float64]trial
}

// trial is tries of one chance.
type trial struct{ n, made int }

// Face counts a die that fell. Sides is 2 or more, face 1 to sides.
func (t *Tally) Face(sides, face int) {
	if t.faces == nil {
		t.faces = map[int][]int{}
	}
	if t.faces[sides] == nil {
		t.faces[sides] = make([]int, sides)
	}
	t.faces[sides][face-1]++
}

// Try counts a try of some chance, and whether it was made. What is certain or
// impossible is no try and is not counted.
func (t *Tally) Try(k Kind, chance float64, made bool) {
	if chance <= 0 || chance >= 1 {
		return
	}
	if t.tries[k] == nil {
		t.tries[k] = map[float64]trial{}
	}
	tr := t.tries[k][chance]
	tr.n++
	if made {
		tr.made++
	}
	t.tries[k][chance] = tr
}

// Add counts everything that another tally counted.
func (t *Tally) Add(other *Tally) {
	for sides, counts := range other.faces {
		if t.faces == nil {
			t.faces = map[int][]int{}
		}
		if t.faces[sides] == nil {
			t.faces[sides] = make([]int, sides)
		}
		for i, n := range counts {
			t.faces[sides][i] += n
		}
	}
	for k, tries := range other.tries {
		for chance, tr := range tries {
			if t.tries[k] == nil {
				t.tries[k] = map[float64]trial{}
			}
			sum := t.tries[k][chance]
			t.tries[k][chance] = trial{sum.n + tr.n, sum.made + tr.made}
		}
	}
}

// Dice is how many dice were counted, of all kinds.
func (t *Tally) Dice() int {
	sum := 0
	for _, counts := range t.faces {
		for _, n := range counts {
			sum += n
		}
	}
	return sum
}

// Sides lists the kinds of dice that were counted, the fewest sides first.
func (t *Tally) Sides() []int { return slices.Sorted(maps.Keys(t.faces)) }

// Faces is how often each face of a die of so many sides fell, the first for 1;
// nil if there was none.
func (t *Tally) Faces(sides int) []int { return slices.Clone(t.faces[sides]) }
