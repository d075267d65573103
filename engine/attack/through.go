package attack

import "drumhead/engine/odds"

// Through is the exact law of how many tokens come out of the last step, sure
// ones included. It gives false where a step re-rolls one miss of the whole
// throw: its dice are not independent, and this way of reckoning needs them to be.
func (a Attack) Through() (odds.Law, bool) {
	for _, s := range a.Steps {
		if s.Rerolls&OneMiss != 0 {
			return odds.Law{}, false
		}
	}
	one := walk{steps: a.Steps, known: map[spot]odds.Law{}}.law(spot{})
	if a.Number.Per.Dice == 0 {
		return one.Power(a.Number.Most()), true
	}
	return a.Number.law().Of(one), true
}

// law is the law of the number of attacks.
func (n Number) law() odds.Law {
	rolled := odds.Always(n.Per.Plus)
	if n.Per.Dice > 0 {
		rolled = rolled.Plus(odds.Dice(n.Per.Dice, n.Per.Sides))
	}
	var chance []float64
	var laws []odds.Law
	for i, p := range rolled.Chance {
		chance = append(chance, p)
		laws = append(laws, odds.Always(max(rolled.Least+i, n.Least)))
	}
	return odds.Mix(chance, laws).Power(n.Times)
}

// walk follows one token through the steps and remembers the laws it has found.
type walk struct {
	steps []Each
	known map[spot]odds.Law
}

// spot is a token before a step.
type spot struct {
	step  int
	token token
}

// law is the law of how many tokens one token becomes in the end.
func (w walk) law(at spot) odds.Law {
	if at.step == len(w.steps) {
		return odds.Always(1)
	}
	if l, ok := w.known[at]; ok {
		return l
	}
	w.known[at] = w.step(at)
	return w.known[at]
}

func (w walk) step(at spot) odds.Law {
	e, t := w.steps[at.step], at.token
	switch e.meet(&t) {
	case goesFree:
		return w.law(spot{at.step + 1, t})
	case ends:
		return odds.Always(0)
	}
	e.Need = e.Need.Better(-e.worse(t))
	var families []family
	var chance []float64
	var ended float64
	for i, p := range e.faces() {
		if !e.goesOn(e.Passes(i + 1)) {
			ended += p
			continue
		}
		f := e.gifts(t, i+1)
		if n := len(families); n > 0 && families[n-1] == f {
			chance[n-1] += p
			continue
		}
		families, chance = append(families, f), append(chance, p)
	}
	laws := make([]odds.Law, 0, len(families)+1)
	for _, f := range families {
		laws = append(laws, w.family(at.step+1, f))
	}
	return odds.Mix(append(chance, ended), append(laws, odds.Always(0)))
}

// family is the law of what all tokens of a family become.
func (w walk) family(step int, f family) odds.Law {
	sum := odds.Always(0)
	for _, t := range f.tokens(nil) {
		sum = sum.Plus(w.law(spot{step, t}))
	}
	return sum
}

// faces is the chance of each face, the first for 1, after re-rolls that act on
// each die. All are whole numbers over the square of the sides, divided once.
func (e Each) faces() []float64 {
	again := 0
	counts := make([]int, e.Sides)
	for i := range counts {
		if e.Rerolls.picks(i+1, e.Passes(i+1), false) {
			again++
		} else {
			counts[i] = e.Sides
		}
	}
	chance := make([]float64, e.Sides)
	for i, n := range counts {
		chance[i] = float64(n+again) / float64(e.Sides*e.Sides)
	}
	return chance
}

// Chance is the chance that one die of the step passes, re-rolls that act on each
// die included.
func (e Each) Chance() float64 {
	sum := 0.0
	for i, p := range e.faces() {
		if e.Passes(i + 1) {
			sum += p
		}
	}
	return sum
}
