package rules

import (
	"slices"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Side says whose value, die or effect something is.
type Side string

// The sides of a roll.
const (
	Attacker       Side = "attacker"
	Target         Side = "target"
	Self           Side = "self"
	Caster         Side = "caster"
	OpposingCaster Side = "opposing caster"
	OfWeapon       Side = "weapon"
	OfPower        Side = "power"
)

// Source says where a value of a step comes from. Exactly one of From, Fixed,
// Chart, Measure, Count and Total is set.
type Source struct {
	From    string // a characteristic, or a key of a weapon or a power
	Of      Side   // with From
	Fixed   attack.Need
	Chart   string
	Measure string        // "gap": inches between attacker and target
	Less    reason.Inches // taken off the measure
	Count   string        // "models lost this turn"
	Total   string        // the step whose total is meant
}

// sources are the keys of which a value has exactly one.
var sources = []string{"from", "fixed", "chart", "measure", "count", "total"}

// weaponNumbers and powerNumbers are what may be taken from a weapon or a power.
var (
	weaponNumbers = []string{"strength", "piercing", "attacks", "damage"}
	powerNumbers  = []string{"value"}
)

// source reads a table such as { from = "save", of = "target" }.
func (l *loader) source(t *source.Table) Source {
	var s Source
	if t == nil {
		return s
	}
	defer t.Close()
	if n := count(t, sources); n != 1 {
		t.FaultAt(t.Place(), reason.New("pack.sources", "number", n, "known", slices.Clone(sources)))
		return s
	}
	switch {
	case t.Has("from"):
		s.From, s.Of = l.from(t)
	case t.Has("fixed"):
		s.Fixed = l.need(t, "fixed")
	case t.Has("chart"):
		s.Chart = l.name(t, "chart", "chart")
	case t.Has("measure"):
		s.Measure = t.OneOf("measure", []string{"gap"})
		s.Less = reason.Inches(10 * t.NumberOr("less", 0, MostInches, 0))
	case t.Has("count"):
		s.Count = t.OneOf("count", []string{"models lost this turn"})
	case t.Has("total"):
		s.Total = l.name(t, "total", "step")
	}
	return s
}

// from reads from and of: a characteristic of a unit, or a number of a weapon
// or a power.
func (l *loader) from(t *source.Table) (string, Side) {
	of := Side(t.OneOf("of", []string{string(Attacker), string(Target), string(Self), string(Caster), string(OfWeapon), string(OfPower)}))
	switch of {
	case "":
		t.Has("from")
		return "", of
	case OfWeapon:
		return t.OneOf("from", weaponNumbers), of
	case OfPower:
		return t.OneOf("from", powerNumbers), of
	}
	return l.name(t, "from", "characteristic"), of
}

// kindOf is the kind of value that a source gives, "" when it is no need and no
// number by itself.
func (l *loader) kindOf(s Source) Trait {
	switch {
	case s.Chart != "" || s.Fixed != attack.Need{}:
		return Need
	case s.Measure != "":
		return Inches
	case s.From == "":
		return Number
	case s.Of == OfWeapon && (s.From == "attacks" || s.From == "damage"):
		return Amount
	case s.Of == OfWeapon || s.Of == OfPower:
		return Number
	}
	if c := l.pack.Characteristic(s.From); c != nil {
		return c.Kind
	}
	return ""
}

// sourceOf reads the source at a key that must be there and whose value must be
// of one of the kinds.
func (l *loader) sourceOf(t *source.Table, key string, kinds ...Trait) Source {
	s := l.source(t.Inner(key))
	l.fits(t, key, s, kinds)
	return s
}

// fits notes a source whose value is of another kind than its place asks for.
func (l *loader) fits(t *source.Table, key string, s Source, kinds []Trait) {
	if s == (Source{}) {
		return // a fault was noted already, or it was left out
	}
	if kind := l.kindOf(s); kind != "" && !slices.Contains(kinds, kind) {
		t.Fault(key, reason.New("pack.kind", "key", key, "from", s.From, "kind", string(kind), "wanted", string(kinds[0])))
	}
}

// sourcesOf reads a list of sources that may be left out.
func (l *loader) sourcesOf(t *source.Table, key string, kinds ...Trait) []Source {
	var all []Source
	for _, inner := range t.Rows(key) {
		s := l.source(inner)
		l.fits(t, key, s, kinds)
		all = append(all, s)
	}
	return all
}

// count is how many of the keys the table has; each counts as asked for.
func count(t *source.Table, keys []string) int {
	n := 0
	for _, key := range keys {
		if t.Has(key) {
			n++
		}
	}
	return n
}

// Consequence is what changes in the battle. Do is one of the closed set; the
// members that it names are set.
type Consequence struct {
	Do     string        // "sure", "flee", "status", "cancel"
	Who    string        // "caster", "self", "target", "every unit"
	Amount attack.Amount // sure: points of damage that no save stops
	Each   int           // flee: models for each point of the excess
	Status string        // status: which one
	What   string        // cancel: the step whose outcome does not happen
	Within reason.Inches // every unit: so near to who rolled; 0 for no limit
}

var consequences = []string{"sure", "flee", "status", "cancel"}

// consequence reads a table such as { do = "sure", amount = "d3", who = "caster" }.
func (l *loader) consequence(t *source.Table) Consequence {
	c := Consequence{Do: t.OneOf("do", consequences)}
	switch c.Do {
	case "sure":
		c.Amount, c.Who = l.amount(t, "amount"), l.who(t)
	case "flee":
		c.Each, c.Who = t.Number("each", 1, MostModels), l.who(t)
	case "status":
		c.Status, c.Who = l.name(t, "status", "status"), l.who(t)
	case "cancel":
		c.What = l.name(t, "what", "step")
	default:
		return c
	}
	if t.Has("within") {
		c.Within = l.inches(t, "within")
	}
	t.Close()
	return c
}

func (l *loader) who(t *source.Table) string {
	return t.OneOf("who", []string{"caster", "self", "target", "every unit"})
}

func (l *loader) consequences(t *source.Table, key string) []Consequence {
	var all []Consequence
	for _, inner := range t.Rows(key) {
		all = append(all, l.consequence(inner))
	}
	return all
}
