package rules

import (
	"slices"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// Charge is the roll for a charge over a gap: what the dice must show, and why.
// It refuses when the pack has no charges.
func (p *Pack) Charge(g Group, gap reason.Inches) (attack.Total, []reason.Reason, error) {
	step, err := p.first("charge")
	if err != nil || p.Does("charge") != "total" {
		return attack.Total{}, nil, reason.Refuse("", "rules.refuse.sequence", "order", "charge")
	}
	s := &scene{pack: p, attacker: g}
	t := s.total(step)
	t.Value = wholeInches(gap - step.By.Less)
	id := "why.charge"
	if step.By.Less == 0 {
		id = "why.charge_whole"
	}
	why := reason.New(id, "gap", gap, "less", step.By.Less, "need", t.Value)
	return t, []reason.Reason{why}, nil
}

// wholeInches rounds up: dice cannot show tenths.
func wholeInches(length reason.Inches) int { return max(0, (int(length)+9)/10) }

// Morale is a total that a unit rolls for itself, and what comes of it.
type Morale struct {
	Step      string // its id
	Total     attack.Total
	Each      int          // models that flee for each point above what is allowed
	Excess    *Consequence // of another kind, for the points above
	Then      []Consequence
	Otherwise []Consequence
}

// Flee is how many models flee at a total.
func (m Morale) Flee(total int) int {
	return max(0, total-m.Total.Value) * m.Each
}

// Tests tells whether a unit that lost so many models this turn has to be tested
// now; own says that its owner's turn ends. Where the pack does not say who, it
// is whoever lost models.
func (p *Pack) Tests(g Group, lost int, own bool) bool {
	seq := p.SequenceOf("test")
	switch {
	case seq == nil || seq.Own && !own:
		return false
	case len(seq.When) == 0:
		return lost > 0
	}
	return allOf(seq.When, &scene{pack: p, attacker: g})
}

// Morale is the test of a unit that lost so many models this turn.
func (p *Pack) Morale(g Group, lost int) (Morale, []reason.Reason, error) {
	return p.Trial("test", g, lost)
}

// Trial compiles the total that an order has a unit roll for itself.
func (p *Pack) Trial(order string, g Group, lost int) (Morale, []reason.Reason, error) {
	step, err := p.first(order)
	if err != nil || step.Shape != ShapeTotal {
		return Morale{}, nil, reason.Refuse("", "rules.refuse.sequence", "order", order)
	}
	s := &scene{pack: p, attacker: g}
	m := Morale{Step: step.ID, Total: s.total(step), Then: step.Then, Otherwise: step.Otherwise}
	counts := false
	for _, from := range step.Total.Plus {
		if from.Count != "" {
			m.Total.Plus += lost
			counts = true
		}
	}
	nerve, name, because := s.number(step.By)
	m.Total.Value = nerve
	if step.Excess != nil && step.Excess.Do == "flee" {
		m.Each = step.Excess.Each
	} else {
		m.Excess = step.Excess
	}
	why := reason.New("why.trial", "step", reason.Name(step.Words), "need", nerve)
	switch {
	case name == "" && !counts && m.Total.Judge == attack.TotalAtLeast:
		why = reason.New("why.trial_least", "step", reason.Name(step.Words), "need", nerve)
	case name == "" && !counts && m.Total.Judge == attack.TotalMoreThan:
		why = reason.New("why.trial_least", "step", reason.Name(step.Words), "need", nerve+1)
	case counts:
		why = reason.New("why.morale", "lost", lost, "name", reason.Name(name), "nerve", nerve)
	case name != "":
		why = reason.New("why.trial_of", "step", reason.Name(step.Words), "name", reason.Name(name), "need", nerve)
	}
	return m, append([]reason.Reason{why}, because...), nil
}

// Casting is everything about one power being cast.
type Casting struct {
	Power   *Power
	Cast    attack.Total
	Counter attack.Total  // Value is set by Against
	Counts  bool          // the pack has a counter at all
	Within  reason.Inches // how near the countering caster must be
	Dies    []Consequence // when the caster falls by it

	cast *Step
}

// Casting compiles a power that the unit knows. It refuses one it does not.
func (p *Pack) Casting(g Group, power string) (Casting, []reason.Reason, error) {
	unit, w := p.Unit(g.Unit), p.Power(power)
	if unit == nil || w == nil || !slices.Contains(unit.Powers, power) {
		return Casting{}, nil, reason.Refuse("", "rules.refuse.power", "unit", reason.Name(p.Called(g.Unit)), "power", reason.Name(power))
	}
	step, err := p.first("cast")
	if err != nil {
		return Casting{}, nil, err
	}
	s := &scene{pack: p, attacker: g}
	seq := p.SequenceOf("cast")
	c := Casting{Power: w, Cast: s.total(step), Dies: seq.RollerDies, cast: step}
	c.Cast.Value = w.Value
	if len(seq.Steps) > 1 {
		counter := p.Step(seq.Steps[1])
		c.Counts, c.Counter, c.Within = true, s.total(counter), counter.Within
	}
	return c, []reason.Reason{reason.New("why.cast", "power", reason.Name(w.Title), "value", w.Value)}, nil
}

// Against is the countering roll against a casting roll, and whether any dice
// could beat it: if none can, none are rolled.
func (c Casting) Against(cast int) (t attack.Total, possible bool) {
	t = c.Counter
	t.Value = cast
	highest := t.Plus
	for _, term := range t.Terms {
		highest += term.Dice * term.Sides
	}
	return t, c.Counts && highest > cast
}

// Shows is what the natural faces of the casting roll do: whether the power
// fails whatever the total, and what else happens.
func (c Casting) Shows(faces []int) (fails bool, then []Consequence) {
	for _, shown := range c.cast.Naturals {
		face := 1
		if shown.Top {
			face = c.cast.Dice.Sides
		}
		if all(faces, face) {
			fails = fails || shown.Fails
			then = append(then, shown.Then...)
		}
	}
	return fails, then
}

func all(faces []int, face int) bool {
	for _, f := range faces {
		if f != face {
			return false
		}
	}
	return len(faces) > 0
}

// first is the first step of the sequence of an order.
func (p *Pack) first(order string) (*Step, error) {
	if seq := p.SequenceOf(order); seq != nil && len(seq.Steps) > 0 && seq.Number == nil {
		return p.Step(seq.Steps[0]), nil
	}
	return nil, reason.Refuse("", "rules.refuse.sequence", "order", order)
}

// total is a step's dice, with what a profile adds to them.
func (s *scene) total(step *Step) attack.Total {
	t := attack.Total{
		Terms: []attack.Term{{Dice: step.Dice.Dice, Sides: step.Dice.Sides, Open: step.Open}},
		Plus:  step.Dice.Plus, Judge: step.Judge,
	}
	for _, from := range step.Plus {
		if from.Count == "" && from.Total == "" {
			n, _, _ := s.number(from)
			t.Plus += n
		}
	}
	return t
}

// Called is what people call a unit: its title, or the id of one unknown.
func (p *Pack) Called(unit string) string {
	if u := p.Unit(unit); u != nil {
		return u.Title
	}
	return unit
}
