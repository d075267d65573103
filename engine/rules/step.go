package rules

import (
	"strconv"
	"strings"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Step is one roll of a sequence. Shape "each" rolls one die for each token and
// uses the first block of members, "total" adds dice up and uses the second.
type Step struct {
	ID     string
	Words  string
	Shape  string
	Roller Side

	Sides    int // of the die
	Need     Source
	Better   []Source // make the need easier; not capped
	Worse    []Source // make the need harder; not capped: piercing
	Least    int      // modifiers by effects are capped at these two
	Most     int
	PerModel bool // judged for the model that would be hurt next
	OneFails bool
	TopGoes  bool // a natural maximum passes whatever the need
	On       attack.On

	Dice     attack.Amount
	Plus     []Source
	Judge    attack.Judge
	By       Source // what the total is judged by
	Naturals []Shown
	Excess   *Consequence  // for each point beyond what at_most allows
	Within   reason.Inches // how near the roller must be; 0 for anywhere
	Then     []Consequence // when the total passes
}

// Shown is what the natural faces of a total do, apart from their sum.
type Shown struct {
	Top   bool // all dice show their highest face; else all show 1
	Fails bool // the total fails whatever it is
	Then  []Consequence
}

// noCap is the cap of modifiers where the pack states none.
const noCap = 20

// judges are the keys by which a total is judged, of which it has exactly one.
var judges = []struct {
	key   string
	judge attack.Judge
	kinds []Trait
}{
	{"at_least", attack.TotalAtLeast, []Trait{Number, Inches}},
	{"at_most", attack.TotalAtMost, []Trait{Number}},
	{"more_than", attack.TotalMoreThan, []Trait{Number}},
}

func (l *loader) step(r row) {
	s := Step{ID: r.id, Words: r.words(), Shape: r.OneOf("shape", []string{"each", "total"})}
	s.Roller = Side(r.OneOf("roller", []string{string(Attacker), string(Target), string(Self), string(Caster), string(OpposingCaster)}))
	switch s.Shape {
	case "each":
		l.each(r.Table, &s)
	case "total":
		l.total(r.Table, &s)
	}
	l.pack.Steps = append(l.pack.Steps, s)
}

func (l *loader) each(t *source.Table, s *Step) {
	s.Sides = l.die(t)
	s.Need = l.sourceOf(t, "need", Need)
	s.Better = l.sourcesOf(t, "better", Number)
	s.Worse = l.sourcesOf(t, "worse", Number)
	s.Least, s.Most = -noCap, noCap
	if caps := t.InnerOr("modifiers"); caps != nil {
		s.Least = caps.NumberOr("least", -noCap, 0, -noCap)
		s.Most = caps.NumberOr("most", 0, noCap, noCap)
		caps.Close()
	}
	s.PerModel = t.OneOfOr("against", []string{"model"}, "") == "model"
	s.OneFails = t.OneOfOr("one", []string{"fails"}, "") == "fails"
	s.TopGoes = t.OneOfOr("top", []string{"passes"}, "") == "passes"
	if t.OneOfOr("goes_on", []string{"passes", "fails"}, "passes") == "fails" {
		s.On = attack.FailsGoOn
	}
	if s.PerModel && s.On != attack.FailsGoOn {
		t.Fault("against", reason.New("pack.step.model", "step", s.ID))
	}
}

// die reads "d6": one die.
func (l *loader) die(t *source.Table) int {
	written := t.Text("die", MostID)
	sides, err := strconv.Atoi(strings.TrimPrefix(written, "d"))
	if written == "" {
		return 6
	}
	if err != nil || !strings.HasPrefix(written, "d") || sides < attack.LeastSides || sides > attack.MostSides {
		t.Fault("die", reason.New("pack.die", "written", written, "least", attack.LeastSides, "most", attack.MostSides))
		return 6
	}
	return sides
}

func (l *loader) total(t *source.Table, s *Step) {
	s.Dice = l.amount(t, "dice")
	if s.Dice.Dice == 0 && t.Has("dice") {
		t.Fault("dice", reason.New("pack.dice", "step", s.ID))
	}
	s.Plus = l.sourcesOf(t, "plus", Number)
	l.judge(t, s)
	for _, inner := range t.Rows("natural") {
		s.Naturals = append(s.Naturals, l.shown(inner))
	}
	if inner := t.InnerOr("excess"); inner != nil {
		excess := l.consequence(inner)
		s.Excess = &excess
		if s.Judge != attack.TotalAtMost {
			t.Fault("excess", reason.New("pack.excess", "step", s.ID))
		}
	}
	if t.Has("within") {
		s.Within = l.inches(t, "within")
	}
	s.Then = l.consequences(t, "then")
}

// judge reads how a total is judged: by exactly one of the keys.
func (l *loader) judge(t *source.Table, s *Step) {
	var keys []string
	for _, j := range judges {
		keys = append(keys, j.key)
	}
	if n := count(t, keys); n != 1 {
		t.FaultAt(t.Place(), reason.New("pack.judges", "step", s.ID, "number", n, "known", keys))
		return
	}
	for _, j := range judges {
		if t.Has(j.key) {
			s.Judge, s.By = j.judge, l.sourceOf(t, j.key, j.kinds...)
		}
	}
}

func (l *loader) shown(t *source.Table) Shown {
	s := Shown{Top: t.OneOf("show", []string{"all ones", "all top"}) == "all top"}
	s.Fails = t.OneOfOr("result", []string{"fails"}, "") == "fails"
	s.Then = l.consequences(t, "then")
	t.Close()
	return s
}
