package attack

import (
	"drumhead/engine/dice"
	"drumhead/engine/odds"
	"drumhead/engine/reason"
)

// Shape is what everything in the algebra can do that rolls dice: it is rolled,
// solved and put into words from one value.
type Shape interface {
	// Most is the most dice that Count can draw.
	Most() int
	// Count rolls it and gives the number that its law is about.
	Count(d dice.Drawer) int
	// Law is the exact law of that number. It refuses with odds.refuse.large.
	Law() (odds.Law, error)
	// Words are its rules, a sentence of the catalogue each.
	Words() []reason.Reason
}

// Kind is a row of the registry: one thing that the algebra can express. Adding
// one is adding a row here, what rolls it, what solves it and its sentence; the
// test that walks the registry fails until all of them are there and agree.
type Kind struct {
	Group string // "shape", "reroll", "natural", "number", "damage", "term", "judge" or "tie"
	ID    string // the word that packs and tests use
	Words string // id of its sentence, which is among the Words of With
	With  Shape  // an example, small enough to be rolled in every way
	Bare  Shape  // the same without it: another law
}

// Kinds is the registry.
func Kinds() []Kind {
	var all []Kind
	for _, list := range [...][]Kind{shapeKinds(), rerollRows(), naturalRows(), numberKinds(), damageKinds(), termKinds(), judgeKinds(), tieKinds()} {
		all = append(all, list...)
	}
	return all
}

// Values from which the examples are made.
var (
	fourUpStep = Each{Sides: 6, Need: AtLeast(4)}
	twoDice    = Total{Terms: []Term{{Dice: 2, Sides: 6}}, Judge: TotalAtLeast, Value: 9}
)

// hits is an attack of n tokens through steps, counted.
func hits(n int, steps ...Each) Attack { return Attack{Number: Exactly(n), Steps: steps} }

// blow is an attack of n tokens that come to a target.
func blow(n int, d Damage, segments ...Segment) Attack {
	return Attack{Number: Exactly(n), Damage: d, Ladder: Ladder{Segments: segments}}
}

func shapeKinds() []Kind {
	pool := func(n int, e Each) Pool { return Pool{Number: n, Step: e} }
	return []Kind{
		{"shape", "each", "rule.each.need", hits(2, fourUpStep), hits(2)},
		{"shape", "each, failures go on", "rule.each.save", hits(2, Each{Sides: 6, Need: AtLeast(3), On: FailsGoOn}), hits(2)},
		{"shape", "pools", "rule.pools", Pools{pool(2, fourUpStep), pool(1, fourUpStep)}, pool(2, fourUpStep)},
		{"shape", "total", "rule.total.sum", twoDice, Total{Plus: 7}},
		{"shape", "opposed", "rule.opposed", Opposed{Mine: twoDice.plain(), Theirs: twoDice.plain()}, Opposed{Mine: Total{Plus: 1}}},
		{"shape", "hull", "rule.hull", volley(nil), Pools{pool(2, fourUpStep), pool(1, fourUpStep)}},
		{"shape", "marks", "rule.marks", volley([]int{1, 2}), volley(nil)},
		{"shape", "table", "rule.table", Table{Dice: twoDice.plain(), Rows: []Row{{2, 0}, {7, 1}, {12, 2}}}, Table{Rows: []Row{{0, 1}}}},
	}
}

// volley is a small volley at a hull of three with marks, which a 1 on a d3 lets
// leak by as much as another shows.
func volley(marks []int) Volley {
	d3 := Amount{Dice: 1, Sides: 3}
	return Volley{
		Pools:  Pools{Pool{Number: 2, Step: fourUpStep}, Pool{Number: 1, Step: fourUpStep}},
		Damage: Amount{Plus: 2},
		Hull: Hull{Left: 3, Marks: marks, More: [][]Amount{{d3}, nil},
			Table: Table{Dice: Total{Terms: []Term{{Dice: 1, Sides: 3}}}, Rows: []Row{{1, 0}, {2, 1}}}},
	}
}

// plain is the total unjudged.
func (t Total) plain() Total {
	t.Judge, t.Value = Unjudged, 0
	return t
}

// rerollRows are the re-rolls, each at a step or at a total.
func rerollRows() []Kind {
	var all []Kind
	for _, k := range rerollKinds {
		row := Kind{Group: "reroll", ID: k.id, Words: k.words}
		if k.each {
			e := fourUpStep
			e.Rerolls = k.kind
			row.With, row.Bare = hits(2, e), hits(2, fourUpStep)
		} else {
			t := twoDice
			t.Rerolls = k.kind
			row.With, row.Bare = t, twoDice
		}
		all = append(all, row)
	}
	return all
}

// naturalRows are what a natural face can give: it goes on to wound, and to a
// model with a save.
func naturalRows() []Kind {
	target := Segment{Models: 2, Wounds: 2, Save: fourUpStep}
	var all []Kind
	for g, k := range giftKinds {
		bare := blow(1, Damage{Amount: Amount{Plus: 1}}, target)
		bare.Steps = []Each{fourUpStep, fourUpStep}
		with := bare
		hit := fourUpStep
		hit.Naturals = []Natural{{From: 6, Gift: Gift(g), Amount: 1}}
		with.Steps = []Each{hit, fourUpStep}
		all = append(all, Kind{"natural", k.id, k.words, with, bare})
	}
	return all
}

