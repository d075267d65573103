package rules

import (
	"slices"

	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Muster says which forces are legal.
type Muster struct {
	Points []int // the usual sizes of a force
	Limits []Limit
}

// Limit bounds the units with a keyword: at least Least and at most Most, with
// ForEach so many for each begun ForEach points of the force's size.
type Limit struct {
	Keyword string
	Least   int
	Most    int // noMost for no bound
	ForEach int // 0 for the whole force
}

const noMost = MostModels

// Allowed is how many units with the keyword a force of so many points may have.
func (l Limit) Allowed(points int) int {
	if l.ForEach == 0 || points == 0 {
		return l.Most
	}
	return l.Most * max(1, points/l.ForEach)
}

// Army is a list of the units that one army may take.
type Army struct {
	ID    string
	Title string
	Units []string
}

// Unit is one kind of unit of an army list.
type Unit struct {
	ID       string
	Title    string
	Short    string // what players call it
	Least    int    // models
	Most     int
	Price    int // of the whole unit; 0: each model costs its points
	Of       int // at most so many units of it in a force; 0 for any number
	Base     int // millimetres across
	Keywords []string
	Profile  Profile
	Weapons  []string
	Effects  []string
	Powers   []string
	Others   []Part // models of the unit that are unlike the rest
}

// Part is a few models of a unit with a profile of their own: its sergeant, the
// bearer of its standard.
type Part struct {
	ID      string
	Title   string
	Number  int // of the unit's models
	Profile Profile
	Weapons []string // theirs; the unit's if none are named
	Falls   string   // see FallsWhen
}

// FallsWhen says when models fall among those of their unit.
var FallsWhen = []string{FallsFirst, FallsLast}

// When models fall.
const (
	FallsFirst = "first"
	FallsLast  = "last"
)

// Has tells whether the unit has a keyword.
func (u *Unit) Has(keyword string) bool { return slices.Contains(u.Keywords, keyword) }

// Points is what a unit of so many models costs.
func (u *Unit) Points(models int, p *Pack) int {
	if u.Price > 0 {
		return u.Price
	}
	return models * u.Each(p)
}

// Each is what one model costs, 0 where the unit has one price.
func (u *Unit) Each(p *Pack) int {
	for _, c := range p.Characteristics {
		if c.Kind == Points {
			return u.Profile[c.ID].Number
		}
	}
	return 0
}

func (l *loader) unit(r row) {
	u := Unit{
		ID: r.id, Title: r.Text("title", MostName), Price: r.NumberOr("price", 1, MostPoints, 0),
		Of: r.NumberOr("most", 1, MostModels, 0), Base: r.Number("base", 10, 500),
		Keywords: l.names(r.Table, "keywords", "keyword"), Weapons: l.names(r.Table, "weapons", "weapon"),
		Effects: l.names(r.Table, "effects", "effect"), Powers: l.names(r.Table, "powers", "power"),
	}
	u.Short = r.TextOr("short", MostName, u.Title)
	u.Least, u.Most = r.Pair("size", 1, MostModels)
	if u.Price > 0 && u.Least != u.Most {
		r.Fault("price", reason.New("pack.price", "unit", u.ID))
	}
	u.Profile = l.profile(r.Table, u.ID)
	l.others(r.Table, &u)
	if u.Price == 0 && u.Each(l.pack) == 0 {
		r.Fault("price", reason.New("pack.free", "unit", u.ID))
	}
	l.armed(r, u)
	l.pack.Units = append(l.pack.Units, u)
}

// others reads the models of a unit that are unlike the rest. One model at least
// is like the unit's profile.
func (l *loader) others(t *source.Table, u *Unit) {
	sum := 0
	for _, inner := range t.Rows("others") {
		part := Part{
			ID: l.id(inner), Title: inner.Text("title", MostName), Number: inner.NumberOr("number", 1, MostModels, 1),
			Profile: l.profile(inner, u.ID), Weapons: l.names(inner, "weapons", "weapon"),
			Falls: inner.OneOfOr("falls", FallsWhen, FallsLast),
		}
		for _, before := range u.Others {
			if before.ID == part.ID {
				inner.Fault("id", reason.New("pack.repeated", "kind", "others", "id", part.ID))
			}
		}
		if sum += part.Number; sum >= u.Least {
			inner.Fault("number", reason.New("pack.others", "unit", u.ID, "number", sum, "least", u.Least))
		}
		u.Others = append(u.Others, part)
		inner.Close()
	}
}

// known notes units that know more powers than the pack allows; it runs when
// everything is read.
func (l *loader) known() {
	for i, u := range l.pack.Units {
		if len(u.Powers) > l.pack.PowersKnown {
			l.rows["unit"][i].Fault("powers", reason.New("pack.powers", "unit", u.ID, "number", len(u.Powers), "most", l.pack.PowersKnown))
		}
	}
}

// armed notes a weapon for which the unit lacks what its sequence asks for:
// shooting without skill.
func (l *loader) armed(r row, u Unit) {
	parts := []Part{{Profile: u.Profile, Weapons: u.Weapons}}
	for _, part := range u.Others {
		if len(part.Weapons) == 0 {
			part.Weapons = u.Weapons
		}
		parts = append(parts, part)
	}
	for _, part := range parts {
		for _, id := range part.Weapons {
			if w := l.pack.Weapon(id); w != nil {
				l.able(r, u, part.Profile, w)
			}
		}
	}
}

// able notes a weapon whose use asks for a value that a profile is without.
func (l *loader) able(r row, u Unit, profile Profile, w *Weapon) {
	for _, step := range l.stepsOf(w) {
		s := step.Need
		if _, has := profile[s.From]; s.Of == Attacker && s.From != "" && !has {
			r.Fault("weapons", reason.New("pack.armed", "unit", u.ID, "weapon", w.ID, "characteristic", s.From))
		}
	}
}

// stepsOf are the steps of the sequence that a weapon is used in.
func (l *loader) stepsOf(w *Weapon) []*Step {
	seq := l.pack.SequenceOf(w.order())
	if seq == nil {
		return nil
	}
	var steps []*Step
	for _, id := range seq.Steps {
		if step := l.pack.Step(id); step != nil {
			steps = append(steps, step)
		}
	}
	return steps
}

func (l *loader) army(r row) {
	a := Army{ID: r.id, Title: r.Text("title", MostName), Units: l.names(r.Table, "units", "unit")}
	if len(a.Units) == 0 {
		r.Fault("units", reason.New("pack.army", "army", a.ID))
	}
	l.pack.Armies = append(l.pack.Armies, a)
}

func (l *loader) muster() {
	t := l.root.InnerOr("muster")
	if t == nil {
		return
	}
	l.pack.Muster.Points = t.Numbers("points", 1, MostPoints)
	for _, inner := range t.Rows("limits") {
		l.pack.Muster.Limits = append(l.pack.Muster.Limits, l.limit(inner))
	}
	t.Close()
}

func (l *loader) limit(t *source.Table) Limit {
	limit := Limit{
		Keyword: l.name(t, "keyword", "keyword"),
		Least:   t.NumberOr("least", 0, noMost, 0), Most: t.NumberOr("most", 0, noMost, noMost),
		ForEach: t.NumberOr("for_each", 1, MostPoints, 0),
	}
	if limit.Least > limit.Most {
		t.Fault("least", reason.New("file.falling", "key", "least", "low", limit.Least, "high", limit.Most))
	}
	t.Close()
	return limit
}

// WeaponsOf are the weapons of a part of the unit: 0 for its own models, 1 for
// the first of its others.
func (u *Unit) WeaponsOf(part int) []string {
	if part > 0 && part <= len(u.Others) && len(u.Others[part-1].Weapons) > 0 {
		return u.Others[part-1].Weapons
	}
	return u.Weapons
}
