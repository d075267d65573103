package rules

import (
	"strconv"
	"strings"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Step is one roll of a sequence. Which block of members counts depends on the
// shape.
type Step struct {
	ID     string
	Words  string
	Shape  string
	Roller Side

	Each            // shape "each": one die for each token
	Theirs    *Each // shape "pools": what cancels successes of Each
	Total           // shape "total": dice that are added up
	Lookup          // shape "table"
	Then      []Consequence
	Otherwise []Consequence // when a total does not pass
}

// The shapes of steps.
const (
	ShapeEach  = "each"
	ShapePools = "pools"
	ShapeTotal = "total"
	ShapeTable = "table"
)

// Shapes is the closed set of them.
var Shapes = []string{ShapeEach, ShapePools, ShapeTotal, ShapeTable}

// Each is one die for each token.
type Each struct {
	Who      Side   // whose dice: of a pool
	Number   Source // how many dice, where no sequence says so
	Sides    int    // of the die
	Need     Source
	Better   []Source // make the need easier; not capped
	Worse    []Source // make the need harder; not capped: piercing
	Least    int      // modifiers by effects are capped at these two
	Most     int
	PerModel bool // judged for the model that would be hurt next
	OneFails bool
	TopGoes  bool // a natural maximum passes whatever the need
	On       attack.On
}

// Lookup is a roll on a table. Effects shift its column, capped at Least and Most.
type Lookup struct {
	Table      string
	ShiftLeast int
	ShiftMost  int
}

// noCap is the cap of modifiers where the pack states none.
const noCap = 20

func (l *loader) step(r row) {
	s := Step{ID: r.id, Words: r.words(), Shape: r.OneOf("shape", Shapes)}
	if s.Shape != ShapePools {
		s.Roller = Side(r.OneOf("roller", Rollers))
	}
	switch s.Shape {
	case ShapeEach:
		s.Each = l.each(r.Table)
		l.eachAlone(r.Table, &s)
	case ShapePools:
		s.Each = l.pool(r.Inner("mine"))
		theirs := l.pool(r.Inner("theirs"))
		s.Theirs, s.Roller = &theirs, s.Who
	case ShapeTotal:
		l.total(r.Table, &s)
	case ShapeTable:
		l.lookup(r.Table, &s)
	}
	l.pack.Steps = append(l.pack.Steps, s)
}

func (l *loader) each(t *source.Table) Each {
	e := Each{Sides: l.die(t), Need: l.sourceOf(t, "need", Need)}
	e.Better = l.sourcesOf(t, "better", Number)
	e.Worse = l.sourcesOf(t, "worse", Number)
	e.Least, e.Most = l.caps(t, "modifiers")
	e.PerModel = t.OneOfOr("against", []string{"model"}, "") == "model"
	e.OneFails = t.OneOfOr("one", []string{"fails"}, "") == "fails"
	e.TopGoes = t.OneOfOr("top", []string{"passes"}, "") == "passes"
	if t.OneOfOr("goes_on", []string{"passes", "fails"}, "passes") == "fails" {
		e.On = attack.FailsGoOn
	}
	if e.PerModel && e.On != attack.FailsGoOn {
		t.Fault("against", reason.New("pack.step.model"))
	}
	return e
}

// eachAlone reads what only a step has that is no part of an attack: how many
// dice there are, and what each success does.
func (l *loader) eachAlone(t *source.Table, s *Step) {
	if inner := t.InnerOr("number"); inner != nil {
		s.Number = l.source(inner)
		l.fits(t, "number", s.Number, []Trait{Number})
	}
	s.Then = l.consequences(t, "then")
	if (s.Number == Source{}) != (len(s.Then) == 0) {
		t.Fault("number", reason.New("pack.step.alone", "step", s.ID))
	}
}

// pool reads one side of pools.
func (l *loader) pool(t *source.Table) Each {
	if t == nil {
		return Each{Sides: 6}
	}
	e := l.each(t)
	e.Who = Side(t.OneOf("roller", Rollers))
	e.Number = l.sourceOf(t, "number", Number, Amount)
	if e.Number.Of != OfWeapon {
		l.fits(t, "number", e.Number, []Trait{Number})
	}
	if e.PerModel || e.On == attack.FailsGoOn {
		t.FaultAt(t.Place(), reason.New("pack.step.pool"))
	}
	t.Close()
	return e
}

// caps reads { least = -2, most = 2 }.
func (l *loader) caps(t *source.Table, key string) (least, most int) {
	inner := t.InnerOr(key)
	if inner == nil {
		return -noCap, noCap
	}
	least, most = inner.NumberOr("least", -noCap, 0, -noCap), inner.NumberOr("most", 0, noCap, noCap)
	inner.Close()
	return least, most
}

func (l *loader) lookup(t *source.Table, s *Step) {
	s.Table = l.name(t, "table", "table")
	s.ShiftLeast, s.ShiftMost = l.caps(t, "shift")
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