func numberKinds() []Kind {
	rolled := func(least int) Attack {
		return Attack{Number: Number{Per: Amount{Dice: 1, Sides: 3}, Times: 2, Least: least}, Steps: []Each{fourUpStep}}
	}
	return []Kind{
		{"number", "dice", "rule.number.dice", rolled(0), hits(2, fourUpStep)},
		{"number", "least", "rule.number.least", rolled(2), rolled(0)},
	}
}

func damageKinds() []Kind {
	two, d3 := Damage{Amount: Amount{Plus: 2}}, Damage{Amount: Amount{Dice: 1, Sides: 3}}
	spill := d3
	spill.Spill = true
	rank := Segment{Models: 2, Wounds: 2}
	saved, last, other := rank, rank, rank
	saved.Save = fourUpStep
	last.Last = fourUpStep
	other.Save, other.Other = Each{Sides: 6, Need: AtLeast(6)}, fourUpStep
	six := other
	six.Other = Each{}
	hurt := blow(2, two, rank)
	hurt.Ladder.Rung = 1
	return []Kind{
		{"damage", "packet", "rule.damage", blow(2, d3, rank), hits(2)},
		{"damage", "spill", "rule.spill", blow(2, spill, rank), blow(2, d3, rank)},
		{"damage", "save", "rule.model.save", blow(2, two, saved), blow(2, two, rank)},
		{"damage", "second save", "rule.model.other", blow(2, two, other), blow(2, two, six)},
		{"damage", "last_save", "rule.model.last", blow(2, two, last), blow(2, two, rank)},
		{"damage", "segment", "rule.model.falls", blow(2, two, Segment{Models: 1, Wounds: 2}, saved), blow(2, two, rank)},
		{"damage", "carried wounds", "rule.model.hurt", hurt, blow(2, two, rank)},
	}
}

func termKinds() []Kind {
	of := func(t Term) Total { return Total{Terms: []Term{t}} }
	return []Kind{
		{"term", "best", "rule.term.best", of(Term{Dice: 3, Sides: 6, Keep: 2}), of(Term{Dice: 2, Sides: 6})},
		{"term", "worst", "rule.term.worst", of(Term{Dice: 3, Sides: 6, Keep: -2}), of(Term{Dice: 2, Sides: 6})},
		{"term", "open-ended", "rule.term.open", of(Term{Dice: 1, Sides: 6, Open: 2}), of(Term{Dice: 1, Sides: 6})},
		{"term", "multiplied", "rule.term.times", of(Term{Dice: 1, Sides: 6, Times: 10}), of(Term{Dice: 1, Sides: 6})},
	}
}

func judgeKinds() []Kind {
	var all []Kind
	bare := Judged{twoDice.plain()}
	for j, words := range judgeWords {
		if words == "" {
			continue
		}
		t := twoDice
		t.Judge = Judge(j)
		all = append(all, Kind{"judge", judgeIDs[j], words, Judged{t}, bare})
	}
	return all
}

func tieKinds() []Kind {
	one := Total{Terms: []Term{{Dice: 1, Sides: 6}}}
	two := Total{Terms: []Term{{Dice: 1, Sides: 3}}}
	var all []Kind
	for tie, words := range tieWords {
		with, bare := Opposed{Mine: one, Theirs: two, Tie: Tie(tie)}, Opposed{Mine: one, Theirs: two}
		if Tie(tie) == TieStands {
			bare.Tie = TieToMine
		}
		all = append(all, Kind{"tie", tieIDs[tie], words, with, bare})
	}
	return all
}

// Count rolls the attack and gives the wounds crossed off; of an attack without a
// target, what came through.
func (a Attack) Count(d dice.Drawer) int {
	r := a.Roll(d)
	if len(a.Ladder.Segments) == 0 {
		return r.Through
	}
	return r.Crossed
}

// Law is the law of Count.
func (a Attack) Law() (odds.Law, error) {
	if len(a.Ladder.Segments) == 0 {
		return a.Through()
	}
	s, err := a.Solve()
	if err != nil {
		return odds.Law{}, err
	}
	return s.Crossed(a.Ladder.Rung), nil
}

// Most is the most dice that the pool can draw.
func (p Pool) Most() int { return p.Number * p.Step.dicePerToken() }

// Count rolls the pool and gives what goes on.
func (p Pool) Count(d dice.Drawer) int { return p.Step.Roll(d, p.Number).On }

// Count rolls both pools and gives what is left.
func (p Pools) Count(d dice.Drawer) int { return p.Roll(d).Left }

// Count rolls the total and gives it.
func (t Total) Count(d dice.Drawer) int { return t.Roll(d).Total }

// Count rolls both sides: 0 the second wins, 1 neither, 2 the first.
func (o Opposed) Count(d dice.Drawer) int { return o.Roll(d).Winner + 1 }

// Count rolls the dice and gives the result.
func (t Table) Count(d dice.Drawer) int { return t.Roll(d).Result }

// Judged is a total of which only the judgement counts: 1 if it passes, else 0.
type Judged struct{ Total }

// Count rolls the total and judges it.
func (j Judged) Count(d dice.Drawer) int { return truth(j.Roll(d).Passed) }

// Law is the law of the judgement.
func (j Judged) Law() (odds.Law, error) {
	law, err := j.Total.Law()
	if err != nil {
		return law, err
	}
	out := odds.Law{Chance: make([]float64, 2)}
	for i, p := range law.Chance {
		out.Chance[truth(j.judge(law.Least+i))] += p
	}
	return out, nil
}
