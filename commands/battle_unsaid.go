package commands

import (
	"slices"
	"strings"

	"drumhead/commands/chat"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
)

// What nobody said is told too: a post says what was taken for granted, what
// was done instead of what was asked, and what could not be applied.

// ordered is a line of the sheet that the entry holds, empty if it holds none.
func (t tale) ordered(line int) battle.Line {
	if t.rec.Command != battle.CommandOrder || line < 1 {
		return battle.Line{}
	}
	do, err := battle.ParseDo(t.rec.Command, t.rec.Args)
	if err != nil {
		return battle.Line{}
	}
	if orders := do.(battle.Sheet).Orders; line <= len(orders) {
		return orders[line-1]
	}
	return battle.Line{}
}

// target names what was aimed at; where that was an alternative, also what it
// stood in for.
func (t tale) target(line int, unit, at string) chat.Line {
	l := t.ordered(line)
	name := t.say("battle.told.target", "at", t.after.unit(at))
	if l.Unit != unit || l.At == "" || l.At == at || !slices.ContainsFunc(l.Else, func(a battle.Aim) bool { return a.At == at }) {
		return name
	}
	return t.say("battle.told.instead", "at", t.after.unit(at), "other", t.after.unit(l.At))
}

// elseHeld tells whether a unit stayed because its order could not be done.
func (t tale) elseHeld(e *battle.Held) bool {
	l := t.ordered(e.Line)
	return l.Unit == e.Unit && l.Order != battle.Hold && l.At != ""
}

// assumed names who shot or cast over a distance that nobody said.
func (t tale) assumed() chat.Line {
	var units []reason.Name
	for _, e := range t.events {
		unit, at, line := "", "", 0
		switch e := e.(type) {
		case *battle.Attacked:
			if e.How == battle.Shoot {
				unit, at, line = e.Unit, e.At, e.Line
			}
		case *battle.CastAt:
			unit, at, line = e.Unit, e.At, e.Line
		}
		name := reason.Name(t.after.Short(unit))
		if unit != "" && !t.measured(line, at) && !slices.Contains(units, name) {
			units = append(units, name)
		}
	}
	if len(units) == 0 {
		return nil
	}
	return t.say("battle.told.assumed", "units", units)
}

// measured tells whether a line says how far its target is.
func (t tale) measured(line int, at string) bool {
	l := t.ordered(line)
	for _, a := range slices.Concat([]battle.Aim{l.Aim}, l.Else, l.Shares) {
		if a.At == at {
			return a.Tenths > 0 || a.Half
		}
	}
	return true
}

// blastUnsaid tells, after the event at a place, that a caster fell by its own
// cast and that nobody had said who stood near.
func (t tale) blastUnsaid(at int) []chat.Line {
	gone, ok := t.events[at].(*battle.Broken)
	if !ok || at == 0 {
		return nil
	}
	if s, ok := t.events[at-1].(*battle.Suffered); !ok || s.Why != battle.Mishap || s.Unit != gone.Unit {
		return nil
	}
	for i := at - 1; i >= 0; i-- {
		if cast, ok := t.events[i].(*battle.CastAt); ok {
			return t.unapplied(cast)
		}
	}
	return nil
}

// unapplied tells what a caster's end would have done to who is near, if it fell
// by this cast and nobody was named; and how to name them another time.
func (t tale) unapplied(e *battle.CastAt) []chat.Line {
	l := t.ordered(e.Line)
	fell := slices.ContainsFunc(t.events, func(other battle.Event) bool {
		s, ok := other.(*battle.Suffered)
		return ok && s.Why == battle.Mishap && s.Unit == e.Unit && s.Left == 0
	})
	seq := t.after.Pack.SequenceOf("cast")
	if !fell || len(l.Near) > 0 || seq == nil || len(seq.RollerDies) == 0 {
		return nil
	}
	c := seq.RollerDies[0]
	power := e.Power
	if p := t.after.Pack.Power(e.Power); p != nil {
		power = p.Title
	}
	example := strings.Join([]string{"cast", power, "on", t.after.Short(e.At) + ",", "near", t.after.Short(e.At)}, " ")
	return []chat.Line{t.say("battle.told.blast_unsaid", "within", c.Within, "amount", c.Amount.String()),
		t.say("battle.told.blast_how", "example", typed(example))}
}
