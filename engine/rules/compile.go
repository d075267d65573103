package rules

import (
	"slices"
	"strings"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// Compile settles everything about an attack that does not depend on dice. The
// reasons say where every number comes from, in this order: one
// why.attacks.number; for each step one of why.step.… (see OfStep) and after it
// the step's why.natural.… and why.reroll.…; one why.damage; and one
// why.last_save where there is a last save. The slots of why.step.need are step
// (its words), need ("4+") and because (a reason).
//
// It refuses what the profile or the weapon cannot do: rules.refuse.….
func (p *Pack) Compile(attackers Group, weapon string, target Group, facts Facts) (attack.Attack, []reason.Reason, error) {
	w, err := p.begin(attackers, weapon, target, facts)
	if err != nil {
		return attack.Attack{}, nil, err
	}
	for _, e := range w.acting() {
		e.does.apply(w, e)
	}
	return w.finish()
}

// OfStep tells whether a reason of Compile begins the reasons of the next step.
func OfStep(r reason.Reason) bool { return strings.HasPrefix(r.ID, "why.step.") }

// work is an attack while it is compiled.
type work struct {
	scene
	sequence *Sequence
	steps    []*workStep

	times, plus, least int // of the attacks of each model
	attacksWhy         []reason.Reason
	last               attack.Need // last save, zero for none
	lastWhy            reason.Reason
}

// workStep is a step while modifiers and gifts gather.
type workStep struct {
	*Step
	base     attack.Need
	none     bool // the unit has no such value: a model without a save
	shift    int  // better or worse, not capped
	modified int  // modifiers, capped at the end
	passes   bool
	rerolls  attack.Rerolls
	naturals []attack.Natural
	why      []reason.Reason // what the need rests on, first the base
	also     []reason.Reason // naturals and re-rolls
}

func (s *workStep) because(why reason.Reason) { s.why = append(s.why, why) }

// order is the order word that uses a weapon.
func (w *Weapon) order() string {
	if w.Melee() {
		return "fight"
	}
	return "shoot"
}

func (p *Pack) begin(attackers Group, weapon string, target Group, facts Facts) (*work, error) {
	w := &work{scene: scene{pack: p, attacker: attackers, target: target, weapon: p.Weapon(weapon), facts: facts}, times: 1}
	if err := w.present(weapon); err != nil {
		return nil, err
	}
	w.facts.InMelee = w.facts.InMelee || w.weapon.Melee()
	w.sequence = p.SequenceOf(w.weapon.order())
	if w.sequence == nil || w.sequence.Number == nil {
		return nil, reason.Refuse("", "rules.refuse.sequence", "order", w.weapon.order())
	}
	for _, id := range w.sequence.Steps {
		step, err := w.newStep(p.Step(id))
		if err != nil {
			return nil, err
		}
		w.steps = append(w.steps, step)
	}
	w.lastSave()
	return w, nil
}

// present refuses units and weapons that are not there.
func (w *work) present(weapon string) error {
	for _, g := range []Group{w.attacker, w.target} {
		unit := w.pack.Unit(g.Unit)
		if unit == nil {
			return reason.Refuse("", "rules.refuse.unit", "unit", reason.Name(g.Unit))
		}
		if g.Models < 1 || g.Models > MostModels {
			return reason.Refuse("", "rules.refuse.models", "unit", reason.Name(unit.Title), "models", g.Models, "most", MostModels)
		}
	}
	unit := w.unit(Attacker)
	if w.weapon == nil || !slices.Contains(unit.Weapons, weapon) {
		return reason.Refuse("", "rules.refuse.weapon", "unit", reason.Name(unit.Title), "weapon", reason.Name(weapon))
	}
	if !w.weapon.Melee() && !w.weapon.Reaches(w.facts.Distance) {
		return reason.Refuse("", "rules.refuse.range", "weapon", reason.Name(w.weapon.Title), "range", w.weapon.Range, "gap", w.facts.Distance)
	}
	return nil
}

// newStep settles a step's need before effects.
func (w *work) newStep(step *Step) (*workStep, error) {
	s := &workStep{Step: step}
	if step.Need.Chart != "" {
		w.charted(s)
	} else if err := w.profiled(s); err != nil || s.none {
		return s, err
	}
	for _, from := range step.Worse {
		w.shift(s, from, -1)
	}
	for _, from := range step.Better {
		w.shift(s, from, 1)
	}
	return s, nil
}

// profiled takes the need from a profile or as the pack fixes it.
func (w *work) profiled(s *workStep) error {
	from := s.Step.Need
	if from.From == "" {
		s.base = from.Fixed
		s.because(reason.New("why.fixed"))
		return nil
	}
	v, has, changes := w.trait(from.Of, from.From)
	if !has && !s.PerModel {
		unit := w.unit(from.Of)
		return reason.Refuse("", "rules.refuse.skill", "unit", reason.Name(unit.Title), "skill", reason.Name(from.From))
	}
	s.none, s.base = !has, v.Need
	s.because(reason.New("why.profile.name", "name", reason.Name(w.pack.wordsFor(from.From)), "need", v.Need.String()))
	s.why = append(s.why, changes...)
	return nil
}

// charted takes the need from a chart of two numbers.
func (w *work) charted(s *workStep) {
	chart := w.pack.Chart(s.Step.Need.Chart)
	first, firstName, why1 := w.number(chart.First)
	second, secondName, why2 := w.number(chart.Second)
	s.base = chart.Need(first, second)
	id := "why.chart.equal"
	if first > second {
		id = "why.chart.more"
	} else if first < second {
		id = "why.chart.less"
	}
	s.because(reason.New(id, "need", s.base.String(), "first", reason.Name(firstName), "a", first, "second", reason.Name(secondName), "b", second))
	s.why = append(append(s.why, why1...), why2...)
}

// shift makes a need better or worse by a number that no cap holds: piercing.
func (w *work) shift(s *workStep, from Source, sign int) {
	n, name, _ := w.number(from)
	if n == 0 {
		return
	}
	s.shift += sign * n
	id := "why.better"
	if sign < 0 {
		id = "why.worse"
	}
	s.because(reason.New(id, "by", n, "name", reason.Name(name)))
}

// lastSave takes the last save of the profile.
func (w *work) lastSave() {
	d := w.sequence.Damage
	if d == nil || d.LastSave.From == "" {
		return
	}
	if v, has, _ := w.trait(d.LastSave.Of, d.LastSave.From); has {
		w.betterLast(v.Need, reason.New("why.profile.name", "name", reason.Name(w.pack.wordsFor(d.LastSave.From)), "need", v.Need.String()))
	}
}

// betterLast keeps the better of two last saves.
func (w *work) betterLast(need attack.Need, why reason.Reason) {
	if w.last == (attack.Need{}) || need.Face < w.last.Face {
		w.last, w.lastWhy = need, why
	}
}

func (w *work) attacksBecause(why reason.Reason) { w.attacksWhy = append(w.attacksWhy, why) }

// step finds a step of this attack, nil when the sequence has no such step or
// when it is not rolled.
func (w *work) step(id string) *workStep {
	for _, s := range w.steps {
		if s.ID == id && !s.none {
			return s
		}
	}
	return nil
}

// acting are the effects of both sides without those that another one ignores.
func (w *work) acting() []*Effect {
	all := append(w.effects(Attacker), w.effects(Target)...)
	ignored := map[string]bool{}
	for _, e := range all {
		if i, ok := e.does.(ignore); ok {
			ignored[i.what] = true
		}
	}
	return slices.DeleteFunc(all, func(e *Effect) bool { return ignored[e.ID] })
}

// signed is the reason for a change by an effect, as +1 or -1.
func signed(n int, e *Effect) reason.Reason {
	if n < 0 {
		return reason.New("why.minus", "by", -n, "name", reason.Name(e.Words))
	}
	return reason.New("why.plus", "by", n, "name", reason.Name(e.Words))
}
