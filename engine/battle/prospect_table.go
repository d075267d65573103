package battle

import (
	"drumhead/engine/attack"
	"drumhead/engine/odds"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// Chance is how likely a result of a table is, and which totals of the dice give it.
type Chance struct {
	Words    string
	Chance   float64
	From, To int
	Reaches  bool // something happens to the target
}

// Results are the results of a roll on a table with their chances, in the order in
// which the dice reach them; neighbouring totals with one result are one.
func Results(l rules.Looked) ([]Chance, error) {
	law, err := l.Roll.Dice.Law()
	if err != nil {
		return nil, err
	}
	var out []Chance
	for i, chance := range law.Chance {
		total := law.Least + i
		row := l.Roll.Find(total)
		words, _ := l.Result(row)
		if n := len(out); n > 0 && out[n-1].Words == words && out[n-1].Reaches == l.Reaches(row) {
			out[n-1].Chance += chance
			out[n-1].To = total
			continue
		}
		out = append(out, Chance{words, chance, total, total, l.Reaches(row)})
	}
	return out, nil
}

// Stake is one unit of those that a roll on a table is about: what it has to lose.
type Stake struct {
	Unit     string
	Who      rules.Side // Attacker or Target
	Hull     attack.Hull
	Cornered []rules.Consequence // what it suffers if it has to give ground and cannot
}

// stakes are the units that an assault is about, the target first.
func (r *run) stakes(l Line) []Stake {
	hull := func(id string) attack.Hull {
		h, _ := r.state.Pack.Hull(r.state.group(*r.state.unit(id)))
		return h
	}
	target := Stake{Unit: l.At, Who: rules.Target, Hull: hull(l.At)}
	if l.Blocked {
		target.Cornered = r.state.Pack.Cornered()
	}
	out := []Stake{target}
	for _, id := range append([]string{l.Unit}, l.Also...) {
		out = append(out, Stake{Unit: id, Who: rules.Attacker, Hull: hull(id)})
	}
	return out
}

// Loss is the law of what a roll on a table crosses off a unit.
func (s Stake) Loss(l rules.Looked) (odds.Law, error) {
	rows, err := l.Roll.Law()
	if err != nil {
		return rows, err
	}
	var laws []odds.Law
	for i := range rows.Chance {
		row := rows.Least + i
		if l.Goes(row) {
			return odds.Law{}, reason.Refuse("", "odds.refuse.large")
		}
		points := odds.Always(0)
		for _, amount := range l.Costs(row, s.Who, s.Cornered) {
			points = points.Plus(amount.Law())
		}
		crossed, err := s.Hull.Law(points)
		if err != nil {
			return odds.Law{}, err
		}
		laws = append(laws, crossed)
	}
	return odds.Mix(rows.Chance, laws).Trim(), nil
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
	p := Prospect{What: ALook, Unit: u.ID, Also: l.Also, At: t.ID, Column: looked.Odds(), Looked: looked, Stakes: f.stakes(l)}
	p.Results, err = Results(looked)
	return []Prospect{p}, err
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
