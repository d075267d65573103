package commands

import (
	"errors"
	"regexp"
	"strconv"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/dice"
	"drumhead/engine/reason"
	"drumhead/engine/sentence"
	"drumhead/storage"
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
	text, wish, err := a.wished(a.value("dice"))
	if err != nil {
		return nil, err
	}
	text, of := again(text)
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
		if label == "" {
			if label, err = a.inherited(before, a.here.seats[a.msg.Person], s); err != nil {
				return nil, err
			}
		}
	}
	act := act{args: &roll, wish: wish, tell: func(d *done) (told, error) { return tellRoll(d, s, label) }}
	if s.Label != "" {
		if roll.Said, err = a.salt(wordLabel, s.Label); err != nil {
			return nil, err
		}
		act.words = []string{wordLabel}
	}
	return act1(act)
}

// inherited is the label of a roll that goes on with another of the same person.
func (a *ask) inherited(before proof.Rolled, by string, s sentence.Sentence) (string, error) {
	if by != before.By || s.Stages[0].Save {
		return "", nil
	}
	return a.labelOf(before.Seq)
}

// spokenCut is how one roll is to be cut: ", cut by Bo", ", cut by beacon", ", cut by
// Bo within 2 hours".
var spokenCut = regexp.MustCompile(`(?i)^(.*?)\s*[,;]\s*cut\s+by\s+(?:the\s+)?([^,;]{1,60})$`)

// bareCut is the same without a comma, which phones leave out; a label may hold those words.
var bareCut = regexp.MustCompile(`(?i)^([^"]*?)\s+cut\s+by\s+(?:the\s+)?([^,;]{1,60})$`)

// wished takes the wish for a cut off the end of a roll.
func (a *ask) wished(text string) (string, *wish, error) {
	m := spokenCut.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil && !strings.Contains(strings.ToLower(text), " for ") {
		m = bareCut.FindStringSubmatch(strings.TrimSpace(text))
	}
	if m == nil {
		return text, nil, nil
	}
	if strings.EqualFold(strings.TrimSpace(m[2]), cutBeacon) {
		return m[1], &wish{how: cutBeacon}, nil
	}
	name, wait, err := within(m[2], "/roll 12d6 4+, cut by Bo within 2 hours")
	if err != nil {
		return "", nil, err
	}
	who, err := a.find(name, "/roll 12d6 4+, cut by beacon")
	return m[1], &wish{how: cutWord, by: who, wait: wait}, err
}

// resumeRoll makes the act of a roll that waited.
func resumeRoll(a *ask, s *settling, _ string) (act, error) {
	label, err := a.wordOf(a.here, s.Seq, wordLabel)
	if err != nil {
		return act{}, err
	}
	if of, goesOn := entryOf(s.rec); goesOn && label == "" {
		before, _ := proof.RollsOf(a.here.game).Of(of)
		dice, _ := storage.Member(s.rec.Args, "dice")
		text, _ := storage.Text(dice)
		stages, err := sentence.Parse(text)
		if err != nil {
			return act{}, err
		}
		if label, err = a.inherited(before, s.Player, stages); err != nil {
			return act{}, err
		}
	}
	return act{tell: func(d *done) (told, error) {
		e, err := proof.RollOf(d.rec.Events)
		if err != nil {
			return told{}, err
		}
		s, err := sentence.Parse(e.Dice)
		if err != nil {
			return told{}, err
		}
		return tellRoll(d, s, label)
	}}, nil
}

// wordOf is a text that lies beside an entry, "" if there is none or it is hidden.
func (a *ask) wordOf(v *view, seq uint64, name string) (string, error) {
	list, err := a.desk.spoken(a.ctx, v, seq)
	if err != nil {
		return "", err
	}
	for _, w := range list {
		if w.Name == name {
			return w.Text, nil
		}
	}
	return "", nil
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
		if last, _ := rolls.Newest(); last.Carry.Dice > 0 && !a.rollWaits() {
			return last, nil
		}
		if a.rollWaits() {
			return proof.Rolled{}, refuse("", "dice.refuse.no_carry_yet")
		}
		return proof.Rolled{}, refuse("/roll 20d6 3+", "dice.refuse.no_carry")
	}
	if roll, _ := rolls.Of(of); roll.Carry.Dice > 0 {
		return roll, nil
	}
	return proof.Rolled{}, refuse("/roll 20d6 3+", "dice.refuse.no_carry_of", "entry", number(int64(of)), "most", proof.MostRolls)
}

// rollWaits tells whether a roll here waits for its cut: what "again" means is
// open until it is in.
func (a *ask) rollWaits() bool {
	for _, w := range a.here.game.Waiting {
		if w.Name == "roll" {
			return true
		}
	}
	return false
}

// labelOf is the label of the chain that a roll belongs to, "" if it has none or
// it was hidden.
func (a *ask) labelOf(seq uint64) (string, error) {
	rolls := proof.RollsOf(a.here.game)
	for at, ok := rolls.Of(seq); ok; at, ok = rolls.Of(at.Of) {
		if label, err := a.wordOf(a.here, at.Seq, wordLabel); err != nil || label != "" {
			return label, err
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
func tellRoll(d *done, s sentence.Sentence, label string) (told, error) {
	r := rolled{view: d.after, seq: d.rec.Seq, by: d.rec.Player, rec: d.rec, label: label, sentence: s,
		outcome: s.Roll(dice.NewShown(d.rec.Faces))}
	post := chat.Post{Lines: r.lines(), Choices: r.choices(), Files: r.files(), Entry: int64(d.rec.Seq)}
	chosen, err := d.ask.settings(d.after.place)
	if chosen.Pictures == picturesAlways {
		post.Pictures = r.picture()
	}
	return told{posts: []chat.Post{post}}, err
}
