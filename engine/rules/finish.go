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
	for _, s := range w.steps {
		if !s.dice.PerModel {
			each := s.each()
			why = append(why, s.reasons(each)...)
			a.Steps = append(a.Steps, each)
		}
	}
	segments, saves := w.segments()
	why = append(why, saves...)
	a.Damage, a.Ladder.Segments = w.hurt(), segments
	why = append(why, w.damageReason(a.Damage.Amount, segments[0].Wounds))
	why = append(why, w.savesWhy...)
	a.Ladder.Rung = min(w.rung, segments[0].Wounds-1)
	if a.Most() > mostDice {
		return attack.Attack{}, nil, reason.Refuse("", "rules.refuse.dice", "dice", a.Most(), "most", mostDice)
	}
	return a, why, nil
}

// hurt is the damage of one attack.
func (w *work) hurt() attack.Damage {
	d := w.sequence.Damage
	amount := d.Plain
	if d.Amount != (Source{}) {
		amount = w.amount(d.Amount)
	}
	amount.Plus += w.damage
	return attack.Damage{Amount: amount, Spill: d.Spill || w.spills || w.sure}
}

func (w *work) damageReason(amount attack.Amount, wounds int) reason.Reason {
	why := reason.New("why.damage", "damage", amount.String(), "wounds", wounds)
	if name := w.pack.WoundsCalled(); name != "wounds" {
		why = reason.New("why.damage_worn", "damage", amount.String(), "wounds", wounds, "name", reason.Name(name))
	}
	if len(w.damageWhy) == 0 {
		return why
	}
	return reason.New("why.damage_because", "damage", amount.String(), "wounds", wounds, "because", chain(w.damageWhy))
}

// lastDie is the die of a last save.
const lastDie = 6

// mostDice is the most dice of one attack; a ledger entry has a few of them.
const mostDice = 5000

// count is how many attacks there are and why.
func (w *work) count() (attack.Number, []reason.Reason) {
	per, times := w.amount(w.sequence.Number.From), w.used()
	per.Plus += w.plus
	id := "why.attacks.each"
	if times == 1 {
		id = "why.attacks.once"
	}
	because := []reason.Reason{reason.New(id, "number", times, "per", per.String(), "weapon", reason.Name(w.weapon.Title))}
	why := reason.New("why.attacks.number", "because", chain(append(because, w.attacksWhy...)))
	return attack.Number{Per: per, Times: times * w.times, Least: w.least}, []reason.Reason{why}
}

// used is how often the attacks of one are made: once for the unit, for each
// model that takes part, or for each weapon that those models serve.
func (w *work) used() int {
	if w.sequence.Number.Each == "" {
		return 1
	}
	models := w.pack.Parts(w.attacker)[min(w.facts.Part, len(w.unit(Attacker).Others))]
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
		return attack.Each{Sides: s.dice.Sides, Need: attack.AtLeast(1), On: s.dice.On}
	}
	capped := min(max(s.modified, s.dice.Least), s.dice.Most)
	if capped != s.modified {
		s.because(reason.New("why.capped", "by", capped))
	}
	return attack.Each{
		Sides: s.dice.Sides, Need: s.base.Better(s.shift + capped),
		OneFails: s.dice.OneFails, TopPasses: s.dice.TopGoes,
		Rerolls: s.rerolls, Naturals: s.naturals, On: s.dice.On,
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
	case s.theirs:
		id = "why.step.cancel"
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
