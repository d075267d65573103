package commands

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/engine/attack"
	"drumhead/engine/dice"
	"drumhead/engine/odds"
	"drumhead/engine/sentence"
	"drumhead/storage"
)

// rolled is a roll that is to be told.
type rolled struct {
	view     *view // its ledger with the roll
	seq      uint64
	by       string         // pseudonym
	rec      storage.Record // the whole entry: a roll that waited with its cut
	label    string
	sentence sentence.Sentence // as it was rolled
	outcome  sentence.Outcome
}

func (r rolled) say(id string, pairs ...any) chat.Line { return r.view.speaker().Say(id, pairs...) }

// lines is the whole post: what happened, the dice, what can be done next.
func (r rolled) lines() []chat.Line { return append(r.facts(), r.carry()...) }

// facts are what happened, and the dice.
func (r rolled) facts() []chat.Line {
	lines := []chat.Line{r.headline()}
	dice := r.faces()
	if len(dice) > mostFaces {
		lines, dice = append(lines, r.say("dice.filed", "n", r.thrown())), nil
	}
	for _, text := range dice {
		lines = append(lines, words.Text(text))
	}
	lines = add(lines, r.odds(), ". ")
	return add(lines, r.say("dice.mark", "entry", number(int64(r.seq)), "grade", r.grade()), " ")
}

// mostFaces is how many lines of dice a post shows; more hang on it as a file.
const mostFaces = 24

// faces are all dice, in lines: round by round, step by step.
func (r rolled) faces() []string {
	var dice []string
	for i, round := range r.outcome.Rounds {
		mark := ""
		if len(r.outcome.Rounds) > 1 {
			mark = strconv.Itoa(i+1) + ") "
		}
		for _, text := range r.dice(round) {
			dice = append(dice, wrap(mark+text)...)
			mark = ""
		}
	}
	return dice
}

// thrown counts the dice.
func (r rolled) thrown() int { return dice.RunsOf(r.rec.Faces).Count() }

// files are the dice that a post is too short for.
func (r rolled) files() []chat.Recipe {
	if len(r.faces()) <= mostFaces {
		return nil
	}
	return r.file()
}

func (r rolled) file() []chat.Recipe {
	return []chat.Recipe{{Kind: "dice", Ledger: r.view.ledger.String(), First: int64(r.seq), Last: int64(r.seq), Name: number64(r.seq) + "-dice.txt"}}
}

// whole are all dice, in lines: those too that were rolled again, as they fell first.
func (r rolled) whole() []string {
	lines := r.faces()
	for i, round := range r.outcome.Rounds {
		mark := ""
		if len(r.outcome.Rounds) > 1 {
			mark = strconv.Itoa(i+1) + ") "
		}
		for _, step := range steps(round) {
			if len(step.Again) > 0 {
				lines = append(lines, wrap(mark+r.again(step))...)
			}
		}
	}
	return lines
}

// steps are the steps of a round in which dice may be rolled again.
func steps(round sentence.Round) []attack.Rolled {
	switch {
	case round.Pools != nil:
		return []attack.Rolled{round.Pools.Mine, round.Pools.Theirs}
	case round.Chain != nil:
		return append(slices.Clone(round.Chain.Steps), saves(round.Chain.Packets), lastSaves(round.Chain.Packets))
	}
	return nil
}

// makeDice writes all dice of roll First, in lines.
func makeDice(ctx context.Context, d *Desk, recipe chat.Recipe) ([]byte, error) {
	l, err := storage.ParseLedgerID(recipe.Ledger)
	if err != nil {
		return nil, err
	}
	head, err := d.store.Head(ctx, l)
	if err != nil {
		return nil, err
	}
	a, v := &ask{desk: d, ctx: ctx}, &view{desk: d, ledger: l, head: head}
	rec, err := a.whole(v, uint64(recipe.First))
	if err != nil {
		return nil, err
	}
	r, err := (&explained{ask: a, view: v, rec: rec}).rolled()
	if err != nil {
		return nil, err
	}
	return []byte("#" + number64(rec.Seq) + ": " + r.sentence.Plain() + "\n" + strings.Join(r.whole(), "\n") + "\n"), nil
}

// carry says how many dice go on, and how, if any may.
func (r rolled) carry() []chat.Line {
	n := r.outcome.Carry.Dice
	switch {
	case n == 0 || !r.mayGoOn():
		return nil
	case r.offers():
		return []chat.Line{r.say("dice.carry", "n", n)}
	}
	next := sentence.Stage{Need: attack.AtLeast(r.outcome.Carry.Sides)}
	return []chat.Line{r.say("dice.carry_typed", "n", n, "command", chat.Span{Kind: chat.Command, Text: r.next(next)})}
}

