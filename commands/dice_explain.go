package commands

import (
	"slices"
	"strconv"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/engine/attack"
	"drumhead/engine/sentence"
)

// explainRoll lays a roll's dice over its sentence, step by step.
func explainRoll(e *explained) ([]chat.Line, error) {
	r, err := e.rolled()
	if err != nil {
		return nil, err
	}
	e.drawn = r.picture()
	lines := []chat.Line{r.say("dice.explain.head", "entry", number(int64(r.seq)), "who", r.view.who(r.by), "dice", r.sentence.Plain())}
	if len(r.outcome.Rounds) > 1 && e.part == 0 && len(r.faces()) > mostFaces {
		return append(lines, r.say("battle.why.parts", "command", typed("/explain "+number64(r.seq)+".1")), r.grade()), nil
	}
	for i, round := range r.outcome.Rounds {
		if e.part > 0 && e.part != i+1 {
			continue
		}
		if len(r.outcome.Rounds) > 1 {
			lines = append(lines, r.say("dice.explain.round", "n", i+1))
		}
		lines = append(lines, r.explain(round)...)
	}
	filed := flat(r.say("dice.explain.filed"))
	if slices.ContainsFunc(lines, func(l chat.Line) bool { return flat(l) == filed }) {
		e.files = r.file()
	}
	return append(lines, r.grade()), nil
}

// rolled reads a roll back from its entry.
func (e *explained) rolled() (rolled, error) {
	event, err := proof.RollOf(e.rec.Events)
	if err != nil {
		return rolled{}, err
	}
	s, err := sentence.Parse(event.Dice)
	return rolled{view: e.view, seq: e.rec.Seq, by: e.rec.Player, rec: e.rec, sentence: s, outcome: event.Outcome}, err
}

// folded is a text of dice in lines; of very many it is said where they are.
func (r rolled) folded(text string) []chat.Line {
	all := wrap(text)
	if len(all) > mostFaces {
		return []chat.Line{r.say("dice.explain.filed")}
	}
	var lines []chat.Line
	for _, one := range all {
		lines = append(lines, words.Text(one))
	}
	return lines
}

func (r rolled) explain(round sentence.Round) []chat.Line {
	switch s := r.sentence; {
	case round.Sum != nil:
		return r.explainTotal(s.Mine, *round.Sum)
	case round.Opposed != nil:
		o := round.Opposed.Bouts[0]
		return append(append(r.explainTotal(s.Mine, o.Mine), r.explainTotal(*s.Theirs, o.Theirs)...),
			r.say("dice.explain."+winner(round.Opposed.Winner)))
	case round.Pools != nil:
		p := round.Pools
		lines := append(r.explainStep(s.Stages[0], s.Dice().Sides, p.Mine), r.explainStep(*s.Theirs.Stage, s.Theirs.Terms[0].Sides, p.Theirs)...)
		return append(lines, r.say("dice.explain.pools", "mine", p.Mine.On, "theirs", p.Theirs.On, "n", p.Left))
	}
	return r.explainChain(round)
}

// explainTotal shows a total's dice, what they add up to, and the chance that it
// had to be made.
func (r rolled) explainTotal(side sentence.Side, sum attack.Sum) []chat.Line {
	var lines []chat.Line
	lines = append(lines, r.folded(words.Flat(r.say("dice.explain.total", "side", side.String(), "dice", sumDice(side, sum), "total", sum.Total)))...)
	if chance, ok := side.Made(); ok {
		lines = append(lines, r.say("dice.explain."+made(sum.Passed), "need", side.Total.String(), "chance", percent(chance)))
	} else if law, ok := side.Law(); ok && side.Total == nil {
		lines = append(lines, r.say("dice.explain.mean", "n", decimal(law.Mean())))
	}
	return lines
}

