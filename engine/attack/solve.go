package attack

import (
	"drumhead/engine/odds"
	"drumhead/engine/reason"
)

// The limits of what is solved while somebody waits. They refuse with
// odds.refuse.large.
const (
	MostPooled  = 3           // re-rolls that act once, in one attack
	MostCells   = 80_000      // numbers of all climbs of one attack: 640 KB
	MostRungs   = 12_000      // of a law, for each mode
	MostAttacks = 4_000       // that start
	MostWork    = 400_000_000 // products of taking the climbs: a second or so
	MostWays    = 2_000_000   // ways in which a total with re-rolls can fall
)

// tooLarge refuses what would take too long.
func tooLarge() error { return reason.Refuse("60d6 4+, damage d3, into 10 of 3", "odds.refuse.large") }

// Solved is the exact law of what an attack comes to. Every chance is made of
// sums and products of numbers that are not negative: its relative error is below
// 1e-12, and nothing below 1e-300 is told.
type Solved struct {
	Ladder Ladder   // the target before the attack
	Rungs  odds.Law // of the rung at the end, from 0 on
}

// Solve is the exact law of the attack from where the target stands.
func (a Attack) Solve() (Solved, error) { return a.SolveFrom(odds.Always(a.Ladder.Rung)) }

// SolveFrom is the exact law when the target's rung has a law of its own: what an
// attack before this one left. So several attacks on one target are exact together.
func (a Attack) SolveFrom(start odds.Law) (Solved, error) {
	if len(a.Ladder.Segments) == 0 {
		return Solved{}, tooLarge()
	}
	law, err := a.climb(start, a.Ladder.Top(), damaging)
	return Solved{Ladder: a.Ladder, Rungs: law}, err
}

// Through is the exact law of how many tokens come out of the last step, sure
// ones included.
func (a Attack) Through() (odds.Law, error) {
	a.Ladder = Ladder{Segments: []Segment{{Models: 1, Wounds: Endless}}}
	return a.climb(odds.Always(0), a.Blows(), counting)
}

// climb takes the attacks one by one, and mixes where their number is dice.
func (a Attack) climb(start odds.Law, top int, leaf leafKind) (odds.Law, error) {
	w, err := a.walk(start, top, leaf)
	if err != nil {
		return odds.Law{}, err
	}
	one, err := w.one()
	if err != nil {
		return odds.Law{}, err
	}
	number, most := a.Number.law(), a.Number.Most()
	if most*w.foot.Top*(one.Reach()+1)*w.foot.Modes*w.foot.Modes > MostWork {
		return odds.Law{}, tooLarge()
	}
	climber := w.foot.NewClimber(start, one.Reach(), 0)
	sum := odds.Law{Chance: make([]float64, w.foot.Top+1)}
	for n := 0; n <= most; n++ {
		if n > 0 && !climber.Done() {
			climber.Take(one)
		}
		if p := number.Exactly(n); p > 0 {
			climber.AddTo(sum, p)
		}
	}
	return sum, nil
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

// At is the chance that the rung is this one or a higher one.
func (s Solved) At(rung int) float64 { return s.Rungs.AtLeast(rung) }

// Crossed is the law of the wounds crossed off by what began at a rung.
func (s Solved) Crossed(from int) odds.Law {
	return s.turned(func(rung int) int { return rung - from })
}

// Fell is the law of the models that fell since a rung.
func (s Solved) Fell(from int) odds.Law {
	before := s.Ladder.Fallen(from)
	return s.turned(func(rung int) int { return s.Ladder.Fallen(rung) - before })
}

// Destroyed is the chance that nobody stands.
func (s Solved) Destroyed() float64 { return s.Rungs.AtLeast(s.Ladder.Top()) }

// turned is the law of a number, from 0 on, that rises with the rung.
func (s Solved) turned(of func(rung int) int) odds.Law {
	last := s.Rungs.Least + len(s.Rungs.Chance) - 1
	law := odds.Law{Chance: make([]float64, max(0, of(last))+1)}
	for i, p := range s.Rungs.Chance {
		if p > 0 {
			law.Chance[of(s.Rungs.Least+i)] += p
		}
	}
	return law.Trim()
}
