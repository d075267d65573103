package luck

import (
	"maps"
	"slices"

	"drumhead/engine/odds"
)

// From how many on counts are looked at, and from when on luck is called what.
const (
	LeastTries = 20    // tries of a kind, before they are looked at
	LeastFaces = 10    // times that each face of a die is expected, before faces are looked at
	Rare       = 0.05  // after correction: what 1 of 20 evenings of fair dice has
	Odd        = 0.001 // after correction: what 1 of 1000 evenings of fair dice has
)

// Verdict says in one word how ordinary luck was.
type Verdict int

// The verdicts.
const (
	TooFew   Verdict = iota // nothing could be looked at
	Ordinary                // as chance is
	Uncommon                // chance does it now and then
	TooOdd                  // chance alone hardly does it
)

// Count is one thing that was looked at: the tries of a kind, or with Sides the
// faces of a die.
type Count struct {
	Kind     Kind
	Sides    int     // of the die whose faces are counted; 0 for tries
	Faces    []int   // how often each fell
	N        int     // dice or tries
	Made     int     // of tries
	Expected float64 // tries made, on average
	P        float64 // chance of fair dice to be as far off, or further, either way
	Holm     float64 // the same, for having looked at all counts of the report
}

// Report is what was looked at, and what it comes to.
type Report struct {
	Counts  []Count // looked at: tries by kind, then faces by sides
	Few     []Count // too few to be looked at; they have no chances
	Worst   int     // the count that is furthest off, -1 without any
	Verdict Verdict
	Dice    int // all that were counted, looked at or not
}

// Look holds a tally against fair dice. Tries are compared exactly: chances that
// differ are added up as a sum of tries that know nothing of each other. Faces
// are compared by chi-square. Two-sided throughout: luck can be too good.
func (t *Tally) Look() Report {
	r := Report{Worst: -1, Dice: t.Dice()}
	for _, k := range kinds {
		r.add(t.count(k), LeastTries)
	}
	for _, sides := range t.Sides() {
		r.add(t.countFaces(sides), LeastFaces*sides)
	}
	p := make([]float64, len(r.Counts))
	for i, c := range r.Counts {
		p[i] = c.P
	}
	for i, h := range Holm(p) {
		r.Counts[i].Holm = h
		if r.Worst < 0 || r.Counts[i].P < r.Counts[r.Worst].P {
			r.Worst = i
		}
	}
	r.judge()
	return r
}

// add takes a count up if it counts anything at all.
func (r *Report) add(c Count, least int) {
	switch {
	case c.N >= least:
		r.Counts = append(r.Counts, c)
	case c.N > 0:
		c.P, c.Holm = 0, 0
		r.Few = append(r.Few, c)
	}
}

// judge names what the corrected chances come to.
func (r *Report) judge() {
	switch {
	case r.Worst < 0:
		r.Verdict = TooFew
	case r.Counts[r.Worst].Holm < Odd:
		r.Verdict = TooOdd
	case r.Counts[r.Worst].Holm < Rare:
		r.Verdict = Uncommon
	default:
		r.Verdict = Ordinary
	}
}

// count holds the tries of a kind against what was expected of them.
func (t *Tally) count(k Kind) Count {
	c, law := Count{Kind: k}, odds.Always(0)
	for _, chance := range slices.Sorted(maps.Keys(t.tries[k])) {
		tr := t.tries[k][chance]
		c.N, c.Made = c.N+tr.n, c.Made+tr.made
		c.Expected += chance * float64(tr.n)
		law = law.Plus(odds.Trials(tr.n, chance)).Slim()
	}
	c.P = law.AsOdd(c.Made)
	return c
}

// countFaces holds the faces of a kind of dice against even ones.
func (t *Tally) countFaces(sides int) Count {
	c := Count{Sides: sides, Faces: t.Faces(sides)}
	for _, n := range c.Faces {
		c.N += n
	}
	_, _, c.P = ChiSquare(c.Faces, nil)
	return c
}
