package battle

import (
	"drumhead/engine/attack"
	"drumhead/engine/odds"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// Chance is how likely a result of a table is.
type Chance struct {
	Words  string
	Chance float64
}

// volley adds pools against pools to what the target's hull may have become. What
// criticals do besides crossing off is left out of what comes after them.
func (f *foresight) volley(p *Prospect, how Verb, u, t Unit, w *rules.Weapon, a Aim) error {
	if a.Tenths == 0 && f.state.Pack.Measures(string(how)) {
		return reason.Refuse(string(how)+" "+f.state.Short(u.ID)+" at "+f.state.Short(t.ID)+", 7.4 in", "battle.refuse.gap_shot", "unit", f.state.name(u.ID), "target", f.state.name(t.ID))
	}
	ladder := f.state.ladder(t)
	start, ends := f.law(t), odds.Law{Chance: make([]float64, ladder.Top()+1)}
	for i, chance := range start.Chance {
		rung := start.Least + i
		if chance == 0 || rung >= ladder.Top() {
			ends.Chance[min(rung, ladder.Top())] += chance
			continue
		}
		as := t
		as.Hurt = rung
		v, _, err := f.pools(how, u, as, w, a)
		if err != nil {
			return err
		}
		crossed, err := v.Law()
		if err != nil {
			return err
		}
		for j, q := range crossed.Chance {
			ends.Chance[min(rung+crossed.Least+j, ladder.Top())] += chance * q
		}
		p.Marks = p.Marks || len(v.Hull.Marks) > 0
	}
	f.laws[t.ID] = ends
	p.Strikes, p.Before, p.Solved = true, ladder.Rung, attack.Solved{Ladder: ladder, Rungs: ends}
	return nil
}

// ram reckons pools against pools on contact.
func (f *foresight) ram(u, t Unit, l Line) ([]Prospect, error) {
	if why := now(f.state).inReach(u, t, l.Aim); why != nil {
		return nil, why
	}
	p := Prospect{What: AnAttack, Unit: u.ID, At: t.ID}
	err := f.volley(&p, Charge, u, t, f.state.blade(u), l.Aim)
	return []Prospect{p}, err
}

// assaults reckons a roll on a table: each result with its chance, in the order in
// which the dice reach them.
func (f *foresight) assaults(u, t Unit, l Line) ([]Prospect, error) {
	if why := now(f.state).inReach(u, t, l.Aim); why != nil {
		return nil, why
	}
	looked, _, err := f.odds(l)
	if err != nil {
		return nil, err
	}
	law, err := looked.Roll.Law()
	if err != nil {
		return nil, err
	}
	p := Prospect{What: ALook, Unit: u.ID, Also: l.Also, At: t.ID, Column: looked.Odds()}
	for row := range looked.Table.Rows {
		words, _ := looked.Result(row)
		chance := law.Exactly(row)
		if n := len(p.Results); n > 0 && p.Results[n-1].Words == words {
			p.Results[n-1].Chance += chance
		} else {
			p.Results = append(p.Results, Chance{words, chance})
		}
	}
	return []Prospect{p}, nil
}

// contests reckons an opposed roll.
func (f *foresight) contests(u, t Unit, a Aim) ([]Prospect, error) {
	o, _, _, err := f.state.Pack.Contest(string(Fight), f.state.group(u), f.state.group(t), facts(u, t, a))
	if err != nil {
		return nil, err
	}
	w, err := o.Solve()
	return []Prospect{{What: AContest, Unit: u.ID, At: t.ID, In: w.Mine, Stands: w.Theirs}}, err
}
