package attack

import "drumhead/engine/odds"

// mostLaw bounds the dice whose exact law is reckoned: dice times sides.
const mostLaw = 10_000

// Law is the exact law of the total; false for dice that are kept, open-ended or
// re-rolled, and for more of them than is reckoned here.
func (t Total) Law() (odds.Law, bool) {
	sum := odds.Always(t.Plus)
	if t.Rerolls != 0 {
		return odds.Law{}, false
	}
	for _, term := range t.Terms {
		if term.Keep != 0 || term.Open != 0 || term.Dice*term.Sides > mostLaw {
			return odds.Law{}, false
		}
		sum = sum.Plus(odds.Dice(term.Dice, term.Sides).Times(term.times()))
	}
	return sum, true
}

// Chance is the exact chance that the total passes as it is judged; false if
// nothing judges it, or its law is not reckoned.
func (t Total) Chance() (float64, bool) {
	law, ok := t.Law()
	switch {
	case !ok:
		return 0, false
	case t.Judge == TotalAtLeast:
		return law.AtLeast(t.Value), true
	case t.Judge == TotalAtMost:
		return law.AtMost(t.Value), true
	case t.Judge == TotalMoreThan:
		return law.AtLeast(t.Value + 1), true
	}
	return 0, false
}

// Law is the exact law of the amount.
func (a Amount) Law() odds.Law { return odds.Always(a.Plus).Plus(odds.Dice(a.Dice, a.Sides)) }
