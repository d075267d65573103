package commands

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"drumhead/commands/chat"
	"drumhead/commands/picture"
	"drumhead/commands/words"
	"drumhead/engine/attack"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
	"drumhead/engine/sentence"
)

// When rolls come with a picture of their dice.
const (
	picturesOnWish = ""       // with /explain
	picturesAlways = "always" // with every roll too
	picturesNever  = "never"
)

// tray collects throws, one for each step of a roll, until they are drawn.
type tray struct {
	say    func(id string, pairs ...any) chat.Line
	throws []picture.Throw
}

func (t *tray) word(id string) string { return words.Flat(t.say(id)) }

// lay puts down the dice of a step: those that did what was asked, with a number
// and a word, and the rest. Steps without dice are left out.
func (t *tray) lay(title string, sides int, f fallen, good, rest string) {
	if len(f.good)+len(f.rest) == 0 {
		return
	}
	v := picture.Throw{Title: title, Sides: sides,
		Good: picture.Group{Number: strconv.Itoa(len(f.good)), Word: t.word(good), Faces: f.good}}
	if rest != "" && len(f.rest) > 0 {
		v.Rest = picture.Group{Number: strconv.Itoa(len(f.rest)), Word: t.word(rest), Faces: f.rest}
	}
	t.throws = append(t.throws, v)
}

// step puts down the dice of a stage.
func (t *tray) step(title string, sides int, f fallen, save bool) {
	if save {
		t.lay(title, sides, f, "dice.picture.saved", "dice.picture.through")
		return
	}
	t.lay(title, sides, f, "dice.picture.passed", "dice.picture.missed")
}

// points puts down dice whose faces are added up.
func (t *tray) points(title string, sides int, faces []int) {
	at := len(t.throws)
	t.lay(title, sides, fallen{good: faces}, "dice.picture.total", "")
	if len(t.throws) > at {
		t.throws[at].Good.Number = strconv.Itoa(total(faces))
	}
}

// sum puts down the dice of a total, kind by kind: dice that were not kept, or
// that were rolled again, lie below.
func (t *tray) sum(title string, terms []attack.Term, sum attack.Sum) {
	for i, rolled := range sum.Terms {
		var f fallen
		for k, face := range faces(rolled) {
			if rolled.Kept == nil || slices.Contains(rolled.Kept, k) {
				f.good = append(f.good, face)
			} else {
				f.rest = append(f.rest, face)
			}
		}
		for _, more := range rolled.More {
			f.good = append(f.good, more.Face)
		}
		at := len(t.throws)
		switch {
		case terms[i].Times == 10:
			title = t.word("dice.picture.tens")
		case i > 0 && terms[i-1].Times == 10:
			title = t.word("dice.picture.ones")
		}
		t.lay(title, terms[i].Sides, f, "dice.picture.total", "dice.picture.set_aside")
		if len(t.throws) > at {
			t.throws[at].Good.Number = strconv.Itoa(total(f.good))
		}
		title = ""
	}
	if len(sum.Terms) == 1 && len(t.throws) > 0 && terms[0].Times < 2 {
		t.throws[len(t.throws)-1].Good.Number = strconv.Itoa(sum.Total)
	}
}

// faces are the faces of a term's dice after re-rolls.
func faces(t attack.TermRolled) []int { return attack.Rolled{Dice: t.Dice, Again: t.Again}.Faces() }

func total(faces []int) int {
	sum := 0
	for _, f := range faces {
		sum += f
	}
	return sum
}

// draw makes the picture of what lies on the tray; of more throws than a picture
// holds there is none.
func (t *tray) draw(title, detail string, told chat.Line, name string) []chat.Recipe {
	if len(t.throws) == 0 {
		return nil
	}
	said := []chat.Line{told}
	for _, v := range t.throws {
		said = append(said, words.Text(t.inWords(v)))
	}
	return drawn(picture.Dice{Title: title, Detail: detail, Alt: altOf(said...), Throws: t.throws}, name)
}

// inWords tells a throw: "To hit 4+: 6 5 4; missed 2 1".
func (t *tray) inWords(v picture.Throw) string {
	text := fallen{good: v.Good.Faces}.text(false)
	if len(v.Good.Faces) == 0 {
		text = t.word("dice.picture.none")
	}
	if v.Title != "" {
		text = v.Title + ": " + text
	}
	if len(v.Rest.Faces) > 0 {
		text += "; " + v.Rest.Word + " " + fallen{good: v.Rest.Faces}.text(false)
	}
	return text
}

