package commands

import (
	"strconv"

	"drumhead/commands/chat"
	"drumhead/engine/attack"
	"drumhead/engine/sentence"
)

// mostNeeds is the most needs that a post offers to carry dice on with; dice
// with more sides are typed.
const mostNeeds = 5

// mayGoOn tells whether the post offers to carry successes on: not after a
// save, where an attack has come to its end, nor after as many stages as one
// sentence has.
func (r rolled) mayGoOn() bool {
	stages := r.sentence.Stages
	return len(stages) > 0 && len(stages) < sentence.MostStages && !stages[len(stages)-1].Save
}

// offers tells whether the needs of what goes on are few enough to be picked.
func (r rolled) offers() bool {
	return r.outcome.Carry.Dice > 0 && r.mayGoOn() && r.outcome.Carry.Sides-1 <= mostNeeds
}

// choices are the needs that what was carried on may be rolled for.
func (r rolled) choices() []chat.Choice {
	if !r.offers() {
		return nil
	}
	list := make([]chat.Choice, 0, r.outcome.Carry.Sides-1)
	for face := 2; face <= r.outcome.Carry.Sides; face++ {
		need := attack.AtLeast(face)
		list = append(list, chat.Choice{Label: need.String(), Command: r.next(sentence.Stage{Need: need}), Once: true})
	}
	return choices(list...)
}

// next is the command that carries this very roll on, whatever was rolled since.
func (r rolled) next(stage sentence.Stage) string {
	return "/roll again #" + strconv.FormatUint(r.seq, 10) + " " + stage.String()
}

// decimal shows an expected number.
func decimal(x float64) string { return strconv.FormatFloat(x, 'f', 1, 64) }

// percent shows a chance: whole percents, one digit more below one, and never
// 0% or 100% for what may or may not happen.
func percent(p float64) string {
	switch {
	case p >= 1-1e-12:
		return "100%"
	case p >= 0.995:
		return "over 99%"
	case p >= 0.01:
		return strconv.FormatFloat(100*p, 'f', 0, 64) + "%"
	case p >= 0.0005:
		return strconv.FormatFloat(100*p, 'f', 1, 64) + "%"
	case p > 0:
		return "less than 0.1%"
	}
	return "0%"
}
