package commands

import (
	"fmt"
	"strconv"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/attack"
	"drumhead/engine/battle"
	"drumhead/engine/dice"
	"drumhead/engine/reason"
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
			lines = append(lines, x.told(t)...)
		}
	}
	if len(lines) == 0 {
		return x.plain(e.part), nil
	}
	if e.part == 0 && len(story) > mostWhole {
		lines = append(lines, x.say("battle.why.parts", "command", typed(fmt.Sprintf("/explain %d.%d", x.rec, story[0].Line))))
	}
	return lines, nil
}

// mostWhole is how many rolls are explained at once; of more each has a line,
// and the asker picks.
const mostWhole = 2

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

// plain tells lines that rolled nothing.
func (x explainer) plain(part int) []chat.Line {
	lines := []chat.Line{x.say("battle.why.nothing", "entry", x.number(part))}
	return append(lines, x.tale.body(everything)...)
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
	case battle.Suffering, battle.ARun:
		return []chat.Line{append(x.tale.event(t.Event, 0), x.dot(t.Line)...)}
	}
	lines := []chat.Line{x.head(t)}
	for _, why := range t.Why {
		lines = append(lines, x.say("battle.why.because", "why", why))
	}
	return lines
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

// attack lays the dice of an attack over its steps.
func (x explainer) attack(t battle.Told) []chat.Line {
	e := t.Event.(*battle.Attacked)
	lines := []chat.Line{x.say("battle.why.attack", "entry", x.number(t.Line), "unit", x.unit(t.Unit), "at", x.unit(t.At),
		"weapon", reason.Name(x.Pack.Weapon(t.Weapon).Title), "end", x.tale.end(e.Crossed, e.Fell, e.Left))}
	step := -1
	for _, why := range t.Why {
		if plainNumber(why) {
			continue
		}
		line := x.view.speaker().Reason(why)
		if why.ID == "why.step" || len(why.ID) > len("why.step.") && why.ID[:len("why.step.")] == "why.step." {
			step++
			line = append(line, x.dice(t, step)...)
		}
		lines = append(lines, line)
	}
	if t.Opened != nil {
		lines = append(lines, x.reroll(t))
	}
	return append(lines, x.say("battle.why.crossed", "n", e.Crossed, "end", x.tale.end(e.Crossed, e.Fell, e.Left)))
}

// plainNumber tells that nothing changed how many attacks there are.
func plainNumber(why reason.Reason) bool {
	if why.ID != "why.attacks" && why.ID != "why.attacks.number" || len(why.Args) == 0 {
		return false
	}
	because, ok := why.Args[0].Value.(reason.Reason)
	return ok && because.ID == "why.attacks.each"
}

// dice shows what fell at a step: those that passed, then the rest.
func (x explainer) dice(t battle.Told, step int) chat.Line {
	rolled, each := attack.Rolled{}, attack.Each{}
	switch {
	case step < len(t.Attack.Steps):
		rolled, each = t.Result.Steps[step], t.Attack.Steps[step]
	default:
		rolled, each = saves(t.Result.Packets), t.Attack.Ladder.Segments[0].Save
	}
	if len(rolled.Dice) == 0 {
		return nil
	}
	var f fallen
	for _, face := range rolled.Faces() {
		if each.Passes(face) {
			f.good = append(f.good, face)
		} else {
			f.rest = append(f.rest, face)
		}
	}
	id := "battle.why.passed"
	if each.On == attack.FailsGoOn {
		id = "battle.why.lost"
	}
	line := x.say(id, "dice", f.text(false), "n", len(f.good), "lost", len(f.rest))
	if rolled.Extra > 0 {
		line = append(line, x.say("battle.why.extra", "n", rolled.Extra, "on", rolled.On)...)
	}
	return line
}

// reroll names the save that a standing order had rolled again.
func (x explainer) reroll(t battle.Told) chat.Line {
	for _, p := range t.Result.Packets {
		if p.SaveAgain > 0 {
			return x.say("battle.why.reroll", "player", x.player(unitOf(x.State, t.At).Side), "of", number(int64(t.Opened.Of)), "was", p.Save, "now", p.SaveAgain)
		}
	}
	return nil
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
