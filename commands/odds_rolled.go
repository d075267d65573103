package commands

import (
	"fmt"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/attack"
	"drumhead/engine/battle"
	"drumhead/engine/dice"
	"drumhead/engine/odds"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// looker is one who asks how likely the rolls of an entry were.
type looker struct {
	field
	rec uint64
}

// likelihood is how likely one roll was: its lines, all of it in one, what programs
// read, its picture.
type likelihood struct {
	lines    []chat.Line
	brief    chat.Line
	law      []float64
	pictures []chat.Recipe
	line     int // of the sheet
}

// mostLikely is how many rolls of a whole entry are told with all that could have come
// of them; of more each has a line, and the asker picks.
const mostLikely = 2

// oddsOfOrder tells how likely it was what came of the rolls of an entry: of the part
// asked for, else of the first ones.
func (a *ask) oddsOfOrder(e *explained) (*answer, error) {
	c, err := proof.CommandOf(e.rec)
	if err != nil {
		return nil, err
	}
	_, story, err := proof.Battling{}.Tell(e.before, c, dice.NewShown(e.rec.Faces))
	if err != nil {
		return nil, err
	}
	f, ok, err := e.battle()
	if err != nil || !ok {
		return nil, err
	}
	l := looker{f, e.rec.Seq}
	var all []likelihood
	for _, t := range story {
		if e.part > 0 && t.Line != e.part {
			continue
		}
		one, rolled, err := l.likely(t)
		if err != nil {
			return nil, oddsTyped(err)
		}
		if rolled {
			one.line = t.Line
			all = append(all, one)
		}
	}
	if len(all) == 0 {
		return nil, refuse("/odds 12d6 4+", "odds.refuse.no_dice", "entry", explainer{rec: l.rec}.number(e.part))
	}
	return l.post(all, e.part > 0)
}

// post tells rolls: those of one line, or two or so, with all that could have come of
// them, of more each in a line.
func (l looker) post(all []likelihood, line bool) (*answer, error) {
	p, whole := l.ask.post(), line || len(all) <= mostLikely
	for i, one := range all {
		p.Law, p.Pictures = one.law, one.pictures
		switch {
		case whole:
			p.Lines = append(p.Lines, one.lines...)
		case i < mostTale:
			p.Lines = append(p.Lines, one.brief)
		}
	}
	if !whole {
		p.Pictures = nil
	}
	if !whole && all[0].line > 0 { // what comes of itself, as when a move is passed, stands on no line
		p.Lines = append(p.Lines, l.say("odds.one_of", "n", len(all), "command", typed(fmt.Sprintf("/odds %d.%d", l.rec, all[0].line))))
	}
	return only(p)
}

// likely tells how likely it was what came of one roll; rolled is false if no die
// was thrown.
func (l looker) likely(t battle.Told) (one likelihood, rolled bool, err error) {
	switch t.What {
	case battle.AnAttack:
		one, err = l.ofAttack(t)
	case battle.AVolley:
		one, err = l.ofVolley(t)
	case battle.ALook:
		one, err = l.ofLook(t)
	case battle.AContest:
		one, err = l.ofContest(t)
	case battle.AMending:
		one, err = l.ofMending(t)
	default:
		if len(t.Total.Terms) == 0 {
			return one, false, nil
		}
		one, err = l.ofTotal(t)
	}
	return one, err == nil, err
}

// of is the likelihood of a law that is told as every other.
func of(c chances, more ...chat.Line) likelihood {
	say := c.ask.say
	brief := say("odds.fell_brief", "n", *c.fell, "more", percent(c.law.AtLeast(*c.fell)), "fewer", percent(c.law.AtMost(*c.fell)))
	return likelihood{lines: append(c.lines(), more...), law: fromZero(c.law), pictures: c.picture(),
		brief: say("odds.answer", "what", c.head, "answer", brief)}
}

// head names a roll: the entry, the line of the sheet, and what it was.
func (l looker) head(t battle.Told, what chat.Line) chat.Line {
	return l.say("odds.of_told", "entry", explainer{rec: l.rec}.number(t.Line), "what", what)
}

// at names a roll of one unit at another.
func (l looker) at(t battle.Told) chat.Line {
	return l.head(t, l.say("odds.told.at", "unit", l.unit(t.Unit), "at", l.unit(t.At)))
}

func (l looker) ofAttack(t battle.Told) (likelihood, error) {
	solved, err := t.Attack.Solve()
	if err != nil {
		return likelihood{}, err
	}
	before := t.Attack.Ladder.Rung
	c, n := chances{ask: l.ask, head: l.at(t), what: "odds.what.models", law: solved.Fell(before)}, t.Result.Fell
	if t.Attack.Ladder.Models() == 1 {
		c.what, c.law, n = l.worn(), solved.Crossed(before), t.Result.Crossed
	}
	c.fell, c.took = &n, l.ask.taken(t.Attack, t.Result)
	return of(c, l.gone(t.At, solved.Destroyed())), nil
}

// worn is the quantity of what is crossed off one by one here.
func (l looker) worn() string {
	if l.Pack.WoundsCalled() != "wounds" {
		return "odds.what.crossed"
	}
	return "odds.what.wounds"
}

func (l looker) gone(unit string, chance float64) chat.Line {
	return l.say("odds.gone_only", "unit", l.unit(unit), "chance", percent(chance))
}

// ofVolley is the law of what pools against pools cross off a hull, and what a volley
// that did nothing would have taken.
func (l looker) ofVolley(t battle.Told) (likelihood, error) {
	law, err := t.Volley.Law()
	if err != nil {
		return likelihood{}, err
	}
	n := t.Pools.Hull.Crossed
	c := chances{ask: l.ask, head: l.at(t), what: l.worn(), law: law, fell: &n}
	if missed, ok := t.Volley.Stopped(t.Pools); ok {
		c.took = l.missed(missed, t.Volley.Volley)
	}
	return of(c, l.gone(t.At, law.AtLeast(t.Volley.Hull.Left))), nil
}

// missed says what a volley that crossed off nothing would have taken.
func (l looker) missed(m attack.Missed, v attack.Volley) chat.Line {
	switch {
	case m.Chance == 0:
		return l.say("odds.took_never")
	case m.Cancelled == 0:
		return l.say("odds.took", "need", v.Pools.Mine.Step.Need.String(), "n", v.Pools.Mine.Number, "chance", percent(m.Chance))
	}
	return l.say("odds.took_hits", "hits", m.Hits, "cancelled", m.Cancelled, "chance", percent(m.Chance))
}

// ofLook is the chance of every result of a table, of which one came.
func (l looker) ofLook(t battle.Told) (likelihood, error) {
	results, err := battle.Results(t.Looked)
	if err != nil {
		return likelihood{}, err
	}
	law, err := t.Looked.Roll.Dice.Law()
	if err != nil {
		return likelihood{}, err
	}
	e := t.Event.(*battle.Looked)
	words, _ := t.Looked.Result(e.Row)
	what := l.say("odds.told.look", "unit", l.unit(t.Unit), "table", reason.Name(t.Looked.Table.Words))
	if e.At != "" {
		what = l.say("odds.told.assault", "units", l.unitNamesOf(append([]string{e.Unit}, e.Also...)), "at", l.unit(e.At), "column", t.Looked.Odds())
		if t.Looked.Odds() == "" {
			what = l.say("odds.told.at", "unit", l.unit(e.Unit), "at", l.unit(e.At))
		}
	}
	this := percent(exactly(results, t.Sum.Total))
	lines := append([]chat.Line{l.say("odds.heading", "what", l.head(t, what))}, l.rows(results, t.Looked.Roll.Dice)...)
	lines = append(lines, l.say("odds.fell_row", "n", t.Sum.Total, "chance", this,
		"more", percent(law.AtLeast(t.Sum.Total)), "fewer", percent(law.AtMost(t.Sum.Total))))
	if e.At != "" && !t.Looked.Reaches(e.Row) {
		lines = append(lines, l.reached(results, e.At))
	}
	brief := l.say("odds.answer", "what", l.head(t, what), "answer", l.say("odds.result", "chance", this, "words", reason.Name(words)))
	return likelihood{lines: append(lines, l.losses(t.Looked, t.Stakes)...), law: inOrder(results), brief: brief}, nil
}

// exactly is the chance of the result that a total gave.
func exactly(results []battle.Chance, total int) float64 {
	for _, r := range results {
		if r.From <= total && total <= r.To {
			return r.Chance
		}
	}
	return 0
}

// inOrder are the chances of results in their order.
func inOrder(results []battle.Chance) []float64 {
	var law []float64
	for _, r := range results {
		law = append(law, r.Chance)
	}
	return law
}

// reached says what an assault that did nothing to its target would have taken.
func (l looker) reached(results []battle.Chance, at string) chat.Line {
	var totals []string
	chance, from := 0.0, 0
	for i, r := range results {
		if !r.Reaches {
			continue
		}
		if chance += r.Chance; i == 0 || !results[i-1].Reaches {
			from = r.From
		}
		if i+1 == len(results) || !results[i+1].Reaches { // the end of a stretch of them
			totals = append(totals, span(from, r.To))
		}
	}
	if len(totals) == 0 {
		return l.say("odds.took_never")
	}
	return l.say("odds.took_row", "totals", totals, "at", l.unit(at), "chance", percent(chance))
}

// span is a stretch of totals as it is read: 5, or 5-6.
func span(from, to int) string {
	if from == to {
		return fmt.Sprint(from)
	}
	return fmt.Sprintf("%d-%d", from, to)
}

// ofContest is who wins an opposed roll.
func (l looker) ofContest(t battle.Told) (likelihood, error) {
	w, err := t.Opposed.Solve()
	if err != nil {
		return likelihood{}, err
	}
	won := attack.OpposedRolled{Bouts: t.Bouts, Winner: t.Event.(*battle.Contested).Won}
	id, chance := "odds.won", w.Mine
	switch won.Winner {
	case 0:
		id, chance = "odds.tied", w.Tie
	case -1:
		id, chance = "odds.lost", w.Theirs
	}
	came := l.say(id, "unit", l.unit(t.Unit), "chance", percent(chance))
	lines := []chat.Line{l.say("odds.answer", "what", l.at(t), "answer", l.say("odds.contested", "mine", percent(w.Mine), "theirs", percent(w.Theirs))), came}
	if by, short := t.Opposed.Short(won); short {
		lines = append(lines, l.say("odds.took_more", "n", by))
	}
	return likelihood{lines: lines, law: []float64{w.Theirs, w.Tie, w.Mine}, brief: l.say("odds.answer", "what", l.at(t), "answer", came)}, nil
}

// ofMending is the law of the successes among a unit's own dice.
func (l looker) ofMending(t battle.Told) (likelihood, error) {
	law, err := t.Pool.Law()
	if err != nil {
		return likelihood{}, err
	}
	c := chances{ask: l.ask, head: l.head(t, l.say("odds.told.hold", "unit", l.unit(t.Unit))), what: "odds.what.successes", law: law, fell: &t.Rolled.On}
	if t.Rolled.On == 0 && t.Pool.Number > 0 {
		c.took = l.say("odds.took", "need", t.Pool.Step.Need.String(), "n", t.Pool.Number, "chance", percent(law.AtLeast(1)))
	}
	return of(c), nil
}

// ofTotal is the law of dice that are added up: for a charge, a power and its
// counter, morale and other tests, the wind, a run, what no save stops.
func (l looker) ofTotal(t battle.Told) (likelihood, error) {
	law, err := t.Total.Law()
	if err != nil {
		return likelihood{}, err
	}
	n := t.Sum.Total
	c := chances{ask: l.ask, head: l.head(t, l.total(t)), what: "odds.what.total", law: law, fell: &n}
	if t.Total.Judge != attack.Unjudged {
		chance, err := t.Total.Made()
		if err != nil {
			return likelihood{}, err
		}
		c.asked = outOf(chance, t.Total)
	}
	if by, short := t.Total.Short(t.Sum); short {
		c.took = l.short(by)
	}
	return of(c, l.stood(t)...), nil
}

// short says by how much a total failed.
func (l looker) short(by int) chat.Line {
	if by < 0 {
		return l.say("odds.took_less", "n", -by)
	}
	return l.say("odds.took_more", "n", by)
}

// total names a roll whose dice are added up, with what it needed.
func (l looker) total(t battle.Told) chat.Line {
	slots := []any{"unit", l.unit(t.Unit), "at", l.unit(t.At), "need", l.needed(t.Total)}
	switch e := t.Event.(type) {
	case *battle.CastAt:
		slots = append(slots, "power", reason.Name(l.Pack.Power(e.Power).Title))
	case *battle.Tried:
		slots = append(slots, "step", reason.Name(l.Pack.Step(e.Step).Words))
	case *battle.Blown:
		slots = append(slots, "step", reason.Name(l.Pack.Step(l.Pack.SequenceOf(string(battle.Run)).Steps[0]).Words))
	}
	return l.say("odds.told."+string(t.What), slots...)
}

// needed is what a total was judged by: "7 or more".
func (l looker) needed(t attack.Total) chat.Line {
	switch t.Judge {
	case attack.TotalAtLeast:
		return l.say("odds.told.at_least", "n", t.Value)
	case attack.TotalMoreThan:
		return l.say("odds.told.at_least", "n", t.Value+1)
	case attack.TotalAtMost:
		return l.say("odds.told.at_most", "n", t.Value)
	}
	return nil
}

// stood says of a power how likely it was to stand if it is countered, and a mishap.
func (l looker) stood(t battle.Told) []chat.Line {
	if t.What != battle.ACast {
		return nil
	}
	b, ok := t.Cast.Compiled.Before(t.Cast.Wounds)
	if !ok {
		return nil
	}
	id := "odds.stood"
	if t.Cast.Opposed {
		id = "odds.stood_opposed"
	}
	lines := []chat.Line{l.say(id, "chance", percent(b.Cast), "stands", percent(b.Against))}
	if b.Mishap > 0 {
		lines = append(lines, l.say("odds.mishap", "chance", oneIn(b.Mishap)))
	}
	return lines
}

// results tells each result of a table with its chance.
func (f field) results(all []battle.Chance) []chat.Line {
	var lines []chat.Line
	for _, r := range all {
		lines = append(lines, f.say("odds.result", "chance", percent(r.Chance), "words", reason.Name(r.Words)))
	}
	return lines
}

// rows tells each result of a table with the totals that give it and its chance.
func (f field) rows(all []battle.Chance, dice attack.Total) []chat.Line {
	var lines []chat.Line
	for _, r := range all {
		lines = append(lines, f.say("odds.row", "totals", span(r.From, r.To), "chance", outOf(r.Chance, dice), "words", reason.Name(r.Words)))
	}
	return lines
}

// losses tells how likely a roll on a table crosses so many or more off each of those
// it is about.
func (f field) losses(looked rules.Looked, stakes []battle.Stake) []chat.Line {
	var lines []chat.Line
	for _, s := range stakes {
		law, err := s.Loss(looked)
		if err != nil || law.Mean() == 0 {
			continue // a further table decides, or there is nothing to lose
		}
		lines = append(lines, f.say("odds.loss", "unit", f.unit(s.Unit), "name", reason.Name(f.Pack.WoundsCalled()), "steps", f.orMore(law)))
	}
	return lines
}

// orMore lists the chances of so many or more, from one on.
func (f field) orMore(law odds.Law) []string {
	var out []string
	for n := 1; n < law.Least+len(law.Chance) && len(out) < mostSteps; n++ {
		out = append(out, flat(f.say("odds.step", "n", n, "chance", percent(law.AtLeast(n)))))
	}
	return out
}

// oddsOfRollOff tells how likely it was who moves first.
func (a *ask) oddsOfRollOff(e *explained) (*answer, error) {
	f, ok, err := e.battle()
	if err != nil || !ok {
		return nil, err
	}
	one, two := battle.RollOff()
	p := a.post(f.say("odds.rolloff", "entry", number(int64(e.rec.Seq)), "one", f.player(0), "two", f.player(1), "mine", percent(one), "theirs", percent(two)),
		f.say("battle.why.first", "player", f.player(f.First)))
	p.Law = []float64{two, one}
	return only(p)
}
