package battle

import (
	"maps"

	"drumhead/engine/attack"
	"drumhead/engine/odds"
)

// bout reckons what a unit and who stands among it strike in melee: if the target
// strikes first, with whoever is left of them then. charger is the unit if it charged.
func (f *foresight) bout(p *Prospect, u, t Unit, charger string) error {
	here := f.with(f.state.own())
	if charger != "" {
		for _, one := range here.band(u) {
			here.state.unit(one.ID).Turn.Charged = true
		}
	}
	u = *here.state.unit(u.ID)
	if here.first(u, t, charger) == t.ID {
		left, strikes, err := here.strickenBy(u, t)
		if err != nil {
			return err
		}
		if strikes {
			return f.second(p, here, u, t, left)
		}
	}
	err := here.blows(p, here.band(u), t)
	f.laws[t.ID] = here.law(t)
	return err
}

// with is the same sheet so far, in a state like this one.
func (f *foresight) with(s State) foresight {
	return foresight{run: run{state: s, openings: f.openings}, laws: maps.Clone(f.laws)}
}

// strickenBy is the law of a unit's rung after what its enemy strikes first; strikes
// is false if that has struck in this turn, or has nothing to strike with.
func (f foresight) strickenBy(u, t Unit) (law odds.Law, strikes bool, err error) {
	f.laws = map[string]odds.Law{}
	var theirs Prospect
	for _, one := range f.band(t) {
		if one.Turn.Struck {
			continue
		}
		if err := f.blows(&theirs, []Unit{one}, u); err != nil {
			return law, false, err
		}
	}
	return f.law(u), theirs.Strikes, nil
}

// second adds the strike of a unit of whose own losses only the law is known: rung by
// rung of its own, those that are left strike.
func (f *foresight) second(p *Prospect, here foresight, u, t Unit, own odds.Law) error {
	ladder := here.state.ladder(t)
	stands := here.state.ladder(u).Rung
	var chances []float64
	var laws []odds.Law
	for i, chance := range own.Chance {
		if chance == 0 {
			continue
		}
		then := here.with(here.lost(u, own.Least+i-stands))
		var strike Prospect
		if left := *then.state.unit(u.ID); left.Stands() && left.Left > 0 {
			if err := then.blows(&strike, then.band(left), t); err != nil {
				return err
			}
		}
		if strike.Strikes {
			ladder, p.Weapons = strike.Solved.Ladder, longer(p.Weapons, strike.Weapons)
		}
		chances, laws = append(chances, chance), append(laws, then.law(t))
	}
	if p.Second = true; len(p.Weapons) == 0 {
		return nil // has nothing to strike with
	}
	f.laws[t.ID] = odds.Mix(chances, laws)
	p.Strikes, p.Before, p.Solved = true, f.state.ladder(t).Rung, attack.Solved{Ladder: ladder, Rungs: f.laws[t.ID]}
	return nil
}

// longer is the list that has more: who is left may have fewer weapons.
func longer[T any](a, b []T) []T {
	if len(b) > len(a) {
		return b
	}
	return a
}
