package rules

import (
	"slices"
	"strconv"

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
	Attackers      Side = "attackers" // all that attack together, for a sum
	Targets        Side = "targets"
)

// The closed sets of sides: who rolls, whose value is taken, whose sum.
var (
	Rollers = []string{string(Attacker), string(Target), string(Self), string(Caster), string(OpposingCaster)}
	Owners  = []string{string(Attacker), string(Target), string(Self), string(Caster), string(OfWeapon), string(OfPower)}
	Sums    = []string{string(Attackers), string(Targets)}
)

// Measures and Counts are what a value may be measured or counted from.
var (
	Measures = []string{"gap"} // inches between attacker and target
	Counts   = []string{"models lost this turn"}
)

// Source says where a value of a step comes from. Exactly one of From, Fixed,
// Chart, Measure, Sum, Count and Total is set.
type Source struct {
	From    string      // a characteristic, or a key of a weapon or a power
	Of      Side        // with From and Sum
	Fixed   attack.Need // as the pack has it
	Plain   int         // a number as the pack has it, with IsPlain
	IsPlain bool
	Chart   string
	Measure string
	Less    reason.Inches // taken off the measure
	Sum     string        // a characteristic, added up over all units of a side
	Count   string
	Total   string // the step whose total is meant
}

// SourceKeys are the keys of which a value has exactly one.
var SourceKeys = []string{"from", "fixed", "chart", "measure", "sum", "count", "total"}

// WeaponNumbers and PowerNumbers are what may be taken from a weapon or a power.
var (
	WeaponNumbers = []string{"strength", "piercing", "attacks", "damage"}
	PowerNumbers  = []string{"value"}
)

// source reads a table such as { from = "save", of = "target" }.
func (l *loader) source(t *source.Table) Source {
	var s Source
	if t == nil {
		return s
	}
	defer t.Close()
	if n := count(t, SourceKeys); n != 1 {
		t.FaultAt(t.Place(), reason.New("pack.sources", "number", n, "known", slices.Clone(SourceKeys)))
		return s
	}
	switch {
	case t.Has("from"):
		s.From, s.Of = l.from(t)
	case t.Has("fixed"):
		l.fixed(t, &s)
	case t.Has("chart"):
		s.Chart = l.name(t, "chart", "chart")
	case t.Has("measure"):
		s.Measure = t.OneOf("measure", Measures)
		s.Less = reason.Inches(10 * t.NumberOr("less", 0, MostInches, 0))
	case t.Has("sum"):
		s.Sum, s.Of = l.name(t, "sum", "characteristic"), Side(t.OneOf("of", Sums))
		l.fitsTrait(t, "sum", s.Sum, Number)
	case t.Has("count"):
		s.Count = t.OneOf("count", Counts)
	case t.Has("total"):
		s.Total = l.name(t, "total", "step")
	}
	return s
}

// fixed reads a need as text or a number as it is.
func (l *loader) fixed(t *source.Table, s *Source) {
	if _, isText := t.Plain("fixed"); isText {
		s.Fixed = l.need(t, "fixed")
		return
	}
	s.Plain, s.IsPlain = t.Number("fixed", 0, MostNumber), true
}

// from reads from and of: a characteristic of a unit, or a number of a weapon
// or a power.
func (l *loader) from(t *source.Table) (string, Side) {
	of := Side(t.OneOf("of", Owners))
	switch of {
	case "":
		t.Has("from")
		return "", of
	case OfWeapon:
		return t.OneOf("from", WeaponNumbers), of
	case OfPower:
		return t.OneOf("from", PowerNumbers), of
	}
	return l.name(t, "from", "characteristic"), of
}

// fitsTrait notes a characteristic of another kind than its place asks for.
func (l *loader) fitsTrait(t *source.Table, key, id string, wanted ...Trait) {
	if c := l.pack.Characteristic(id); c != nil && !slices.Contains(wanted, c.Kind) {
		t.Fault(key, reason.New("pack.kind", "key", key, "from", c.ID, "kind", string(c.Kind), "wanted", string(wanted[0])))
	}
}

// kindOf is the kind of value that a source gives, "" when nothing can be said.
func (l *loader) kindOf(s Source) Trait {
	switch {
	case s.Chart != "":
		if c := l.pack.Chart(s.Chart); c != nil && c.By == ByRatio {
			return Column
		}
		return Need
	case s.Fixed != attack.Need{}:
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
		t.Fault(key, reason.New("pack.kind", "key", key, "from", s.called(), "kind", string(kind), "wanted", string(kinds[0])))
	}
}

// called is what stands in the file for a source.
func (s Source) called() string {
	switch {
	case s.IsPlain:
		return strconv.Itoa(s.Plain)
	case s.Fixed != attack.Need{}:
		return s.Fixed.String()
	}
	return s.From + s.Chart + s.Measure + s.Sum + s.Count + s.Total
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
