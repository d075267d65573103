package rules

import (
	"slices"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Sequence is what an order sets off. What it does depends on the shape of its
// steps: attacks (each, with Number and Damage), pools against pools (with
// Damage), a roll on a table, totals, or dice for the unit itself (each, with a
// number of their own).
type Sequence struct {
	ID         string
	Order      string
	Number     *Attacks
	Steps      []string
	Damage     *Damage
	CrossesOff string        // what the consequence "cross off" crosses off, without Damage
	Reach      Source        // how far the order reaches: inches; zero for as far as the dice carry
	When       []Condition   // test: who has to
	Own        bool          // test: only units of the side whose turn ends
	RollerDies []Consequence // when who rolled falls by it
	Blocked    []Consequence // for who cannot retreat
}

// Attacks says how many attacks there are.
type Attacks struct {
	From Source
	Each string // see ForEach, or "" for the unit as one
}

// ForEach is what a number of attacks may be made for.
var ForEach = []string{"model in range and sight", "model in reach"}

// Damage says what becomes of an attack that nothing stopped.
type Damage struct {
	Amount   Source
	Plain    attack.Amount // without Amount
	Wounds   string        // the characteristic that is crossed off
	LastSave Source        // zero for none
	Spill    bool          // what is beyond a model's last wound goes on to the next
	Marks    string        // the characteristic with marks: crossing one looks up Table
	Table    string
}

// Orders are all the words that begin an order, or that the rules follow by
// themselves ("fight" after a charge, "test" at the end of a turn).
var Orders = []string{"move", "run", "fall back", "hold", "cast", "shoot", "split", "charge", "fight", "test"}

// sequenceKind says what a sequence is, by its first step.
type sequenceKind struct {
	kind   string
	orders []string // that it may be for
	steps  int      // how many it may have
}

var sequenceKinds = []sequenceKind{
	{"attacks", []string{"shoot", "fight"}, 12},
	{"pools", []string{"shoot", "charge", "fight"}, 1},
	{"table", []string{"shoot", "charge", "fight"}, 1},
	{"opposed", []string{"charge", "fight"}, 1},
	{"casting", []string{"cast"}, 2},
	{"total", []string{"run", "charge", "test"}, 1},
	{"dice", []string{"hold"}, 1},
}

// SideOfTest is whose units are tested.
var SideOfTest = []string{"own", "both sides"}

func (l *loader) sequence(r row) {
	s := Sequence{ID: r.id, Order: r.OneOf("order", Orders)}
	s.Steps = l.names(r.Table, "steps", "step")
	if t := r.InnerOr("number"); t != nil {
		s.Number = l.attacks(t)
	}
	if t := r.InnerOr("damage"); t != nil {
		s.Damage = l.damage(t)
	}
	s.CrossesOff = l.nameOr(r.Table, "crosses_off", "characteristic")
	l.fitsTrait(r.Table, "crosses_off", s.CrossesOff, Number)
	if t := r.InnerOr("reach"); t != nil {
		s.Reach = l.source(t)
		l.fits(r.Table, "reach", s.Reach, []Trait{Inches, Number})
	}
	s.When = l.conditions(r.Table, "when", 1)
	s.Own = r.OneOfOr("side", SideOfTest, "both sides") == "own"
	s.RollerDies = l.consequences(r.Table, "if_roller_dies")
	s.Blocked = l.consequences(r.Table, "blocked_retreat")
	if len(s.Steps) == 0 {
		r.Fault("steps", reason.New("pack.sequence.empty", "sequence", s.ID))
	}
	if l.pack.SequenceOf(s.Order) != nil {
		r.Fault("order", reason.New("pack.sequence.twice", "order", s.Order))
	}
	l.stepsFit(r, s)
	l.pack.Sequences = append(l.pack.Sequences, s)
}

// stepsFit notes steps that do not go together or not with the order, and what
// their kind of sequence cannot do without.
func (l *loader) stepsFit(r row, s Sequence) {
	if len(s.Steps) == 0 || l.pack.Step(s.Steps[0]) == nil || s.Order == "" {
		return
	}
	kind := l.pack.kindOfSequence(&s)
	for i, id := range s.Steps {
		step := l.pack.Step(id)
		switch {
		case step == nil:
		case step.Shape != l.pack.Step(s.Steps[0]).Shape:
			r.Fault("steps", reason.New("pack.sequence.shape", "sequence", s.ID, "step", id, "shape", l.pack.Step(s.Steps[0]).Shape))
		case step.PerModel && i < len(s.Steps)-1:
			r.Fault("steps", reason.New("pack.sequence.model", "sequence", s.ID, "step", id))
		case i >= kind.steps:
			r.Fault("steps", reason.New("pack.sequence.steps", "sequence", s.ID, "most", kind.steps))
		}
	}
	if !slices.Contains(kind.orders, s.Order) {
		r.Fault("order", reason.New("pack.sequence.order", "sequence", s.ID, "kind", kind.kind, "order", s.Order, "known", kind.orders))
	}
	damages := kind.kind == "attacks" || kind.kind == "pools"
	switch {
	case damages && s.Damage == nil:
		r.Fault("damage", reason.New("file.missing", "key", "damage"))
	case !damages && s.Damage != nil:
		r.Fault("damage", reason.New("pack.sequence.damage", "sequence", s.ID))
	case kind.kind == "attacks" && s.Number == nil:
		r.Fault("number", reason.New("file.missing", "key", "number"))
	case kind.kind != "attacks" && s.Number != nil:
		r.Fault("number", reason.New("pack.sequence.number", "sequence", s.ID))
	}
}

// kindOfSequence tells what a sequence is by its first step.
func (p *Pack) kindOfSequence(s *Sequence) sequenceKind {
	step := p.Step(s.Steps[0])
	kind := "attacks"
	switch {
	case step == nil:
	case step.Shape == ShapePools:
		kind = "pools"
	case step.Shape == ShapeTable:
		kind = "table"
	case step.Shape == ShapeTotal && step.Opponent != nil:
		kind = "opposed"
	case step.Shape == ShapeTotal && s.Order == "cast":
		kind = "casting"
	case step.Shape == ShapeTotal:
		kind = "total"
	case step.Number != Source{}:
		kind = "dice"
	}
	return *named(sequenceKinds, kind, func(k *sequenceKind) string { return k.kind })
}

// Does tells what an order sets off: "attacks", "pools", "table", "opposed",
// "casting", "total", "dice", or "" for nothing.
func (p *Pack) Does(order string) string {
	if s := p.SequenceOf(order); s != nil && len(s.Steps) > 0 {
		return p.kindOfSequence(s).kind
	}
	return ""
}

func (l *loader) attacks(t *source.Table) *Attacks {
	a := &Attacks{Each: t.OneOfOr("for_each", ForEach, "")}
	a.From.From, a.From.Of = l.from(t)
	if kind := l.kindOf(a.From); kind != "" && kind != Amount && kind != Number {
		t.Fault("from", reason.New("pack.kind", "key", "number", "from", a.From.From, "kind", string(kind), "wanted", string(Amount)))
	}
	t.Close()
	return a
}

func (l *loader) damage(t *source.Table) *Damage {
	d := &Damage{}
	if t.IsTable("amount") {
		d.Amount = l.sourceOf(t, "amount", Amount, Number)
	} else {
		d.Plain = l.amount(t, "amount")
	}
	d.Wounds = l.name(t, "crosses_off", "characteristic")
	l.fitsTrait(t, "crosses_off", d.Wounds, Number)
	if inner := t.InnerOr("last_save"); inner != nil {
		d.LastSave = l.source(inner)
		l.fits(t, "last_save", d.LastSave, []Trait{Need})
	}
	d.Spill = t.Truth("spill", false)
	if d.Marks = l.nameOr(t, "marks", "characteristic"); d.Marks != "" {
		l.fitsTrait(t, "marks", d.Marks, Marks)
		d.Table = l.name(t, "table", "table")
		l.critical(t, d.Table)
	}
	t.Close()
	return d
}

// critical notes a table that marks cannot look up: one with columns, or one
// whose rows look up another, so that nobody could reckon what a hit does.
func (l *loader) critical(t *source.Table, id string) {
	table := l.pack.Table(id)
	if table == nil {
		return
	}
	if table.Columns != "" || len(l.pack.looksUp(id)) > 0 {
		t.Fault("table", reason.New("pack.marks.table", "table", id))
	}
}

// Crossed is the characteristic that a sequence crosses off, "" for none.
func (s *Sequence) Crossed() string {
	if s.Damage != nil {
		return s.Damage.Wounds
	}
	return s.CrossesOff
}
