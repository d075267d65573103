package rules

import (
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Sequence is what an order sets off. A sequence of attacks has Number and
// Damage and steps of shape "each"; another has steps of shape "total".
type Sequence struct {
	ID         string
	Order      string
	Number     *Attacks
	Steps      []string
	Damage     *Damage
	RollerDies []Consequence // when who rolled falls by it
}

// Attacks says how many attacks there are.
type Attacks struct {
	From Source
	Each string // "model in range and sight", "model in reach", or "" for the unit as one
}

// Damage says what becomes of an attack that nothing stopped.
type Damage struct {
	Amount   Source
	Wounds   string // the characteristic that is crossed off
	LastSave Source // zero for none
	Spill    bool   // what is beyond a model's last wound goes on to the next
}

// Orders are all the words that begin an order, or that the rules follow by
// themselves ("fight" after a charge, "test" at the end of a turn).
var Orders = []string{"move", "run", "fall back", "hold", "cast", "shoot", "split", "charge", "fight", "test"}

func (l *loader) sequence(r row) {
	s := Sequence{ID: r.id, Order: r.OneOf("order", Orders)}
	s.Steps = l.names(r.Table, "steps", "step")
	if t := r.InnerOr("number"); t != nil {
		s.Number = l.attacks(t)
		s.Damage = l.damage(r.Inner("damage"))
	}
	s.RollerDies = l.consequences(r.Table, "if_roller_dies")
	if len(s.Steps) == 0 {
		r.Fault("steps", reason.New("pack.sequence.empty", "sequence", s.ID))
	}
	l.stepsFit(r, s)
	l.pack.Sequences = append(l.pack.Sequences, s)
}

// stepsFit notes steps whose shape does not fit the sequence, and a save of the
// models that is not the last step.
func (l *loader) stepsFit(r row, s Sequence) {
	shape := "total"
	if s.Number != nil {
		shape = "each"
	}
	for i, id := range s.Steps {
		step := l.pack.Step(id)
		switch {
		case step == nil:
		case step.Shape != shape:
			r.Fault("steps", reason.New("pack.sequence.shape", "sequence", s.ID, "step", id, "shape", shape))
		case step.PerModel && i < len(s.Steps)-1:
			r.Fault("steps", reason.New("pack.sequence.model", "sequence", s.ID, "step", id))
		}
	}
}

func (l *loader) attacks(t *source.Table) *Attacks {
	a := &Attacks{Each: t.OneOfOr("for_each", []string{"model in range and sight", "model in reach"}, "")}
	a.From.From, a.From.Of = l.from(t)
	if kind := l.kindOf(a.From); kind != "" && kind != Amount && kind != Number {
		t.Fault("from", reason.New("pack.kind", "key", "number", "from", a.From.From, "kind", string(kind), "wanted", string(Amount)))
	}
	t.Close()
	return a
}

func (l *loader) damage(t *source.Table) *Damage {
	if t == nil {
		return nil
	}
	d := &Damage{Amount: l.sourceOf(t, "amount", Amount, Number)}
	d.Wounds = l.name(t, "crosses_off", "characteristic")
	if inner := t.InnerOr("last_save"); inner != nil {
		d.LastSave = l.source(inner)
		l.fits(t, "last_save", d.LastSave, []Trait{Need})
	}
	d.Spill = t.Truth("spill", false)
	t.Close()
	return d
}
