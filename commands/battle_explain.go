package commands

import (
	"fmt"
	"math"
	"strconv"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/attack"
	"drumhead/engine/battle"
	"drumhead/engine/dice"
	"drumhead/engine/rules"
)

// explainOrder tells how an entry of a battle came about: it is decided again on
// the state before it, with the dice that it shows, and each roll is laid over
// what was needed and why.
func explainOrder(e *explained) ([]chat.Line, error) {
	c, err := proof.CommandOf(e.rec)
	if err != nil {
		return nil, err
	}
	events, story, err := proof.Battling{}.Tell(e.before, c, dice.NewShown(e.rec.Faces))
	if err != nil {
		return nil, err
	}
	f, ok, err := e.battle()
	if err != nil || !ok {
		return nil, err
	}
	x := explainer{field: f, rec: e.rec.Seq, tale: tale{before: f, after: f, rec: e.rec, events: events, all: true}}
	var lines []chat.Line
	for _, t := range story {
		switch {
		case e.part == 0 && len(story) > mostWhole:
			lines = append(lines, x.told(t)[:min(1, len(x.told(t)))]...)
		case e.part == 0 || t.Line == e.part:
			if len(lines) == 0 && x.together(t.Line) {
				lines = append(lines, x.say("battle.why.together"))
			}
			lines = append(lines, x.told(t)...)
			if t.What == battle.AnAttack && len(e.drawn) < mostDrawn {
				e.drawn = append(e.drawn, x.picture(t, len(e.drawn))...)
			}
		}
	}
	if len(lines) == 0 {
		return x.plain(e.part), nil
	}
	if e.part == 0 && len(story) > mostWhole && story[0].Line > 0 {
		lines = append(lines, x.say("battle.why.parts", "command", typed(fmt.Sprintf("/explain %d.%d", x.rec, story[0].Line))))
	}
	return lines, nil
}

// together tells whether two sides struck on a line that was no charge: then both
// did with all that stood before, which the numbers of dice show.
func (x explainer) together(line int) bool {
	blows := 0
	for _, e := range x.tale.events {
		switch e := e.(type) {
		case *battle.Charged:
			if e.Line == line {
				return false
			}
		case *battle.Attacked:
			if e.Line == line && e.How == battle.Fight {
				blows++
			}
		}
	}
	return blows > 1 && x.Pack.Melee.Strikes == rules.ChargerFirst
}

// mostWhole is how many rolls are explained at once; of more each has a line,
// and the asker picks.
const mostWhole = 2

// mostDrawn is how many attacks are drawn at once: a charge has two, of both sides.
const mostDrawn = 2

// battle is the battle of an entry, as it stood after it, with people's names.
func (e *explained) battle() (field, bool, error) {
	c, err := proof.CommandOf(e.rec)
	if err != nil {
		return field{}, false, err
	}
	after, err := e.before.Apply(c, e.rec.Events)
	if err != nil {
		return field{}, false, err
	}
	v := *e.view
	v.game = after
	return e.ask.battleIn(&v)
}

type explainer struct {
	field
	rec  uint64
	tale tale
}

// plain tells lines that rolled nothing: all of them, or the one asked for.
func (x explainer) plain(part int) []chat.Line {
	lines := []chat.Line{x.say("battle.why.nothing", "entry", x.number(part))}
	if part == 0 {
		return append(lines, x.tale.body(everything)...)
	}
	for i, e := range x.tale.events {
		if s, stopped := e.(*battle.Stopped); stopped && part > s.Line {
			return append(lines, x.say("battle.why.waited", "line", part, "stopped", s.Line))
		}
		if lineOf(e) == part {
			lines = append(lines, x.tale.event(e, i))
		}
	}
	return append(compact(lines), x.tale.stoppedAt(part)...)
}

// lineOf is the line of a sheet that an event came of, 0 if of none.
func lineOf(e battle.Event) int {
	switch e := e.(type) {
	case *battle.Moved:
		return e.Line
	case *battle.Held:
		return e.Line
	case *battle.Skipped:
		return e.Line
	case *battle.Attacked:
		return e.Line
	case *battle.Charged:
		return e.Line
	case *battle.CastAt:
		return e.Line
	case *battle.Volleyed:
		return e.Line
	case *battle.Looked:
		return e.Line
	case *battle.Contested:
		return e.Line
	case *battle.Mended:
		return e.Line
	case *battle.Met:
		return e.Line
	}
	return 0
}

