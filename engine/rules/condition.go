package rules

import (
	"slices"

	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// MostNested is how deep not and any may stand in one another.
const MostNested = 3

// Condition is one fact of the table that holds or not, and its words.
type Condition struct {
	Words reason.Reason
	holds func(*scene) bool
}

// factKinds is the closed set of facts, by the key that states each.
var factKinds = []struct {
	key  string
	read fact
}{
	{"half_range", truth(func(s *scene) bool { return s.halfRange() })},
	{"cover", truth(func(s *scene) bool { return s.facts.Cover })},
	{"in_melee", truth(func(s *scene) bool { return s.facts.InMelee })},
	{"moved", truth(func(s *scene) bool { return s.facts.Moved })},
	{"charged", truth(func(s *scene) bool { return s.facts.Charged })},
	{"target_charged", truth(func(s *scene) bool { return s.facts.TargetCharged })},
	{"has", hasKeyword(Attacker)},
	{"target_has", hasKeyword(Target)},
	{"status", hasStatus(Attacker)},
	{"target_status", hasStatus(Target)},
	{"models", models(Attacker)},
	{"target_models", models(Target)},
	{"grade", (*loader).grade},
	{"within", distance(func(gap, said reason.Inches) bool { return gap > 0 && gap <= said })},
	{"beyond", distance(func(gap, said reason.Inches) bool { return gap > said })},
	{"arc", word(Arcs, func(s *scene) string { return s.facts.Arc })},
	{"terrain_between", word(Terrains, func(s *scene) string { return s.facts.Across })},
	{"lost_share", (*loader).lostShare},
	{"hurt_this_turn", truth(func(s *scene) bool { return s.attacker.HurtNow })},
}

// FactKeys are the keys that state a fact, and not and any besides.
func FactKeys() []string {
	keys := []string{"not", "any"}
	for _, fact := range factKinds {
		keys = append(keys, fact.key)
	}
	return keys
}

// Arcs are the sides of a target, as players say which one is hit; Terrains is
// what may lie between.
var (
	Arcs     = []string{"front", "flank", "rear", "bow", "stern"}
	Terrains = []string{"water", "wall", "hedge", "mud"}
)

// conditions reads if = [{ … }, …]: facts that all hold.
func (l *loader) conditions(t *source.Table, key string, depth int) []Condition {
	var all []Condition
	for _, inner := range t.Rows(key) {
		if c := l.condition(inner, depth); c.holds != nil {
			all = append(all, c)
		}
	}
	return all
}

// condition reads a table with exactly one key; nothing after a fault.
func (l *loader) condition(t *source.Table, depth int) Condition {
	n := count(t, FactKeys())
	t.Close()
	switch {
	case n == 0 && len(t.Keys()) > 0:
		return Condition{} // unknown keys are noted already
	case n != 1:
		t.FaultAt(t.Place(), reason.New("pack.condition", "number", n))
		return Condition{}
	case depth > MostNested:
		t.FaultAt(t.Place(), reason.New("pack.nested", "most", MostNested))
		return Condition{}
	case t.Has("not"):
		return l.not(t, depth)
	case t.Has("any"):
		return anyOf(l.conditions(t, "any", depth+1))
	}
	for _, fact := range factKinds {
		if t.Has(fact.key) {
			return fact.read(l, t, fact.key)
		}
	}
	return Condition{}
}

func (l *loader) not(t *source.Table, depth int) Condition {
	inner := t.Inner("not")
	if inner == nil {
		return Condition{}
	}
	c := l.condition(inner, depth+1)
	if c.holds == nil {
		return c
	}
	return Condition{reason.New("page.if.not", "what", c.Words), func(s *scene) bool { return !c.holds(s) }}
}

func anyOf(list []Condition) Condition {
	var words []reason.Reason
	for _, c := range list {
		words = append(words, c.Words)
	}
	return Condition{reason.New("page.if.any", "what", words), func(s *scene) bool {
		return slices.ContainsFunc(list, func(c Condition) bool { return c.holds(s) })
	}}
}

func allOf(list []Condition, s *scene) bool {
	for _, c := range list {
		if !c.holds(s) {
			return false
		}
	}
	return true
}

// fact is what reads one kind of fact.
type fact = func(*loader, *source.Table, string) Condition

func truth(holds func(*scene) bool) fact {
	return func(_ *loader, t *source.Table, key string) Condition {
		want := t.Truth(key, true)
		words := reason.New("page.if." + key)
		if !want {
			words = reason.New("page.if.not", "what", words)
		}
		return Condition{words, func(s *scene) bool { return holds(s) == want }}
	}
}

func hasKeyword(side Side) fact {
	return func(l *loader, t *source.Table, key string) Condition {
		word := l.name(t, key, "keyword")
		return Condition{reason.New("page.if."+key, "what", reason.Name(word)), func(s *scene) bool { return slices.Contains(s.unit(side).Keywords, word) }}
	}
}

func hasStatus(side Side) fact {
	return func(l *loader, t *source.Table, key string) Condition {
		word := l.name(t, key, "status")
		return Condition{reason.New("page.if."+key, "what", reason.Name(word)), func(s *scene) bool { return slices.Contains(s.group(side).Statuses, word) }}
	}
}

// models reads { least = 8, most = 12 }: how many stand.
func models(side Side) fact {
	return func(_ *loader, t *source.Table, key string) Condition {
		inner := t.Inner(key)
		if inner == nil {
			return Condition{}
		}
		least, most := inner.NumberOr("least", 0, MostModels, 0), inner.NumberOr("most", 0, MostModels, MostModels)
		inner.Close()
		words := reason.New("page.if."+key, "least", least, "most", most)
		if most == MostModels {
			words = reason.New("page.if."+key+"_least", "least", least)
		}
		return Condition{words, func(s *scene) bool { n := s.group(side).Models; return least <= n && n <= most }}
	}
}

// grade holds from the named grade of experience on.
func (l *loader) grade(t *source.Table, key string) Condition {
	word := t.OneOf(key, l.pack.Grades)
	grades := l.pack.Grades
	least := slices.Index(grades, word)
	return Condition{reason.New("page.if.grade", "what", reason.Name(word)), func(s *scene) bool {
		have := slices.Index(grades, s.attacker.Grade)
		return least >= 0 && have >= least
	}}
}

// distance reads a fact about how far away the target is.
func distance(holds func(gap, said reason.Inches) bool) fact {
	return func(l *loader, t *source.Table, key string) Condition {
		said := l.inches(t, key)
		return Condition{reason.New("page.if."+key, "n", said), func(s *scene) bool { return holds(s.facts.Distance, said) }}
	}
}

// word reads a fact that one of a closed set of words states.
func word(set []string, says func(*scene) string) fact {
	return func(_ *loader, t *source.Table, key string) Condition {
		said := t.OneOf(key, set)
		return Condition{reason.New("page.if."+key, "what", said), func(s *scene) bool { return says(s) == said }}
	}
}

// Shares are the parts of a unit that may be asked for, as {for, of}.
var Shares = map[string][2]int{"1/4": {1, 4}, "1/3": {1, 3}, "1/2": {1, 2}, "2/3": {2, 3}, "3/4": {3, 4}}

// ShareWords are their spellings.
var ShareWords = []string{"1/4", "1/3", "1/2", "2/3", "3/4"}

// lostShare reads { least = "1/2" }: so much of what a unit came with is crossed
// off, fallen or fled.
func (l *loader) lostShare(t *source.Table, key string) Condition {
	inner := t.Inner(key)
	if inner == nil {
		return Condition{}
	}
	written := inner.OneOf("least", ShareWords)
	share := Shares[written]
	inner.Close()
	return Condition{reason.New("page.if.lost_share", "what", written), func(s *scene) bool {
		lost, whole := s.pack.lost(s.attacker)
		return lost*share[1] >= share[0]*whole
	}}
}
