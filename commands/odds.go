package commands

import (
	"errors"
	"regexp"
	"strings"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/attack"
	"drumhead/engine/battle"
	"drumhead/engine/odds"
	"drumhead/engine/reason"
	"drumhead/engine/sentence"
)

func oddsCommands() []command {
	return []command{{
		Spec: args.Spec{Name: "odds", Mode: args.Private, Help: "exact chances, nothing rolled: of dice, orders, best UNIT, or roll N", Example: "/odds 12d6 4+, at least 5",
			Params: []args.Param{{Name: "of", Kind: args.Sentence, Help: "a dice sentence, a line of a sheet, best UNIT, or a roll's number"}}},
		plan: planOdds,
	}}
}

var (
	spokenEntry = regexp.MustCompile(`^#?(\d{1,9})(?:\.(\d{1,4}))?$`)
	spokenVerb  = regexp.MustCompile(`(?i)^(shoot|split|charge|fight|cast|move|run|hold|fall ?back)\b`)
	// spokenChance is a line whose outcome dice decide.
	spokenChance = regexp.MustCompile(`(?i)^(shoot|split|charge|fight|cast)\b`)
	spokenBest   = regexp.MustCompile(`(?i)^best\s+(?:target\s+(?:for|of)\s+)?([^\d\s].*)$`)
	spokenAt     = regexp.MustCompile(`(?i)\S\s+at\s+\S`)
)

// planOdds tells exact chances. Nothing is rolled and no entry is made.
func planOdds(a *ask) (*answer, error) {
	text := strings.TrimSpace(a.value("of"))
	switch {
	case spokenEntry.MatchString(text):
		return a.oddsOfRoll()
	case spokenVerb.MatchString(text):
		return a.oddsOfLines(text)
	case spokenBest.MatchString(text):
		return a.oddsBest(spokenBest.FindStringSubmatch(text)[1])
	}
	s, err := sentence.Parse(text)
	if err != nil {
		if spokenAt.MatchString(text) {
			return a.oddsOfLines(text)
		}
		return nil, oddsExample(slashed(err))
	}
	if s.Again {
		before, err := a.goesOn(0)
		if err != nil {
			return nil, err
		}
		if s, err = s.On(before.Carry); err != nil {
			return nil, oddsExample(slashed(err))
		}
	}
	return a.oddsOfSentence(s)
}

// oddsExample makes an example for /roll one for /odds.
func oddsExample(err error) error {
	var r *reason.Refusal
	if !errors.As(err, &r) {
		return err
	}
	one := *r
	one.Example = strings.Replace(r.Example, "/roll ", "/odds ", 1)
	return &one
}

// chances is a law that is to be told: of what, and what of it fell if it was rolled.
type chances struct {
	ask   *ask
	head  chat.Line // the question
	what  string    // id of the quantity in the catalogue
	law   odds.Law
	asked string // the chance of yes, where the question is one of yes or no
	fell  *int
	took  chat.Line // what it would have taken, if it came to nothing
}

// sentence is the answer in one: what is to be expected, and where the middle lies.
func (c chances) sentence() chat.Line {
	from, to, chance := c.law.Middle(middleShare)
	id := "odds.middle"
	if from == to {
		id = "odds.middle_one"
	}
	return c.ask.say("odds.mean", "what", c.ask.say(c.what, "n", decimal(c.law.Mean())), "middle", c.ask.say(id, "from", from, "to", to, "chance", percent(chance)))
}

// mostSteps is how many "N or more" are listed.
const mostSteps = 8

// lines tell a law: what to expect, the middle, and how likely so many or more are.
func (c chances) lines() []chat.Line {
	say := c.ask.say
	if c.what == oddsWinner {
		return compact([]chat.Line{say("odds.answer", "what", c.head,
			"answer", say("odds.winner", "first", percent(c.law.Exactly(2)), "tie", percent(c.law.Exactly(1)), "second", percent(c.law.Exactly(0)))), c.took})
	}
	lines := []chat.Line{say("odds.answer", "what", c.head, "answer", c.sentence())}
	if c.asked != "" {
		lines = []chat.Line{say("odds.answer", "what", c.head, "answer", say("odds.asked", "chance", c.asked)), c.sentence()}
	}
	if steps := c.steps(); len(steps) > 1 || len(steps) == 1 && c.asked == "" {
		lines = append(lines, say("odds.or_more", "steps", steps))
	}
	if c.fell != nil {
		lines = append(lines, say("odds.fell", "n", *c.fell, "more", percent(c.law.AtLeast(*c.fell)), "fewer", percent(c.law.AtMost(*c.fell))))
	}
	if c.took != nil {
		lines = append(lines, c.took)
	}
	return lines
}

// taken says what an attack that came to nothing would have taken; nil for one
// that did not.
func (a *ask) taken(x attack.Attack, r attack.Result) chat.Line {
	stop, ok := x.Stopped(r)
	if !ok {
		return nil
	}
	id := "odds.took"
	if stop.Step.On == attack.FailsGoOn {
		id = "odds.took_save"
	}
	return a.say(id, "need", stop.Step.Need.String(), "n", stop.Dice, "chance", percent(stop.Chance))
}

