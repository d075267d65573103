package attack

import "drumhead/engine/odds"

// Law is the exact law of the total, its re-rolls included. It refuses with
// odds.refuse.large.
func (t Total) Law() (odds.Law, error) {
	rerolls := t.rerolls()
	if t.Judge == Unjudged {
		rerolls &= Ones
	}
	switch rerolls {
	case 0, Ones:
		return t.sum(rerolls == Ones)
	case Misses, Passes:
		return t.again(rerolls == Passes)
	}
	return t.every()
}

// Made is the chance that a judged total passes.
func (t Total) Made() (float64, error) {
	law, err := t.Law()
	if err != nil {
		return 0, err
	}
	return t.passed(law), nil
}

// passed is the chance that a total of this law passes.
func (t Total) passed(law odds.Law) float64 {
	switch t.Judge {
	case TotalAtLeast:
		return law.AtLeast(t.Value)
	case TotalAtMost:
		return law.AtMost(t.Value)
	case TotalMoreThan:
		return law.AtLeast(t.Value + 1)
	}
	return 0
}

// sum adds the terms up; ones are rolled again where they are.
func (t Total) sum(ones bool) (odds.Law, error) {
	law := odds.Always(t.Plus)
	for _, term := range t.Terms {
		l, ok := term.law(ones)
		if !ok || len(l.Chance)*len(law.Chance) > MostWork {
			return odds.Law{}, tooLarge()
		}
		law = law.Plus(l)
	}
	return law, nil
}

// law is the law of one term, false if it is too large.
func (t Term) law(ones bool) (l odds.Law, ok bool) {
	die := odds.Die(t.Sides)
	if ones {
		die = Each{Sides: t.Sides, Rerolls: Ones}.die()
	}
	most := t.Dice * t.Sides * (1 + t.Open)
	switch {
	case most*most > MostWork:
		return l, false
	case t.Keep != 0:
		if l, ok = odds.KeptOf(die, t.Dice, max(t.Keep, -t.Keep), t.Keep < 0); !ok {
			return l, false
		}
	case t.Open > 0:
		l = odds.Open(t.Sides, t.Open).Power(t.Dice)
	default:
		l = die.Power(t.Dice)
	}
	if by := t.times(); by != 1 {
		l = l.Times(by)
	}
	return l, true
}

// die is the law of the face of one die of the step, re-rolls included.
func (e Each) die() odds.Law {
	plain, _ := e.faces(true)
	return odds.Law{Least: 1, Chance: plain}
}

// again is the law when all dice are rolled again after a miss, or after a pass.
func (t Total) again(passes bool) (odds.Law, error) {
	law, err := t.sum(false)
	if err != nil {
		return law, err
	}
	stays := odds.Law{Least: law.Least, Chance: make([]float64, len(law.Chance))}
	rolled := 0.0
	for i, p := range law.Chance {
		if t.judge(law.Least+i) == passes {
			rolled += p
		} else {
			stays.Chance[i] = p
		}
	}
	return odds.Mix([]float64{1, rolled}, []odds.Law{stays, law}), nil
}

// every rolls the total in every way: where it was judged, the dice that are
// rolled again depend on all the others.
func (t Total) every() (odds.Law, error) {
	least := t.least()
	law, ok := odds.Every(MostWays, func(w *odds.Wheels) int { return t.Roll(w).Total - least })
	if !ok {
		return odds.Law{}, tooLarge()
	}
	law.Least = least
	return law.Trim(), nil
}

// least is the lowest total.
func (t Total) least() int {
	least := t.Plus
	for _, term := range t.Terms {
		low, high := term.Dice, term.Dice*term.Sides*(1+term.Open)
		if term.Keep != 0 {
			low = max(term.Keep, -term.Keep)
			high = low * term.Sides
		}
		least += min(low*term.times(), high*term.times())
	}
	return least
}

// Winners are the chances of an opposed roll.
type Winners struct{ Mine, Tie, Theirs float64 }

// Solve is the exact chance of each end of the opposed roll.
func (o Opposed) Solve() (Winners, error) {
	mine, err := o.Mine.Law()
	if err != nil {
		return Winners{}, err
	}
	theirs, err := o.Theirs.Law()
	if err != nil {
		return Winners{}, err
	}
	above, equal, below := mine.Against(theirs)
	w := Winners{above, equal, below}
	switch o.Tie {
	case TieToMine:
		w = Winners{Mine: above + equal, Theirs: below}
	case TieToTheirs:
		w = Winners{Mine: above, Theirs: equal + below}
	case TieRollAgain:
		for range MostTies {
			w = Winners{above + equal*w.Mine, equal * w.Tie, below + equal*w.Theirs}
		}
	}
	return w, nil
}

// Law is the law of the winner: 0 the second side, 1 neither, 2 the first.
func (o Opposed) Law() (odds.Law, error) {
	w, err := o.Solve()
	return odds.Law{Chance: []float64{w.Theirs, w.Tie, w.Mine}}, err
}

// Law is the law of what comes out of the pool.
func (p Pool) Law() (odds.Law, error) {
	return Attack{Number: Exactly(p.Number), Steps: []Each{p.Step}}.Through()
}

// Law is the law of what is left of mine.
func (p Pools) Law() (odds.Law, error) {
	mine, err := p.Mine.Law()
	if err != nil {
		return odds.Law{}, err
	}
	theirs, err := p.Theirs.Law()
	if err != nil {
		return odds.Law{}, err
	}
	left := odds.Law{Chance: make([]float64, len(mine.Chance))}
	for i, q := range mine.Chance {
		for j, r := range theirs.Chance {
			left.Chance[max(0, i-j)] += q * r
		}
	}
	return left.Trim(), nil
}