// add puts a short piece at the end of the last line, or on a line of its own
// where it would be too long. No piece adds nothing.
func add(lines []chat.Line, piece chat.Line, between string) []chat.Line {
	if len(piece) == 0 {
		return lines
	}
	last := len(lines) - 1
	if last < 1 || length(lines[last])+len(between)+length(piece) > wide {
		return append(lines, piece)
	}
	lines[last] = words.Join(lines[last], words.Text(between), piece)
	return lines
}

// length is how many characters a line shows.
func length(l chat.Line) int { return utf8.RuneCountInString(words.Flat(l)) }

// uncut is the cut of a draw whose seal was never cut: there is no beacon.
const uncut = "none"

// grade is how the dice were fixed.
func (r rolled) grade() chat.Line { return r.view.grade(r.rec) }

// headline says in one sentence who rolled what and what came of it.
func (r rolled) headline() chat.Line {
	id, what := r.what()
	who := r.view.who(r.by)
	if r.label != "" {
		if strings.ContainsAny(r.label, ":0123456789\"") { // it could pass for what the bot says of another's roll
			return r.say("dice.quoted", "label", said(strings.ReplaceAll(r.label, "\"", "'")), "who", who, "what", what)
		}
		return r.say("dice.labelled", "label", said(r.label), "who", who, "what", what)
	}
	return r.say(id, "who", who, "what", what)
}

// what is the sentence and its result, and how it is joined to a name.
func (r rolled) what() (id string, what chat.Line) {
	s, first := r.sentence, r.outcome.Rounds[0]
	dice := s.Mine.String()
	switch {
	case len(r.outcome.Rounds) > 1:
		return "dice.rolls", r.say("dice.several", "dice", s.Plain(), "results", r.results())
	case s.Shape() == sentence.Opposed:
		o := first.Opposed.Bouts[0]
		return "dice.rolls", r.say("dice.opposed."+winner(first.Opposed.Winner), "dice", s.Plain(), "mine", o.Mine.Total, "theirs", o.Theirs.Total)
	case s.Shape() == sentence.Pools:
		p := first.Pools
		return "dice.rolls", r.say("dice.pools", "dice", s.Plain(), "mine", p.Mine.On, "theirs", p.Theirs.On, "n", p.Left)
	case s.Shape() == sentence.Total && s.Mine.Total != nil:
		return "dice.rolls", r.say("dice.judged."+made(first.Sum.Passed), "dice", dice, "total", first.Sum.Total)
	case s.Shape() == sentence.Total:
		return "dice.rolls", r.say("dice.total", "dice", dice, "total", first.Sum.Total)
	case len(s.Stages) == 1 && s.Hurt == nil:
		return r.single(dice, first)
	}
	return "dice.by", r.say("dice.chain", "n", s.Dice().Dice, "dice", dice, "steps", r.steps(first), "end", r.end(first))
}

// single is a chain of one stage.
func (r rolled) single(dice string, round sentence.Round) (id string, what chat.Line) {
	stage := r.sentence.Stages[0]
	need := stage
	need.Save = false
	one, save := "dice.one", "dice.save"
	if r.label != "" { // behind a label the name has a colon already
		one, save = "dice.one_named", "dice.save_named"
	}
	if stage.Save {
		need.Save = r.label != ""
		return "dice.saves", r.say(save, "dice", dice, "need", need.String(), "saved", round.Chain.Steps[0].Passed, "n", round.Chain.Through, "met", r.met(round))
	}
	return "dice.rolls", r.say(one, "dice", dice, "need", need.String(), "n", round.Chain.Through, "met", r.met(round))
}

// steps counts what went on stage by stage: "14, then 6, 3 saved".
func (r rolled) steps(round sentence.Round) chat.Line {
	var line chat.Line
	for i, stage := range r.sentence.Stages {
		on, saved := 0, 0
		if i < len(round.Chain.Steps) {
			on, saved = round.Chain.Steps[i].On, round.Chain.Steps[i].Passed
		} else {
			saved = saves(round.Chain.Packets).Passed
		}
		switch {
		case stage.Save:
			line = append(line, r.say("dice.step.save", "n", saved)...)
		case i == 0:
			line = append(line, r.say("dice.step.first", "n", on)...)
		default:
			line = append(line, r.say("dice.step.then", "n", on)...)
		}
		if i < len(r.sentence.Stages)-1 {
			line = append(line, words.Text(", ")...)
		}
	}
	return line
}

// end is what came of a chain.
func (r rolled) end(round sentence.Round) chat.Line {
	s, c := r.sentence, round.Chain
	id, pairs := "dice.end.successes", []any{"n", s.Count(round), "met", r.met(round)}
	switch {
	case s.Hurt != nil && s.Hurt.Models > 0 && c.Hurt > 0:
		id, pairs = "dice.end.hurt", append(pairs, "models", s.Hurt.Models, "hurt", c.Hurt)
	case s.Hurt != nil && s.Hurt.Models > 0:
		id, pairs = "dice.end.fell", append(pairs, "models", s.Hurt.Models)
	case s.Hurt != nil:
		id = "dice.end.damage"
	case s.Stages[len(s.Stages)-1].Save:
		id = "dice.end.through"
	}
	return r.say(id, pairs...)
}

