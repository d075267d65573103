package rules

import (
	"slices"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// Phase is a part of a player's turn and the order words that belong to it.
type Phase struct {
	ID     string
	Allows []string
}

// Movement is how units move.
type Movement struct {
	Pace           string        // the characteristic that says how far
	RunAdds        attack.Amount // inches
	RunStatus      string
	FallBackStatus string
	Spacing        reason.Inches // kept from enemy models unless charging
	Cohesion       reason.Inches // models of a unit stay so near to another of it
}

// Melee is how a fight after a charge goes.
type Melee struct {
	Strikes string // "charger first": the other side strikes with who is left; "together": both with all
}

// ChargerFirst and Together are the orders of blows.
const (
	ChargerFirst = "charger first"
	Together     = "together"
)

// Standing is what is done when a player left no word.
type Standing struct {
	WhoFalls    string
	Save        string
	Reroll      string
	Counter     string
	WhenCharged string
}

// Scenario is what a battle is about.
type Scenario struct {
	ID         string
	Title      string
	Words      string
	Turns      int // game turns: each player has one turn in each
	Holds      int // points for each objective held at the end of one's own turn
	Objectives []Objective
}

// Objective is a place worth holding.
type Objective struct{ ID, Title string }

// Objective finds an objective, nil if there is none.
func (s *Scenario) Objective(id string) *Objective {
	return named(s.Objectives, id, func(o *Objective) string { return o.ID })
}

func (l *loader) phase(r row) {
	p := Phase{ID: r.id}
	words, places := r.OneOfEach("allows", Orders)
	for i, word := range words {
		if l.pack.PhaseOf(word) >= 0 || slices.Contains(p.Allows, word) {
			r.FaultAt(places[i], reason.New("pack.phase.twice", "order", word))
			continue
		}
		p.Allows = append(p.Allows, word)
	}
	if len(words) == 0 {
		r.Fault("allows", reason.New("pack.phase.empty", "phase", r.id))
	}
	l.pack.Phases = append(l.pack.Phases, p)
}

// turn reads the tables that stand once: movement, melee, re-rolls, powers.
func (l *loader) turn() {
	p := l.pack
	if t := l.root.Inner("movement"); t != nil {
		p.Movement = Movement{Pace: l.name(t, "pace", "characteristic"), Spacing: l.inches(t, "spacing"), Cohesion: l.inches(t, "cohesion")}
		if run := t.InnerOr("run"); run != nil {
			p.Movement.RunAdds, p.Movement.RunStatus = l.amount(run, "adds"), l.nameOr(run, "status", "status")
			run.Close()
		}
		if back := t.InnerOr("fall_back"); back != nil {
			p.Movement.FallBackStatus = l.nameOr(back, "status", "status")
			back.Close()
		}
		if c := p.Characteristic(p.Movement.Pace); c != nil && c.Kind != Inches {
			t.Fault("pace", reason.New("pack.kind", "key", "pace", "from", c.ID, "kind", string(c.Kind), "wanted", string(Inches)))
		}
		t.Close()
	}
	if t := l.root.Inner("melee"); t != nil {
		p.Melee.Strikes = t.OneOf("strikes", []string{ChargerFirst, Together})
		t.Close()
	}
	if t := l.root.InnerOr("rerolls"); t != nil {
		p.RerollsEachTurn = t.Number("each_turn", 0, 20)
		t.Close()
	}
	if t := l.root.InnerOr("powers"); t != nil {
		p.PowersKnown = t.Number("known", 1, 20)
		t.Close()
	}
}

func (l *loader) standing() {
	t := l.root.Inner("standing")
	if t == nil {
		return
	}
	l.pack.Standing = Standing{
		WhoFalls:    t.OneOf("who_falls", []string{"plainest first", "farthest first", "out of sight first"}),
		Save:        t.OneOf("save", []string{"best", "last save only"}),
		Reroll:      t.OneOf("reroll", []string{"first miss", "worst first miss", "never"}),
		Counter:     t.OneOf("counter", []string{"always", "never"}),
		WhenCharged: t.OneOf("when_charged", []string{"receive", "fire and receive"}),
	}
	t.Close()
}

func (l *loader) scenario(r row) {
	s := Scenario{
		ID: r.id, Title: r.Text("title", MostName), Words: r.TextOr("words", MostWords, ""),
		Turns: r.Number("turns", 1, MostTurns), Holds: r.Number("holds", 0, MostNumber),
	}
	seen := map[string]bool{}
	for _, t := range r.Rows("objective") {
		o := Objective{ID: l.id(t), Title: t.Text("title", MostName)}
		if seen[o.ID] {
			t.Fault("id", reason.New("pack.repeated", "kind", "objective", "id", o.ID))
		}
		seen[o.ID] = true
		s.Objectives = append(s.Objectives, o)
		t.Close()
	}
	l.pack.Scenarios = append(l.pack.Scenarios, s)
}