// takenOf says what a roll that fell short of what it asked would have taken.
func (a *ask) takenOf(s sentence.Sentence, r sentence.Round) chat.Line {
	if by, short := s.Short(r); short {
		id := "odds.took_more"
		if by < 0 {
			id, by = "odds.took_less", -by
		}
		return a.say(id, "n", by)
	}
	if r.Chain == nil {
		return nil
	}
	return a.taken(s.Attack(), *r.Chain)
}

// middleShare is how much of a law its middle holds, at the least.
const middleShare = 0.8

// steps lists chances of so many or more, where they are neither sure nor hopeless.
func (c chances) steps() []string {
	first, last := c.law.Least+1, c.law.Least+len(c.law.Chance)-1
	for first < last && c.law.AtLeast(first) > 0.9995 {
		first++
	}
	for last > first && c.law.AtLeast(last) < 0.0005 {
		last--
	}
	stride := max((last-first)/mostSteps+1, 1)
	var out []string
	for n := first; n <= last; n += stride {
		out = append(out, flat(c.ask.say("odds.step", "n", n, "chance", percent(c.law.AtLeast(n)))))
	}
	return out
}

// oddsWinner is the quantity of an opposed roll, which is no number.
const oddsWinner = "odds.what.winner"

var quantityWords = map[sentence.Quantity]string{
	sentence.Successes: "odds.what.successes", sentence.GoThrough: "odds.what.through", sentence.Damage: "odds.what.damage",
	sentence.Models: "odds.what.models", sentence.Sum: "odds.what.total", sentence.Left: "odds.what.left", sentence.Winner: oddsWinner,
}

// oddsOfSentence tells the law of what a dice sentence comes to.
func (a *ask) oddsOfSentence(s sentence.Sentence) (*answer, error) {
	law, what, err := s.Odds()
	if err != nil {
		return nil, oddsExample(slashed(err))
	}
	c := chances{ask: a, head: a.say("odds.of", "what", s.Plain()), what: quantityWords[what], law: law}
	if s.Times > 1 {
		c.head = a.say("odds.of_each", "what", s.Plain(), "n", s.Times)
	}
	if chance, ok := s.Asked(law); ok {
		shown := percent(chance)
		if s.Shape() == sentence.Total {
			shown = outOf(chance, s.Mine.AsTotal())
		}
		c.asked = shown
	}
	return a.oddsPost(c)
}

// oddsPost is the post of a law, with its picture and its numbers for programs.
func (a *ask) oddsPost(all ...chances) (*answer, error) {
	p := a.post()
	for _, c := range all {
		p.Lines = append(p.Lines, c.lines()...)
	}
	last := all[len(all)-1]
	p.Pictures = last.picture()
	p.Law = fromZero(last.law)
	return only(p)
}

// fromZero is a law as a list of the chances of 0, 1, 2, …; none for one that can
// fall below 0.
func fromZero(l odds.Law) []float64 {
	if l.Least < 0 {
		return nil
	}
	return append(make([]float64, l.Least), l.Chance...)
}

// oddsOfRoll tells how likely it was what fell in a roll of this ledger.
func (a *ask) oddsOfRoll() (*answer, error) {
	if !a.here.open() {
		return nil, refuse("/roll 12d6 4+", "entry.refuse.nothing")
	}
	a.values["entry"] = strings.TrimPrefix(a.value("of"), "#")
	e, err := a.asked()
	if err != nil {
		return nil, err
	}
	switch e.rec.Command {
	case battle.CommandOrder, battle.CommandPass:
		return a.oddsOfOrder(e)
	case battle.CommandBegin:
		return a.oddsOfRollOff(e)
	}
	r, err := e.rolled()
	if err != nil {
		return nil, refuse("/odds 12d6 4+", "odds.refuse.no_dice", "entry", number(int64(e.rec.Seq)))
	}
	law, what, err := r.sentence.Odds()
	if err != nil {
		return nil, oddsExample(slashed(err))
	}
	c := chances{ask: a, head: a.say("odds.of_roll", "entry", number(int64(r.seq)), "who", r.view.who(r.by), "what", r.sentence.Plain()), what: quantityWords[what], law: law}
	several := len(r.outcome.Rounds) > 1
	if several && e.part == 0 {
		answer, err := a.oddsPost(c)
		if err == nil {
			answer.posts[0].Lines = append(answer.posts[0].Lines, a.say("odds.one_of", "n", len(r.outcome.Rounds), "command", typed("/odds "+number64(r.seq)+".1")))
		}
		return answer, err
	}
	if several {
		c.head = a.say("odds.of_roll", "entry", numbered(r.seq, e.part), "who", r.view.who(r.by), "what", r.sentence.Plain())
	}
	round := r.outcome.Rounds[max(0, e.part-1)]
	if what == sentence.Winner {
		c.took = r.say("dice.explain." + winner(round.Opposed.Winner))
	} else {
		n := r.sentence.Count(round)
		c.fell, c.took = &n, a.takenOf(r.sentence, round)
	}
	return a.oddsPost(c)
}