func (r rolled) explainChain(round sentence.Round) []chat.Line {
	s, c := r.sentence, round.Chain
	var lines []chat.Line
	for i, stage := range s.Stages {
		step := saves(c.Packets)
		if i < len(c.Steps) {
			step = c.Steps[i]
		}
		lines = append(lines, r.explainStep(stage, s.Dice().Sides, step)...)
	}
	if s.Hurt != nil {
		lines = append(lines, r.explainHurt(*s.Hurt, c)...)
	}
	if s.AtLeast > 0 {
		lines = append(lines, r.met(round))
	}
	return lines
}

// explainStep says what a stage needed, what fell, what was expected, and what
// rules did to it.
func (r rolled) explainStep(stage sentence.Stage, sides int, step attack.Rolled) []chat.Line {
	plain := sentence.Stage{Save: stage.Save, Need: stage.Need}
	n := len(step.Dice)
	line := r.say("dice.explain.step", "need", plain.String(), "n", n, "passed", step.Passed)
	if chance, ok := stage.Chance(sides); ok && n > 0 {
		line = r.say("dice.explain.expected", "need", plain.String(), "n", n, "passed", step.Passed, "expected", decimal(chance*float64(n)))
	}
	lines := []chat.Line{line}
	if n > 0 {
		lines = append(lines, r.folded(stepDice(step, stage).text(stage.Need.OrLess))...)
	}
	if len(step.Again) > 0 {
		lines = append(lines, r.folded(r.again(step))...)
	}
	if step.Extra > 0 {
		lines = append(lines, r.say("dice.explain.extra", "top", stage.Top, "n", step.Extra))
	}
	if step.Free > 0 {
		lines = append(lines, r.say("dice.explain.free", "n", step.Free))
	}
	return lines
}

// again says which dice of a step were rolled again, and what they became.
func (r rolled) again(step attack.Rolled) string {
	was, now := fallen{}, fallen{}
	for _, a := range step.Again {
		was.good, now.good = append(was.good, step.Dice[a.Die]), append(now.good, a.Face)
	}
	return flat(r.say("dice.explain.again", "was", was.text(false), "now", now.text(false)))
}

func (r rolled) explainHurt(h sentence.Hurt, c *attack.Result) []chat.Line {
	var lines []chat.Line
	if dice := damage(c.Packets); len(dice) > 0 {
		lines = append(lines, r.folded("damage "+h.Amount.String()+": "+fallen{good: dice}.text(false))...)
	} else {
		lines = append(lines, r.say("dice.explain.damage", "damage", h.Amount.String()))
	}
	if h.Last != nil {
		lines = append(lines, r.explainStep(sentence.Stage{Save: true, Need: *h.Last}, r.sentence.Dice().Sides, lastSaves(c.Packets))...)
	}
	if h.Models == 0 {
		return append(lines, r.say("dice.explain.points", "n", c.Crossed))
	}
	lines = append(lines, r.say("dice.explain.fell", "n", c.Fell, "models", h.Models, "wounds", strconv.Itoa(h.Wounds), "crossed", c.Crossed))
	if c.Unneeded > 0 {
		lines = append(lines, r.say("dice.explain.unneeded", "n", c.Unneeded))
	}
	return lines
}

// oddRoll says for /proof how likely it was what a roll came to.
func oddRoll(e *explained) (chat.Line, bool) {
	r, err := e.rolled()
	if err != nil || len(r.outcome.Rounds) != 1 {
		return nil, false
	}
	if law, ok := r.sentence.Through(); ok {
		what, chance := r.tail(law, r.outcome.Rounds[0].Chain.Through)
		return r.say("dice.odd", "what", what, "dice", r.sentence.Plain(), "chance", chance), true
	}
	if chance, ok := r.sentence.Mine.Made(); ok && r.outcome.Rounds[0].Sum != nil {
		return r.say("dice.odd_total", "dice", r.sentence.Plain(), "chance", percent(chance)), true
	}
	return nil, false
}
