package commands

import (
	"errors"
	"regexp"
	"strconv"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/dice"
	"drumhead/engine/reason"
	"drumhead/engine/sentence"
)

// wordLabel is the name under which a roll's label lies beside its entry.
const wordLabel = "label"

func diceCommands() []command {
	return []command{{
		Spec: args.Spec{Name: "roll", Rolls: true, Help: "roll: 12d6 4+, 20d6 3+, 4+, save 5+, again 3+, save 5+", Example: "/roll 12d6 4+",
			Params: []args.Param{{Name: "dice", Kind: args.Sentence, Help: "a dice sentence, such as 12d6 4+"}}},
		plan: planRoll,
	}}
}

// planRoll reads a dice sentence. What an `again` goes on with is settled here
// and stands in the entry.
func planRoll(a *ask) (*answer, error) {
	text, of := again(a.value("dice"))
	s, err := sentence.Parse(text)
	if err != nil {
		return nil, slashed(err)
	}
	roll := proof.RollArgs{Dice: s.Plain()}
	label := s.Label
	if s.Again {
		before, err := a.goesOn(of)
		if err != nil {
			return nil, err
		}
		if s, err = s.On(before.Carry); err != nil {
			return nil, slashed(err)
		}
		roll.Of = before.Seq
		if label == "" && a.here.seats[a.msg.Person] == before.By && !s.Stages[0].Save {
			if label, err = a.labelOf(before.Seq); err != nil {
				return nil, err
			}
		}
	}
	act := act{args: &roll, tell: func(d *done) (told, error) { return tellRoll(d, s, label), nil }}
	if s.Label != "" {
		if roll.Said, err = a.salt(wordLabel, s.Label); err != nil {
			return nil, err
		}
		act.words = []string{wordLabel}
	}
	return act1(act)
}

// spokenAgain is "again", perhaps with the number of a roll: "again #31 4+".
var spokenAgain = regexp.MustCompile(`(?i)^\s*again\s+#(\d{1,9})\s+`)

// again takes the number of a roll out of an `again`; 0 if none is said.
func again(text string) (rest string, of uint64) {
	m := spokenAgain.FindStringSubmatch(text)
	if m == nil {
		return text, 0
	}
	of, _ = strconv.ParseUint(m[1], 10, 64) // at most nine digits
	return "again " + text[len(m[0]):], of
}

// goesOn finds the roll that an `again` goes on with: the one named, or the
// newest here.
func (a *ask) goesOn(of uint64) (proof.Rolled, error) {
	rolls := proof.RollsOf(a.here.game)
	if of == 0 {
		if last, _ := rolls.Newest(); last.Carry.Dice > 0 {
			return last, nil
		}
		return proof.Rolled{}, refuse("/roll 20d6 3+", "dice.refuse.no_carry")
	}
	if roll, _ := rolls.Of(of); roll.Carry.Dice > 0 {
		return roll, nil
	}
	return proof.Rolled{}, refuse("/roll 20d6 3+", "dice.refuse.no_carry_of", "entry", number(int64(of)), "most", proof.MostRolls)
}

// labelOf is the label of the chain that a roll belongs to, "" if it has none or
// it was hidden.
func (a *ask) labelOf(seq uint64) (string, error) {
	rolls := proof.RollsOf(a.here.game)
	for at, ok := rolls.Of(seq); ok; at, ok = rolls.Of(at.Of) {
		list, err := a.desk.store.Words(a.ctx, a.here.ledger, at.Seq)
		if err != nil {
			return "", err
		}
		for _, w := range list {
			if w.Name == wordLabel {
				return w.Text, nil
			}
		}
	}
	return "", nil
}

// slashed makes a refusal's example one that can be typed.
func slashed(err error) error {
	var r *reason.Refusal
	if !errors.As(err, &r) {
		return err
	}
	typed := *r
	typed.Example = "/roll " + r.Example
	return &typed
}

// tellRoll makes the post of a roll: the sentence, read off the dice that fell.
func tellRoll(d *done, s sentence.Sentence, label string) told {
	r := rolled{view: d.after, seq: d.rec.Seq, by: d.rec.Player, cut: d.rec.Cut, label: label, sentence: s,
		outcome: s.Roll(dice.NewShown(d.rec.Faces))}
	post := chat.Post{Lines: r.lines(), Choices: r.choices(), Entry: int64(d.rec.Seq)}
	return told{posts: []chat.Post{post}}
}