// met says whether as many came as were asked for; nothing if nobody asked.
func (r rolled) met(round sentence.Round) chat.Line {
	if r.sentence.AtLeast == 0 {
		return nil
	}
	return r.say("dice.met."+yes(round.Met), "least", r.sentence.AtLeast)
}

// results lists what each of several rounds came to.
func (r rolled) results() string {
	text := ""
	for i, round := range r.outcome.Rounds {
		if i > 0 {
			text += ", "
		}
		switch {
		case round.Opposed != nil:
			o := round.Opposed.Bouts[0]
			text += strconv.Itoa(o.Mine.Total) + "-" + strconv.Itoa(o.Theirs.Total)
		default:
			text += strconv.Itoa(r.sentence.Count(round))
		}
	}
	return text
}

// dice shows the dice of a round, a line for each stage.
func (r rolled) dice(round sentence.Round) []string {
	s := r.sentence
	switch {
	case round.Sum != nil:
		return []string{sumDice(s.Mine, *round.Sum)}
	case round.Opposed != nil:
		o := round.Opposed.Bouts[0]
		return []string{s.Mine.String() + ": " + sumDice(s.Mine, o.Mine), s.Theirs.String() + ": " + sumDice(*s.Theirs, o.Theirs)}
	case round.Pools != nil:
		mine, theirs := s.Stages[0], *s.Theirs.Stage
		return []string{mine.Need.String() + ": " + stepDice(round.Pools.Mine, mine).text(mine.Need.OrLess),
			theirs.Need.String() + ": " + stepDice(round.Pools.Theirs, theirs).text(theirs.Need.OrLess)}
	}
	return r.chainDice(round)
}

func (r rolled) chainDice(round sentence.Round) []string {
	s, c := r.sentence, round.Chain
	var lines []string
	for i, stage := range s.Stages {
		step := saves(c.Packets)
		if i < len(c.Steps) {
			step = c.Steps[i]
		}
		if len(step.Dice) == 0 {
			continue
		}
		text := stepDice(step, stage).text(stage.Need.OrLess)
		if len(s.Stages) > 1 || s.Hurt != nil {
			need := stage.Need.String()
			if stage.Save {
				need = "save " + need
			}
			text = need + ": " + text
		}
		if n := len(step.Again); n > 0 {
			text += words.Flat(r.say("dice.again", "n", n))
		}
		lines = append(lines, text)
	}
	if s.Hurt == nil {
		return lines
	}
	if dice := damage(c.Packets); len(dice) > 0 {
		lines = append(lines, "damage "+s.Hurt.Amount.String()+": "+fallen{good: dice}.text(false))
	}
	if step := lastSaves(c.Packets); len(step.Dice) > 0 {
		last := sentence.Stage{Need: *s.Hurt.Last}
		lines = append(lines, "last save "+last.Need.String()+": "+stepDice(step, last).text(last.Need.OrLess))
	}
	return lines
}

// odds says how likely it was what came through: for a chain in one sentence
// what was expected, for a save that ends a chain of rolls the chance of so much.
func (r rolled) odds() chat.Line {
	chain, first, ok := proof.RollsOf(r.view.game).Chain(r.seq, r.sentence)
	if !ok || len(r.outcome.Rounds) > 1 || len(chain.Stages) < 2 {
		return nil
	}
	law, ok := chain.Through()
	switch {
	case !ok:
		return nil
	case first.Seq == r.seq:
		return r.say("dice.expected", "n", decimal(law.Mean()))
	case chain.Stages[len(chain.Stages)-1].Save:
		what, chance := r.tail(law, r.outcome.Rounds[0].Chain.Through)
		steps := r.say("dice.steps." + strconv.Itoa(len(chain.Stages)))
		return r.say("dice.chance", "what", what, "dice", chain.Dice().Dice, "steps", steps, "chance", chance)
	}
	return nil
}

// tail is so many or more, or so many or fewer where that is the rarer side, and
// the chance of it.
func (r rolled) tail(law odds.Law, n int) (what chat.Line, chance string) {
	if float64(n) >= law.Mean() {
		return r.say("dice.or_more", "n", n), percent(law.AtLeast(n))
	}
	return r.say("dice.or_fewer", "n", n), percent(law.AtMost(n))
}

func winner(w int) string { return map[int]string{1: "first", -1: "second", 0: "tie"}[w] }

func made(passed bool) string {
	if passed {
		return "made"
	}
	return "missed"
}

func yes(met bool) string {
	if met {
		return "yes"
	}
	return "no"
}
