package rules

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// finish puts what was gathered into the attack's plain value and its reasons.
func (w *work) finish() (attack.Attack, []reason.Reason, error) {
	var a attack.Attack
	var why []reason.Reason
	a.Number, why = w.count()
	segment := attack.Segment{Models: w.target.Models}
	for _, s := range w.steps {
		each := s.each()
		why = append(why, s.reasons(each)...)
		if s.PerModel {
			segment.Save = each
			continue
		}
		a.Steps = append(a.Steps, each)
	}
	if d := w.sequence.Damage; d != nil {
		wounds, _, _ := w.trait(Target, d.Wounds)
		segment.Wounds = max(1, wounds.Number)
		a.Damage = attack.Damage{Amount: w.amount(d.Amount), Spill: d.Spill}
		why = append(why, reason.New("why.damage", "damage", a.Damage.Amount.String(), "wounds", segment.Wounds))
	}
	if w.last != (attack.Need{}) {
		segment.Last = attack.Each{Sides: lastDie, Need: w.last, OneFails: true}
		why = append(why, reason.New("why.last_save", "need", w.last.String(), "because", w.lastWhy))
	}
	a.Ladder = attack.Ladder{Segments: []attack.Segment{segment}, Rung: min(w.target.Hurt, segment.Wounds-1)}
	if a.Most() > mostDice {
		return attack.Attack{}, nil, reason.Refuse("", "rules.refuse.dice", "dice", a.Most(), "most", mostDice)
	}
	return a, why, nil
}

// lastDie is the die of a last save.
const lastDie = 6

// mostDice is the most dice of one attack; a ledger entry has a few of them.
const mostDice = 5000

// count is how many attacks there are and why.
func (w *work) count() (attack.Number, []reason.Reason) {
	per, times := w.amount(w.sequence.Number.From), w.used()
	per.Plus += w.plus
	because := []reason.Reason{reason.New("why.attacks.each", "number", times, "per", per.String(), "weapon", reason.Name(w.weapon.Title))}
	why := reason.New("why.attacks.number", "because", chain(append(because, w.attacksWhy...)))
	return attack.Number{Per: per, Times: times * w.times, Least: w.least}, []reason.Reason{why}
}

// used is how often the attacks of one are made: once for the unit, for each
// model that takes part, or for each weapon that those models serve.
func (w *work) used() int {
	if w.sequence.Number.Each == "" {
		return 1
	}
	models := w.attacker.Models
	if w.facts.Attacking > 0 {
		models = min(models, w.facts.Attacking)
	}
	if w.weapon.Melee() {
		return models
	}
	return w.weapon.Used(models)
}

// each is the step as it will be rolled; without dice when there is no save.
func (s *workStep) each() attack.Each {
	if s.none {
		return attack.Each{}
	}
	if s.passes {
		return attack.Each{Sides: s.Sides, Need: attack.AtLeast(1), On: s.On}
	}
	capped := min(max(s.modified, s.Least), s.Most)
	if capped != s.modified {
		s.because(reason.New("why.capped", "by", capped))
	}
	return attack.Each{
		Sides: s.Sides, Need: s.base.Better(s.shift + capped),
		OneFails: s.OneFails, TopPasses: s.TopGoes,
		Rerolls: s.rerolls, Naturals: s.naturals, On: s.On,
	}
}

// reasons are those of one step, after it was settled.
func (s *workStep) reasons(e attack.Each) []reason.Reason {
	id := "why.step.need"
	switch {
	case s.none:
		return []reason.Reason{reason.New("why.step.none", "step", reason.Name(s.Words))}
	case e.Certain():
		id = "why.step.sure"
	case e.Impossible():
		id = "why.step.never"
	}
	step := reason.New(id, "step", reason.Name(s.Words), "need", shownNeed(e), "because", s.grounds())
	if !e.NeedsDie() {
		return []reason.Reason{step}
	}
	return append([]reason.Reason{step}, s.also...)
}

// grounds is what the need rests on, as one reason. A value of the profile that
// nothing changed is told by its name, a changed one also by its number.
func (s *workStep) grounds() reason.Reason {
	if len(s.why) == 1 {
		return s.why[0]
	}
	first := s.why[0]
	switch {
	case first.ID == "why.profile.name" && first.Args[0].Value == reason.Name(s.Words):
		first = reason.New("why.need", "need", s.base.String())
	case first.ID == "why.profile.name":
		first.ID = "why.profile.need"
	}
	return chain(append([]reason.Reason{first}, s.why[1:]...))
}

// shownNeed is the need as a die can show it: 2+ where less is asked for and a
// 1 fails, the top face where more is asked for and it passes.
func shownNeed(e attack.Each) string {
	need := e.Need
	if e.OneFails {
		need.Face = max(need.Face, 2)
	}
	if e.TopPasses {
		need.Face = min(need.Face, e.Sides)
	}
	return need.String()
}

// chain joins reasons to one: "first, next, next".
func chain(all []reason.Reason) reason.Reason {
	joined := all[0]
	for _, next := range all[1:] {
		joined = reason.New("why.and", "first", joined, "next", next)
	}
	return joined
}