// picture draws the dice of an attack in a battle, step by step as it is explained;
// n tells it from others of the same line.
func (x explainer) picture(t battle.Told, n int) []chat.Recipe {
	tray := tray{say: x.say}
	x.layAttack(&tray, t)
	detail := x.say("dice.picture.at", "at", x.unit(t.At), "weapon", reason.Name(x.Pack.Weapon(t.Weapon).Title))
	return tray.draw(string(x.unit(t.Unit)), words.Flat(detail), x.told(t)[0], fmt.Sprintf("roll%d-%d%c", x.rec, t.Line, 'a'+n))
}

func (x explainer) layAttack(tray *tray, t battle.Told) {
	a := t.Attack
	tray.points(tray.word("dice.picture.number"), a.Number.Per.Sides, t.Result.NumberDice)
	at := -1
	for _, why := range t.Why {
		if !strings.HasPrefix(why.ID, "why.step.") {
			continue
		}
		at++
		step, sides := x.step(t, at), a.Ladder.Segments[0].Save.Sides
		if at < len(a.Steps) {
			sides = a.Steps[at].Sides
		}
		title := strings.TrimRight(words.Flat(x.view.speaker().Reason(why)), ".")
		tray.step(title, sides, step.fallen, step.save)
	}
	tray.points(tray.word("dice.picture.damages"), a.Damage.Amount.Sides, damage(t.Result.Packets))
	if last := lastSaves(t.Result.Packets); len(last.Dice) > 0 {
		need := a.Ladder.Segments[0].Last
		tray.step(tray.word("dice.picture.lasts"), need.Sides, parted(last, need), true)
	}
}

// parted parts a step's dice into those that pass and the rest.
func parted(r attack.Rolled, e attack.Each) fallen {
	var f fallen
	for _, face := range r.Faces() {
		if e.Passes(face) {
			f.good = append(f.good, face)
		} else {
			f.rest = append(f.rest, face)
		}
	}
	return f
}

// picture draws the dice of a roll as they fell.
func (r rolled) picture() []chat.Recipe {
	t := tray{say: r.say}
	for i, round := range r.outcome.Rounds {
		mark := ""
		if len(r.outcome.Rounds) > 1 {
			mark = strings.TrimRight(words.Flat(r.say("dice.explain.round", "n", i+1)), ":")
		}
		r.lay(&t, mark, round)
	}
	_, what := r.what()
	detail := strings.TrimRight(words.Flat(what), ".")
	return t.draw(r.view.who(r.by).Text, detail, r.headline(), fmt.Sprintf("roll%d", r.seq))
}

// under is the title of a step in a round, if there are several.
func under(mark, step string) string {
	if mark != "" && step != "" {
		return mark + ", " + step
	}
	return mark + step
}

// lay puts a round's dice on the tray.
func (r rolled) lay(t *tray, mark string, round sentence.Round) {
	s := r.sentence
	switch {
	case round.Sum != nil:
		t.sum(mark, terms(s.Mine), *round.Sum)
	case round.Opposed != nil:
		o := round.Opposed.Bouts[len(round.Opposed.Bouts)-1]
		t.sum(under(mark, s.Mine.String()), terms(s.Mine), o.Mine)
		t.sum(under(mark, s.Theirs.String()), terms(*s.Theirs), o.Theirs)
	case round.Pools != nil:
		mine, theirs := s.Stages[0], *s.Theirs.Stage
		t.step(under(mark, s.Mine.String()+" "+mine.Need.String()), s.Mine.Terms[0].Sides, stepDice(round.Pools.Mine, mine), false)
		t.step(under(mark, s.Theirs.String()+" "+theirs.Need.String()), s.Theirs.Terms[0].Sides, stepDice(round.Pools.Theirs, theirs), false)
	case round.Chain != nil:
		r.layChain(t, mark, round.Chain)
	}
}

func (r rolled) layChain(t *tray, mark string, c *attack.Result) {
	s := r.sentence
	sides := s.Dice().Sides
	for i, stage := range s.Stages {
		step := saves(c.Packets)
		if i < len(c.Steps) {
			step = c.Steps[i]
		}
		title := mark
		if len(s.Stages) > 1 || s.Hurt != nil || mark != "" {
			title = under(mark, sentence.Stage{Save: stage.Save, Need: stage.Need}.String())
		}
		t.step(title, sides, stepDice(step, stage), stage.Save)
	}
	if s.Hurt == nil {
		return
	}
	t.points(words.Flat(r.say("dice.picture.damage", "amount", s.Hurt.Amount.String())), s.Hurt.Amount.Sides, damage(c.Packets))
	if s.Hurt.Last != nil {
		last := sentence.Stage{Save: true, Need: *s.Hurt.Last}
		t.step(words.Flat(r.say("dice.picture.last", "need", last.Need.String())), sides, stepDice(lastSaves(c.Packets), last), true)
	}
}

// terms are a side's dice as they are rolled: a d66 is two.
func terms(s sentence.Side) []attack.Term { return s.AsTotal().Terms }