func (x explainer) number(line int) chat.Span {
	span := number(int64(x.rec))
	if line > 0 {
		span.Text = "." + strconv.Itoa(line)
	}
	return span
}

// told is one roll in lines: what it was, then each step.
func (x explainer) told(t battle.Told) []chat.Line {
	switch t.What {
	case battle.AnAttack:
		return x.attack(t)
	case battle.ACounter:
		return nil // stands with the cast
	case battle.AVolley, battle.ALook, battle.AContest, battle.ATest, battle.AMending, battle.AWind:
		return x.tabled(t)
	case battle.Suffering, battle.ARun:
		return []chat.Line{append(x.tale.event(t.Event, 0), x.dot(t.Line)...)}
	}
	lines := []chat.Line{x.head(t)}
	for _, why := range t.Why {
		lines = append(lines, x.say("battle.why.because", "why", why))
	}
	lines = append(lines, x.before(t)...)
	if t.What == battle.ACast {
		lines = append(lines, x.tale.unapplied(t.Event.(*battle.CastAt))...)
	}
	return lines
}

// before says what the chances were before the roll, exactly.
func (x explainer) before(t battle.Told) []chat.Line {
	switch t.What {
	case battle.ACharge, battle.AMorale:
		chance, err := t.Total.Made()
		if err != nil || t.Total.Judge == attack.Unjudged {
			return nil
		}
		return []chat.Line{x.say("battle.why.before_"+string(t.What), "chance", outOf(chance, t.Total))}
	case battle.ACast:
		b, ok := t.Cast.Compiled.Before(t.Cast.Wounds)
		if !ok {
			return nil
		}
		id := "battle.why.before_cast"
		if t.Cast.Opposed {
			id = "battle.why.before_opposed"
		}
		lines := []chat.Line{x.say(id, "chance", percent(b.Cast), "stands", percent(b.Against))}
		if b.Mishap > 0 {
			lines = append(lines, x.say("battle.why.before_mishap", "chance", oneIn(b.Mishap), "unit", x.unit(t.Unit), "death", oneIn(b.Death)))
		}
		return lines
	}
	return nil
}

// outOf shows a chance as so many of all throws where these can be counted off:
// "21 in 36 (58%)".
func outOf(chance float64, t attack.Total) string {
	throws := 1.0
	for _, term := range t.Terms {
		throws *= math.Pow(float64(term.Sides), float64(term.Dice))
	}
	if throws > mostThrows {
		return percent(chance)
	}
	return fmt.Sprintf("%.0f in %.0f (%s)", chance*throws, throws, percent(chance))
}

// mostThrows is how many throws one can picture.
const mostThrows = 1296

// oneIn shows a small chance as "1 in 54", if it is just that.
func oneIn(chance float64) string {
	in := math.Round(1 / chance)
	if chance <= 0 || chance > 0.2 || math.Abs(chance*in-1) > 1e-9 {
		return percent(chance)
	}
	return fmt.Sprintf("1 in %.0f", in)
}

func (x explainer) dot(line int) chat.Line {
	return chat.Line{{Kind: chat.Plain, Text: " "}, x.number(line)}
}

// head is the first line of a total: what the dice showed against what.
func (x explainer) head(t battle.Told) chat.Line {
	at := 0
	for i, e := range x.tale.events {
		if e.Type() == t.Event.Type() && show(e) == show(t.Event) {
			at = i
		}
	}
	return x.tale.event(t.Event, at)
}

func show(e battle.Event) string {
	b, err := battle.MarshalEvent(e)
	if err != nil {
		return ""
	}
	return string(b)
}

// explainBegin tells the roll-off.
func explainBegin(e *explained) ([]chat.Line, error) {
	events, err := battleEvents(e.rec)
	if err != nil {
		return nil, err
	}
	f, ok, err := e.battle()
	if err != nil || !ok {
		return nil, err
	}
	lines := []chat.Line{f.say("battle.why.rolloff", "entry", number(int64(e.rec.Seq)))}
	for _, r := range events[0].(*battle.Begun).Rolls {
		lines = append(lines, f.say("battle.why.round", "one", f.player(0), "mine", r[0], "two", f.player(1), "theirs", r[1]))
	}
	return append(lines, f.say("battle.why.first", "player", f.player(f.First))), nil
}
