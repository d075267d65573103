package rules

import (
	"slices"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
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
	Strikes string        // see Strikes
	By      string        // the characteristic that decides, for ByCharacteristic
	CloseUp reason.Inches // models move so far into contact; 0: nobody says
}

// Strikes is the closed set of orders of blows. Charger first: the other side
// strikes with who is left. Together: both with all. By characteristic: the
// higher one first; equal ones together.
var Strikes = []string{ChargerFirst, Together, ByCharacteristic}

// The orders of blows.
const (
	ChargerFirst     = "charger first"
	Together         = "together"
	ByCharacteristic = "characteristic"
)

// Standing is what is done when a player left no word.
type Standing struct {
	WhoFalls    string
	Save        string
	Reroll      string // which die a player's standing order has rolled again
	Counter     string
	WhenCharged string
	Split       string // what is left when a target is gone
	Fight       string // whom, with several enemies in contact
	FollowUp    string
	RetreatWay  string
	Mishap      string
	JoinLeave   string
}

// StandingKeys are the decisions of [standing] with what each may say: only what
// the battle acts on, so that no pack promises more. The first value holds where a
// key may be left out and is.
var StandingKeys = []struct {
	Key    string
	Values []string
	Must   bool
}{
	{"who_falls", []string{"plainest first"}, true},
	{"save", []string{"best"}, true},
	{"reroll", []string{"first miss", "never"}, true},
	{"counter", []string{"always", "never"}, true},
	{"when_charged", []string{"receive"}, true},
	{"split", []string{"hold", "next named"}, false},
	{"fight", []string{"longest in contact", "most wounded", "dearest"}, false},
	{"follow_up", []string{"never", "if legal"}, false},
	{"retreat_way", []string{"own edge"}, false},
	{"mishap", []string{"caster"}, false},
	{"join_leave", []string{"stay"}, false},
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
		l.fitsTrait(t, "pace", p.Movement.Pace, Inches)
		t.Close()
	}
	if t := l.root.Inner("melee"); t != nil {
		l.melee(t)
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

func (l *loader) melee(t *source.Table) {
	m := &l.pack.Melee
	m.Strikes = t.OneOf("strikes", Strikes)
	if m.Strikes == ByCharacteristic {
		m.By = l.name(t, "by", "characteristic")
		l.fitsTrait(t, "by", m.By, Number, Inches)
	}
	if t.Has("close_up") {
		m.CloseUp = l.inches(t, "close_up")
	}
	t.Close()
}

func (l *loader) standing() {
	t := l.root.Inner("standing")
	if t == nil {
		return
	}
	s := &l.pack.Standing
	to := []*string{&s.WhoFalls, &s.Save, &s.Reroll, &s.Counter, &s.WhenCharged,
		&s.Split, &s.Fight, &s.FollowUp, &s.RetreatWay, &s.Mishap, &s.JoinLeave}
	for i, k := range StandingKeys {
		if k.Must {
			*to[i] = t.OneOf(k.Key, k.Values)
		} else {
			*to[i] = t.OneOfOr(k.Key, k.Values, k.Values[0])
		}
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
