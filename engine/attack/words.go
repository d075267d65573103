package attack

import (
	"strconv"

	"drumhead/engine/reason"
)

// and joins rules to one: "first, next, next".
func and(all ...reason.Reason) reason.Reason {
	joined := all[0]
	for _, next := range all[1:] {
		joined = reason.New("rule.and", "first", joined, "next", next)
	}
	return joined
}

// Words are the rules of the attack: its number, each step, the damage, each part
// of the target.
func (a Attack) Words() []reason.Reason {
	lines := []reason.Reason{a.Number.words()}
	for _, s := range a.Steps {
		lines = append(lines, and(s.words()...))
	}
	if len(a.Ladder.Segments) == 0 {
		return lines
	}
	damage := []reason.Reason{reason.New("rule.damage", "damage", a.Damage.Amount.String())}
	if a.Damage.Spill {
		damage = append(damage, reason.New("rule.spill"))
	}
	return append(append(lines, and(damage...)), a.Ladder.words()...)
}

func (n Number) words() reason.Reason {
	if n.Per.Dice == 0 && n.Least <= n.Per.Plus {
		return reason.New("rule.number.fixed", "n", n.Most())
	}
	words := reason.New("rule.number.dice", "times", n.Times, "per", n.Per.String())
	if n.Least > 0 {
		words = and(words, reason.New("rule.number.least", "least", n.Least))
	}
	return words
}

// Words are the rules of the step.
func (e Each) Words() []reason.Reason { return []reason.Reason{and(e.words()...)} }

func (e Each) words() []reason.Reason {
	switch {
	case e.Sides == 0, e.goesOn(true) && e.Certain(), e.goesOn(false) && e.Impossible():
		return []reason.Reason{reason.New("rule.each.free")}
	case !e.NeedsDie():
		return []reason.Reason{reason.New("rule.each.ends")}
	}
	id := "rule.each.need"
	if e.On == FailsGoOn {
		id = "rule.each.save"
	}
	words := []reason.Reason{reason.New(id, "need", e.Shown().String())}
	words = append(words, e.Rerolls.words()...)
	for _, n := range e.Naturals {
		words = append(words, reason.New(giftKinds[n.Gift].words, "from", strconv.Itoa(n.From), "n", n.Amount))
	}
	return words
}

// Shown is the need as a die can show it: 2+ where less is asked for and a 1
// fails, the top face where more is asked for and it passes.
func (e Each) Shown() Need {
	need := e.Need
	if e.OneFails && !need.OrLess {
		need.Face = max(need.Face, 2)
	}
	if e.TopPasses && !need.OrLess {
		need.Face = min(need.Face, e.Sides)
	}
	return need
}

func (r Rerolls) words() []reason.Reason {
	var words []reason.Reason
	for _, k := range rerollKinds {
		if r&k.kind != 0 {
			words = append(words, reason.New(k.words))
		}
	}
	return words
}

// words are a line for each part of the target, in the order in which they fall.
func (l Ladder) words() []reason.Reason {
	var lines []reason.Reason
	for i, s := range l.Segments {
		words := []reason.Reason{s.words()}
		for _, save := range [...]struct {
			id   string
			each Each
		}{{"rule.model.save", s.Save}, {"rule.model.other", s.Other}, {"rule.model.last", s.Last}} {
			if save.each.Sides > 0 && !save.each.Impossible() {
				words = append(words, reason.New(save.id, "need", save.each.Shown().String()))
				words = append(words, save.each.Rerolls.words()...)
			}
		}
		if i == 0 && l.Rung > 0 {
			words = append(words, reason.New("rule.model.hurt", "n", l.Rung))
		}
		if i > 0 {
			words = append(words, reason.New("rule.model.falls"))
		}
		lines = append(lines, and(words...))
	}
	return lines
}

func (s Segment) words() reason.Reason {
	if s.Wounds >= Endless {
		return reason.New("rule.model.counted")
	}
	return reason.New("rule.model.models", "models", s.Models, "wounds", s.Wounds)
}

// Words are the rules of the pool.
func (p Pool) Words() []reason.Reason {
	return []reason.Reason{and(append([]reason.Reason{reason.New("rule.pool", "n", p.Number)}, p.Step.words()...)...)}
}

// Words are the rules of both pools.
func (p Pools) Words() []reason.Reason {
	return append(append(p.Mine.Words(), p.Theirs.Words()...), reason.New("rule.pools"))
}

// judgeIDs and judgeWords name the judges, by Judge; unjudged there is nothing.
var (
	judgeIDs   = [...]string{"", "at_least", "at_most", "more_than"}
	judgeWords = [...]string{"", "rule.total.at_least", "rule.total.at_most", "rule.total.more_than"}
)

// tieIDs and tieWords name the meanings of a tie, by Tie.
var (
	tieIDs   = [...]string{"stands", "to mine", "to theirs", "roll again"}
	tieWords = [...]string{"rule.tie.stands", "rule.tie.mine", "rule.tie.theirs", "rule.tie.again"}
)

// Words are the rules of the total.
func (t Total) Words() []reason.Reason {
	var words []reason.Reason
	for _, term := range t.Terms {
		words = append(words, term.words()...)
	}
	if t.Plus != 0 || len(words) == 0 {
		words = append(words, reason.New("rule.total.plus", "n", t.Plus))
	}
	words = append(words, t.rerolls().words()...)
	if t.Judge != Unjudged {
		words = append(words, reason.New(judgeWords[t.Judge], "value", t.Value))
	}
	return []reason.Reason{and(words...)}
}

func (t Term) words() []reason.Reason {
	dice := Amount{Dice: t.Dice, Sides: t.Sides}.String()
	words := []reason.Reason{reason.New("rule.total.sum", "dice", dice)}
	switch {
	case t.Keep > 0:
		words[0] = reason.New("rule.term.best", "n", t.Keep, "dice", dice)
	case t.Keep < 0:
		words[0] = reason.New("rule.term.worst", "n", -t.Keep, "dice", dice)
	}
	if t.Open > 0 {
		words = append(words, reason.New("rule.term.open", "n", t.Open))
	}
	if t.times() != 1 {
		words = append(words, reason.New("rule.term.times", "n", strconv.Itoa(t.Times)))
	}
	return words
}

// Words are the rules of both sides.
func (o Opposed) Words() []reason.Reason {
	words := append(o.Mine.Words(), reason.New("rule.opposed"))
	return append(append(words, o.Theirs.Words()...), reason.New(tieWords[o.Tie]))
}

// Words are the rules of the dice, and how many rows there are.
func (t Table) Words() []reason.Reason {
	return append(t.Dice.Words(), reason.New("rule.table", "n", len(t.Rows)))
}
