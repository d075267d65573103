package rules

import (
	"reflect"
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
	last               attack.Need // last save by an effect, zero for none
	lastWhy            reason.Reason
	other              attack.Need // second save by an effect
	otherWhy           reason.Reason
	damage             int // more of it
	sure, spills       bool
	damageWhy          []reason.Reason
	savesWhy           []reason.Reason // of last and second saves
	rung               int             // what the model that is hit first has lost
	shifted            int             // columns of a table
	shiftWhy           []reason.Reason
}

// workStep is a step while modifiers and gifts gather.
type workStep struct {
	*Step
	dice     *Each // the step's own, or one side of its pools
	theirs   bool  // the other side of its pools
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

func (w *work) damageBecause(why reason.Reason) { w.damageWhy = append(w.damageWhy, why) }

// order is the order word that uses a weapon.
func (w *Weapon) order() string {
	if w.Melee() {
		return "fight"
	}
	return "shoot"
}

// orders are all the order words in which a weapon may count: who rams or
// charges home has its weapon for melee in hand.
func (w *Weapon) orders() []string {
	if w.Melee() {
		return []string{"fight", "charge"}
	}
	return []string{"shoot"}
}

func (p *Pack) begin(attackers Group, weapon string, target Group, facts Facts) (*work, error) {
	w := &work{scene: scene{pack: p, attacker: attackers, target: target, weapon: p.Weapon(weapon), facts: facts}, times: 1}
	if err := w.present(); err != nil {
		return nil, err
	}
	if err := w.armed(weapon); err != nil {
		return nil, err
	}
	w.facts.InMelee = w.facts.InMelee || w.weapon.Melee()
	w.sequence = p.SequenceOf(w.weapon.order())
	if w.sequence == nil || w.sequence.Number == nil {
		return nil, reason.Refuse("", "rules.refuse.sequence", "order", w.weapon.order())
	}
	for _, id := range w.sequence.Steps {
		step := p.Step(id)
		s, err := w.newStep(step, &step.Each)
		if err != nil {
			return nil, err
		}
		w.steps = append(w.steps, s)
	}
	return w, nil
}

// present refuses units that are not there.
func (w *work) present() error {
	for _, g := range []Group{w.attacker, w.target} {
		unit := w.pack.Unit(g.Unit)
		if unit == nil {
			return reason.Refuse("", "rules.refuse.unit", "unit", reason.Name(g.Unit))
		}
		if g.Models < 1 || g.Models > MostModels {
			return reason.Refuse("", "rules.refuse.models", "unit", reason.Name(unit.Title), "models", g.Models, "most", MostModels)
		}
	}
	return nil
}

// armed refuses a weapon that the unit, or that part of it, does not have or
// that does not reach.
func (w *work) armed(weapon string) error {
	unit := w.unit(Attacker)
	if w.weapon == nil || !slices.Contains(unit.WeaponsOf(w.facts.Part), weapon) {
		return reason.Refuse("", "rules.refuse.weapon", "unit", reason.Name(unit.Title), "weapon", reason.Name(weapon))
	}
	if !w.weapon.Melee() && !w.weapon.Reaches(w.facts.Distance) {
		return reason.Refuse("", "rules.refuse.range", "weapon", reason.Name(w.weapon.Title), "range", w.weapon.Range, "gap", w.facts.Distance)
	}
	return nil
}

// newStep settles a step's need before effects. e is the step's own dice, or one
// side of its pools.
func (w *work) newStep(step *Step, e *Each) (*workStep, error) {
	s := &workStep{Step: step, dice: e}
	if e.Need.Chart != "" {
		w.charted(s)
	} else if err := w.fromProfile(s); err != nil {
		return s, err
	}
	for _, from := range e.Worse {
		w.shift(s, from, -1)
	}
	for _, from := range e.Better {
		w.shift(s, from, 1)
	}
	return s, nil
}

// fromProfile takes the need from a profile or as the pack fixes it.
func (w *work) fromProfile(s *workStep) error {
	from := s.dice.Need
	if from.From == "" {
		s.base = from.Fixed
		s.because(reason.New("why.fixed"))
		return nil
	}
	v, has, changes := w.trait(from.Of, from.From)
	if !has && !s.dice.PerModel {
		unit := w.unit(from.Of)
		return reason.Refuse("", "rules.refuse.skill", "unit", reason.Name(unit.Title), "skill", reason.Name(from.From))
	}
	s.none, s.base = !has, v.Need
	s.because(reason.New("why.profile.name", "name", reason.Name(w.pack.wordsFor(from.From)), "need", v.Need.String()))
	s.why = append(s.why, changes...)
	return nil
}

// perModel are the steps that are rolled for the model which would be hurt, as
// they are for the kind of model that is looked at. name is what such a model is
// called, nil where all are alike.
func (w *work) perModel(name *reason.Reason) []*workStep {
	var all []*workStep
	for _, s := range w.steps {
		if !s.dice.PerModel {
			continue
		}
		if name != nil {
			s = w.forModel(s, *name)
		}
		all = append(all, s)
	}
	return all
}

// forModel is a step with the need of the kind of model that is looked at.
func (w *work) forModel(s *workStep, name reason.Reason) *workStep {
	own := *s
	if from := own.dice.Need; from.From != "" {
		v, has, _ := w.trait(from.Of, from.From)
		own.none, own.base = !has, v.Need
		first := reason.New("why.profile.name", "name", reason.Name(w.pack.wordsFor(from.From)), "need", v.Need.String())
		own.why = append([]reason.Reason{first}, own.why[1:]...)
	}
	own.why = append(slices.Clone(own.why), name)
	return &own
}

// charted takes the need from a chart of two numbers.
func (w *work) charted(s *workStep) {
	chart := w.pack.Chart(s.dice.Need.Chart)
	first, firstName, why1 := w.number(chart.First)
	second, secondName, why2 := w.number(chart.Second)
	s.base = chart.Need(first, second)
	if chart.Second.IsPlain {
		id := "why.chart.value"
		if chart.First.Measure != "" {
			id = "why.chart.at"
		}
		s.because(reason.New(id, "need", s.base.String(), "first", reason.Name(firstName), "a", first))
		return
	}
	id := "why.chart.equal"
	switch {
	case chart.Second.Measure != "":
		id = "why.chart.distance"
	case first > second:
		id = "why.chart.more"
	case first < second:
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

// lastSaves gives a run of models its last save: the better of its profile's and
// of what effects give.
func (w *work) lastSaves(s *attack.Segment) {
	need, why := w.last, w.lastWhy
	if from := w.sequence.Damage.LastSave; from.From != "" {
		if v, has, _ := w.trait(from.Of, from.From); has && (need == (attack.Need{}) || v.Need.Face < need.Face) {
			need, why = v.Need, reason.New("why.profile.name", "name", reason.Name(w.pack.wordsFor(from.From)), "need", v.Need.String())
		}
	}
	if need != (attack.Need{}) {
		s.Last = attack.Each{Sides: lastDie, Need: need, OneFails: true}
		w.saves(reason.New("why.last_save", "need", need.String(), "because", why))
	}
}

// otherSave gives a run of models the second save that an effect gives.
func (w *work) otherSave(s *attack.Segment) {
	if w.other == (attack.Need{}) {
		return
	}
	s.Other = attack.Each{Sides: lastDie, Need: w.other, OneFails: true}
	w.saves(reason.New("why.other_save", "need", w.other.String(), "because", w.otherWhy))
}

// saves notes the reason for a save, once for all kinds of model that have it.
func (w *work) saves(why reason.Reason) {
	if !slices.ContainsFunc(w.savesWhy, func(r reason.Reason) bool { return reflect.DeepEqual(r, why) }) {
		w.savesWhy = append(w.savesWhy, why)
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
// when it is not rolled. Of pools it is the attacker's side, or the other with
// theirs.
func (w *work) step(id string, theirs bool) *workStep {
	for _, s := range w.steps {
		if s.ID == id && s.theirs == theirs && (!s.none || w.pack.mixed(w.target)) {
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
