package commands

import (
	"strings"

	"drumhead/commands/chat"
	"drumhead/engine/attack"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
)

// attack lays the dice of an attack over its steps. What did not come to pass,
// a step that nothing reached or a natural face that never fell, is left out.
func (x explainer) attack(t battle.Told) []chat.Line {
	e := t.Event.(*battle.Attacked)
	lines := []chat.Line{x.say("battle.why.attack", "entry", x.number(t.Line), "unit", x.unit(t.Unit), "at", x.unit(t.At),
		"weapon", reason.Name(x.Pack.Weapon(t.Weapon).Title), "end", x.tale.end(e.Crossed, e.Fell, e.Left))}
	step, now := -1, shownStep{}
	for _, why := range t.Why {
		kind := strings.Split(why.ID+".", ".")[1]
		if kind == "step" {
			step++
			now = x.step(t, step)
		}
		if line, shown := x.because(t, kind, why, now); shown {
			lines = append(lines, line)
		}
	}
	if t.Opened != nil {
		lines = append(lines, x.reroll(t))
	}
	return append(lines, x.outcome(t, e)...)
}

// shownStep is a step as it was rolled: what passed, what did not, what needed
// no die.
type shownStep struct {
	attack.Rolled
	fallen
	save bool
}

func (s shownStep) reached() bool { return len(s.Dice) > 0 || s.Free > 0 }

// step is what came to a step; the one after the last is the save, which is
// rolled for one wound after the other.
func (x explainer) step(t battle.Told, at int) shownStep {
	if at >= len(t.Attack.Steps) {
		return savesShown(packetsAt(t, at-len(t.Attack.Steps)))
	}
	s := shownStep{Rolled: t.Result.Steps[at]}
	for _, face := range s.Faces() {
		if t.Attack.Steps[at].Passes(face) {
			s.good = append(s.good, face)
		} else {
			s.rest = append(s.rest, face)
		}
	}
	return s
}

// packetsAt are the packets that came to one kind of model of the target; all of
// them where its models are alike.
func packetsAt(t battle.Told, segment int) []attack.Packet {
	if len(t.Attack.Ladder.Segments) == 1 {
		return t.Result.Packets
	}
	var out []attack.Packet
	for _, p := range t.Result.Packets {
		if p.Segment == segment {
			out = append(out, p)
		}
	}
	return out
}

// savesShown parts saves by what came of each: piercing may differ from one
// wound to the next.
func savesShown(packets []attack.Packet) shownStep {
	s := shownStep{Rolled: saves(packets), save: true}
	for _, p := range packets {
		face := p.Save
		if p.SaveAgain > 0 {
			face = p.SaveAgain
		}
		switch {
		case face == 0:
			s.Free++
		case p.Saved:
			s.good = append(s.good, face)
		default:
			s.rest = append(s.rest, face)
		}
	}
	return s
}

// because puts one reason into words, with the dice that belong to it.
func (x explainer) because(t battle.Told, kind string, why reason.Reason, now shownStep) (line chat.Line, shown bool) {
	line = x.view.speaker().Reason(why)
	switch kind {
	case "attacks":
		if len(t.Result.NumberDice) > 0 {
			line = append(line, x.say("battle.why.number", "dice", fallen{good: t.Result.NumberDice}.text(false), "n", t.Result.Attacks)...)
		}
		return line, len(t.Result.NumberDice) > 0 || !plainNumber(why)
	case "step":
		return append(line, x.dice(now)...), now.reached()
	case "natural":
		return line, fellFrom(now, why)
	case "reroll":
		return line, len(now.Again) > 0
	case "damage", "damage_because", "damage_worn":
		if dice := damage(t.Result.Packets); len(dice) > 0 {
			line = append(line, x.say("battle.why.damage", "dice", fallen{good: dice}.text(false))...)
		}
		return line, x.hurt(t)
	case "other_save":
		return line, now.reached()
	case "last_save":
		last := lastSaves(t.Result.Packets)
		return append(line, x.lastSaves(t, last)...), len(last.Dice) > 0
	}
	return line, now.reached()
}

// plainNumber tells that nothing changed how many attacks there are.
func plainNumber(why reason.Reason) bool {
	if len(why.Args) == 0 {
		return false
	}
	because, ok := why.Args[0].Value.(reason.Reason)
	return ok && (because.ID == "why.attacks.each" || because.ID == "why.attacks.once")
}

// fellFrom tells whether a face fell that the reason speaks of.
func fellFrom(now shownStep, why reason.Reason) bool {
	for _, arg := range why.Args {
		from, ok := arg.Value.(int)
		if arg.Name != "from" || !ok {
			continue
		}
		for _, face := range now.Faces() {
			if face >= from {
				return true
			}
		}
	}
	return false
}

// hurt tells whether any damage was counted.
func (x explainer) hurt(t battle.Told) bool {
	for _, p := range t.Result.Packets {
		if p.Points > 0 {
			return true
		}
	}
	return false
}

// dice shows what fell at a step: those that passed, then the rest.
func (x explainer) dice(s shownStep) chat.Line {
	var line chat.Line
	if len(s.Dice) > 0 {
		id := "battle.why.passed"
		if s.save {
			id = "battle.why.lost"
		}
		line = x.say(id, "dice", s.text(false), "n", len(s.good), "lost", len(s.rest))
	}
	if s.Free > 0 && len(s.Dice) > 0 {
		line = append(line, x.say("battle.why.free", "n", s.Free)...)
	}
	if s.Extra > 0 {
		line = append(line, x.say("battle.why.extra", "n", s.Extra, "on", s.On)...)
	}
	return line
}

// lastSaves shows the saves against each point of damage.
func (x explainer) lastSaves(t battle.Told, last attack.Rolled) chat.Line {
	var f fallen
	need := t.Attack.Ladder.Segments[0].Last
	for _, face := range last.Faces() {
		if need.Passes(face) {
			f.good = append(f.good, face)
		} else {
			f.rest = append(f.rest, face)
		}
	}
	return x.say("battle.why.stopped", "dice", f.text(false), "n", last.Passed)
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

// outcome says what crossed off what: wounds that the unit had lost before count.
func (x explainer) outcome(t battle.Told, e *battle.Attacked) []chat.Line {
	var lines []chat.Line
	worn := "" // "_worn" where what is crossed off are no wounds
	if x.Pack.WoundsCalled() != "wounds" {
		worn = "_worn"
	}
	name := reason.Name(x.Pack.WoundsCalled())
	if rung := t.Attack.Ladder.Rung; rung > 0 && e.Crossed > 0 {
		lines = append(lines, x.say("battle.why.before"+worn, "name", name, "unit", x.unit(t.At), "n", rung))
	}
	if e.Crossed > 0 {
		lines = append(lines, x.say("battle.why.crossed"+worn, "n", e.Crossed, "end", x.tale.end(e.Crossed, e.Fell, e.Left)))
	}
	if e.Hurt > 0 {
		lines = append(lines, x.say("battle.why.hurt"+worn, "n", e.Hurt, "name", name))
	}
	if n := t.Result.Unneeded; n > 0 {
		lines = append(lines, x.say("battle.why.unneeded", "n", n))
	}
	return lines
}
