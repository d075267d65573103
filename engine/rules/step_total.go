package rules

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Total is dice added up, and how the sum is judged.
type Total struct {
	Dice     attack.Amount
	Open     int // a die on its top face is rolled again and added, so often at the most
	Plus     []Source
	Judge    attack.Judge
	By       Source // what the total is judged by
	Opponent *Opponent
	Naturals []Shown
	Excess   *Consequence  // for each point beyond what at_most allows
	Within   reason.Inches // how near the roller must be; 0 for anywhere
}

// Opponent is the other side of an opposed roll.
type Opponent struct {
	Who  Side
	Dice attack.Amount
	Plus []Source
	Tie  attack.Tie
}

// Shown is what the natural faces of a total do, apart from their sum.
type Shown struct {
	Top   bool // all dice show their highest face; else all show 1
	Fails bool // the total fails whatever it is
	Then  []Consequence
}

// judges are the keys by which a total is judged, of which it has exactly one;
// the last is an opposed roll.
var judges = []struct {
	key   string
	judge attack.Judge
	kinds []Trait
}{
	{"at_least", attack.TotalAtLeast, []Trait{Number, Inches}},
	{"at_most", attack.TotalAtMost, []Trait{Number}},
	{"more_than", attack.TotalMoreThan, []Trait{Number}},
	{"against", attack.Unjudged, nil},
}

// Ties says what equal totals of an opposed roll mean.
var Ties = []string{"stands", "to mine", "to theirs", "roll again"}

// ShownFaces is which natural faces of a total do something.
var ShownFaces = []string{"all ones", "all top"}

// MostOpen is how often an open-ended die may go on.
const MostOpen = 20

func (l *loader) total(t *source.Table, s *Step) {
	s.Dice = l.amount(t, "dice")
	if s.Dice.Dice == 0 && t.Has("dice") {
		t.Fault("dice", reason.New("pack.dice", "step", s.ID))
	}
	if open := t.InnerOr("open_ended"); open != nil {
		s.Open = open.Number("most", 1, MostOpen)
		open.Close()
	}
	s.Total.Plus = l.sourcesOf(t, "plus", Number)
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
	s.Otherwise = l.consequences(t, "otherwise")
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
		switch {
		case !t.Has(j.key):
		case j.kinds == nil:
			s.Opponent = l.opponent(t)
		default:
			s.Judge, s.By = j.judge, l.sourceOf(t, j.key, j.kinds...)
		}
	}
}

// opponent reads the other side of an opposed roll, and what a tie means.
func (l *loader) opponent(t *source.Table) *Opponent {
	o := &Opponent{}
	tie := t.OneOf("tie", Ties)
	for i, word := range Ties {
		if word == tie {
			o.Tie = attack.Tie(i)
		}
	}
	inner := t.Inner("against")
	if inner == nil {
		return o
	}
	o.Who = Side(inner.OneOf("roller", Rollers))
	o.Dice = l.amount(inner, "dice")
	o.Plus = l.sourcesOf(inner, "plus", Number)
	inner.Close()
	return o
}

func (l *loader) shown(t *source.Table) Shown {
	s := Shown{Top: t.OneOf("show", ShownFaces) == "all top"}
	s.Fails = t.OneOfOr("result", []string{"fails"}, "") == "fails"
	s.Then = l.consequences(t, "then")
	t.Close()
	return s
}
