package battle

import (
	"slices"

	"drumhead/engine/attack"
	"drumhead/engine/odds"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// Prospect is what one line of a sheet promises before any die, exactly. Chances
// of lines that aim at one unit are those of all of them together, one after the
// other.
type Prospect struct {
	What    Rolled // AnAttack, ACharge, ACast, ALook or AContest
	Unit    string
	At      string
	Weapons []*rules.Weapon
	Power   string
	Unsaid  bool // no distance was said: taken as within reach

	Also    []string // ALook: units that attack together with Unit
	Marks   bool     // a hull was hit whose marks may do more than cross off
	Column  string   // ALook: the column of the table
	Results []Chance // ALook
	Looked  rules.Looked
	Stakes  []Stake // ALook: who may lose something

	In       float64       // AContest: the chance to win, and Stands that the other does; ACharge, ACast: the chance that it comes in, that it is cast
	Stands   float64       // ACast: that it is cast and stands, countered whenever dice could beat it
	Opposed  bool          // ACast: an enemy could counter
	Mishap   float64       // ACast: something falls back on the caster
	Strikes  bool          // whether anything is done to wounds; else the next members are empty
	Second   bool          // the target strikes first, which is counted
	Before   int           // the target's rung as it stands now
	Solved   attack.Solved // the target after this line and all before it
	Striking attack.Solved // ACharge, ACast: after this line alone, if it comes in
}

// Prospects reckons lines of a side's sheet as things stand. Nothing is rolled, and
// it need not be that side's turn. Lines that no die decides promise nothing and
// are refused, as is what could never be done.
func Prospects(s State, side int, lines []Line) ([]Prospect, error) {
	state := s.own()
	state.Side = side
	f := foresight{run: run{state: state}, laws: map[string]odds.Law{}, acted: map[string]bool{}}
	var out []Prospect
	for i, l := range lines {
		if l.Order == Done {
			continue
		}
		all, err := f.line(l)
		if err == nil {
			err = f.once(l)
		}
		if err != nil {
			if why, ok := err.(*reason.Refusal); ok {
				why.Line = i + 1
			}
			return nil, err
		}
		out = append(out, all...)
	}
	if len(out) == 0 {
		return nil, reason.Refuse(f.example(), "odds.refuse.nothing")
	}
	return out, nil
}

// foresight is a sheet that is reckoned: the law of each target's rung so far.
type foresight struct {
	run
	laws  map[string]odds.Law
	acted map[string]bool // what a line before asked about: unit and order
}

// once refuses a second line of a unit that would shoot, charge or fight twice, or
// cast one power twice.
func (f *foresight) once(l Line) error {
	order := l.Order
	if order == Split {
		order = Shoot
	}
	key := string(order) + " " + l.Unit + " " + l.Power
	if !f.acted[key] {
		f.acted[key] = true
		return nil
	}
	if order == Cast {
		return refuse("battle.refuse.cast", "unit", f.state.name(l.Unit), "power", f.state.powerTitle(l.Power))
	}
	id := map[Verb]string{Shoot: "battle.refuse.shot", Charge: "battle.refuse.charged", Fight: "battle.refuse.fought"}[order]
	return refuse(id, "unit", f.state.name(l.Unit))
}

// example is a line that can be reckoned: somebody who shoots, or else strikes.
func (f *foresight) example() string {
	at := f.state.standing(Other(f.state.Side))
	for _, u := range f.state.standing(f.state.Side) {
		if len(at) > 0 && len(f.state.shooting(u)) > 0 {
			return "shoot " + f.state.Short(u.ID) + " at " + f.state.Short(at[0].ID)
		}
	}
	for _, u := range f.state.standing(f.state.Side) {
		if len(at) > 0 && f.state.blade(u) != nil {
			return "fight " + f.state.Short(u.ID) + " at " + f.state.Short(at[0].ID)
		}
	}
	return ""
}

func (f *foresight) line(l Line) ([]Prospect, error) {
	u, ok := f.state.Unit(l.Unit)
	if !ok || !u.Stands() || u.Side != f.state.Side {
		return nil, refuse("battle.refuse.unit", "unit", f.state.name(l.Unit), "yours", f.state.names(f.state.standing(f.state.Side)))
	}
	switch l.Order {
	case Shoot:
		return f.shots(u, []Aim{l.Aim})
	case Split:
		return f.shots(u, l.Shares)
	case Fight:
		return f.blow(u, l.Aim)
	case Charge:
		return f.charges(u, l)
	case Cast:
		return f.casts(u, l)
	}
	return nil, reason.Refuse(f.example(), "odds.refuse.order", "order", string(l.Order))
}

// target refuses who is no enemy on the table.
func (f *foresight) target(id string) (Unit, error) {
	t, why := now(f.state).legalEnemy(id)
	if why != nil {
		return t, why
	}
	return t, nil
}

// shots reckons shooting, aim by aim, weapon by weapon.
func (f *foresight) shots(u Unit, aims []Aim) ([]Prospect, error) {
	var out []Prospect
	for _, a := range aims {
		t, err := f.target(a.At)
		if err != nil {
			return nil, err
		}
		weapons := f.state.weapons(u, a)
		if len(weapons) == 0 {
			return nil, now(f.state).cannotShoot(u, t, a)
		}
		p := Prospect{What: AnAttack, Unit: u.ID, At: t.ID, Unsaid: a.Tenths == 0}
		for _, w := range weapons {
			if err := f.strikes(&p, Shoot, u, t, w, a); err != nil {
				return nil, err
			}
		}
		out = append(out, p)
	}
	return out, nil
}

// cannotShoot says why a unit has nothing to shoot with at a target.
func (v view) cannotShoot(u, t Unit, a Aim) error {
	if len(v.shooting(u)) == 0 {
		return refuse("battle.refuse.unarmed", "unit", v.name(u.ID))
	}
	if a.Weapon != "" {
		if why := v.legalWeapon(u, t, a); why != nil {
			return why
		}
	}
	return v.outOfRange(u, t, a)
}

// strikes adds one weapon's attack to what the target's rung may have become.
func (f *foresight) strikes(p *Prospect, how Verb, u, t Unit, w *rules.Weapon, a Aim) error {
	if f.state.Pack.Does(string(how)) == "pools" {
		p.Weapons = append(p.Weapons, w)
		return f.volley(p, how, u, t, w, a)
	}
	for _, h := range f.state.hands(u, w, min(a.Models, u.Left)) {
		if err := f.strike(p, how, u, t, w, a, h); err != nil {
			return err
		}
	}
	p.Weapons = append(p.Weapons, w)
	return nil
}

// strike adds the attack of one part of a unit.
func (f *foresight) strike(p *Prospect, how Verb, u, t Unit, w *rules.Weapon, a Aim, h hands) error {
	solved, err := f.climb(how, u, t, w, a, h)
	if err != nil {
		return err
	}
	f.laws[t.ID] = solved.Rungs
	p.Strikes, p.Before, p.Solved = true, f.state.ladder(t).Rung, solved
	return nil
}

// blows adds what a unit and who stands among it strike in melee, each part of them
// with its own weapon, as strikeOnce does.
func (f *foresight) blows(p *Prospect, band []Unit, t Unit) error {
	for _, u := range band {
		for part := range 1 + len(f.state.kind(u.Kind).Others) {
			w := f.state.bladeOf(u, part)
			if w == nil {
				continue
			}
			for _, h := range f.state.hands(u, w, 0) {
				if h.part != part {
					continue
				}
				if err := f.strike(p, Fight, u, t, w, Aim{}, h); err != nil {
					return err
				}
			}
			if !slices.Contains(p.Weapons, w) {
				p.Weapons = append(p.Weapons, w)
			}
		}
	}
	return nil
}

// law is the law of a unit's rung after the lines so far.
func (f *foresight) law(t Unit) odds.Law {
	if law, ok := f.laws[t.ID]; ok {
		return law
	}
	return odds.Always(f.state.ladder(t).Rung)
}

// blow reckons a unit's own strike in melee.
func (f *foresight) blow(u Unit, a Aim) ([]Prospect, error) {
	if a.At == "" {
		a.At = f.enemyOf(u.ID)
	}
	t, err := f.target(a.At)
	if err != nil {
		return nil, err
	}
	if f.state.Pack.Does(string(Fight)) == "opposed" {
		return f.contests(u, t, a)
	}
	p := Prospect{What: AnAttack, Unit: u.ID, At: t.ID}
	if err := f.bout(&p, u, t, ""); err != nil {
		return nil, err
	}
	if len(p.Weapons) == 0 {
		return nil, refuse("battle.refuse.unarmed", "unit", f.state.name(u.ID))
	}
	return []Prospect{p}, nil
}

// charges reckons a charge: the chance to get in, and the strike if it does.
func (f *foresight) charges(u Unit, l Line) ([]Prospect, error) {
	t, err := f.target(l.At)
	if err != nil {
		return nil, err
	}
	switch f.state.Pack.Does(string(Charge)) {
	case "pools":
		return f.ram(u, t, l)
	case "table":
		return f.assaults(u, t, l)
	}
	if l.Tenths == 0 {
		return nil, reason.Refuse("charge "+f.state.Short(u.ID)+" at "+f.state.Short(t.ID)+", 7.4 in", "battle.refuse.gap", "unit", f.state.name(u.ID), "target", f.state.name(t.ID))
	}
	total, _, err := f.state.Pack.Charge(f.state.group(u), reason.Inches(l.Tenths))
	if err != nil {
		return nil, refuse("battle.refuse.never", "order", string(Charge), "pack", reason.Name(f.state.Pack.Title))
	}
	p := Prospect{What: ACharge, Unit: u.ID, At: t.ID}
	if p.In, err = total.Made(); err != nil {
		return nil, err
	}
	before := f.law(t)
	if err := f.bout(&p, u, t, u.ID); err != nil {
		return nil, err
	}
	if p.Strikes {
		f.mayBe(&p, t, before, p.In)
	}
	return []Prospect{p}, nil
}

// mayBe lets a strike have happened with a chance only.
func (f *foresight) mayBe(p *Prospect, t Unit, before odds.Law, chance float64) {
	p.Striking = p.Solved
	f.laws[t.ID] = odds.Mix([]float64{chance, 1 - chance}, []odds.Law{p.Solved.Rungs, before})
	p.Solved.Rungs = f.laws[t.ID]
}

// casts reckons a power: the chance that it is cast and stands, and what damage
// that no save stops does then.
func (f *foresight) casts(u Unit, l Line) ([]Prospect, error) {
	if why := now(f.state).legalCast(u, l); why != nil {
		return nil, why
	}
	c, _, err := f.state.Pack.Casting(f.state.group(u), l.Power)
	if err != nil {
		return nil, err
	}
	own := f.state.ladder(u)
	before, ok := c.Before(own.Top() - own.Rung)
	if !ok {
		return nil, reason.Refuse("", "odds.refuse.large")
	}
	p := Prospect{What: ACast, Unit: u.ID, At: l.At, Power: l.Power, In: before.Cast, Stands: before.Cast, Mishap: before.Mishap,
		Opposed: c.Counts && f.state.counterer(Other(u.Side)) != ""}
	if p.Opposed {
		p.Stands = before.Against
	}
	t, ok := f.state.Unit(l.At)
	if !ok {
		return []Prospect{p}, nil
	}
	hurt := odds.Always(0)
	for _, one := range c.Power.Then {
		if one.Do == "sure" && one.Who == "target" {
			hurt = hurt.Plus(one.Amount.Law())
		}
	}
	if hurt.Mean() > 0 {
		start, ladder := f.law(t), f.state.ladder(t)
		p.Strikes, p.Before = true, ladder.Rung
		p.Solved = attack.Solved{Ladder: ladder, Rungs: upTo(start.Plus(hurt), ladder.Top())}
		f.mayBe(&p, t, start, p.Stands)
	}
	return []Prospect{p}, nil
}

// upTo is a law whose values stop at the top.
func upTo(l odds.Law, top int) odds.Law {
	out := odds.Law{Chance: make([]float64, top+1)}
	for i, p := range l.Chance {
		out.Chance[min(l.Least+i, top)] += p
	}
	return out
}
