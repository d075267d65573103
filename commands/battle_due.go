package commands

import (
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
)

// battleDue lists what battles of a place want of somebody: their move, or their
// word on a result or an offer. An organiser sees a disputed result.
func battleDue(a *ask, v *view, who chat.Person) []due {
	me, plays := v.seats[who]
	var out []due
	for _, o := range proof.BattlesOf(v.game).Offers {
		if plays && o.To == me {
			out = append(out, due{work: 1, line: v.speaker().Say("battle.due.offer", "who", v.who(o.By), "offer", number(int64(o.Seq))),
				tap: chat.Choice{Label: "Accept", Command: "/battle join " + number64(o.Seq), Who: []chat.Person{who}, Place: v.place, Size: v.head.Size}})
		}
	}
	f, ok, err := a.battleIn(v)
	if err != nil || !ok || f.Stage == battle.Ended {
		return out
	}
	if side := f.SideOf(me); side != battle.Nobody {
		return append(append(out, f.undoDue(side)...), f.dueOf(side)...)
	}
	if a.msg.Organiser && f.Disputed != [2]bool{} {
		out = append(out, due{work: 2, line: f.say("battle.due.rule", "title", f.title(), "one", f.player(0), "two", f.player(1)), tap: f.look()})
	}
	return out
}

// dueOf is what a battle wants of one of the two.
func (f field) dueOf(side int) []due {
	other, title := battle.Other(side), f.title()
	tap := func(label, command string) chat.Choice {
		return f.choice(label, command, []chat.Person{f.person(side)})
	}
	score := []any{"title", title, "one", f.player(0), "mine", f.Score[0], "two", f.player(1), "theirs", f.Score[1]}
	var out []due
	switch {
	case f.Stage == battle.Over && f.Disputed != [2]bool{}:
		out = append(out, due{work: 2, line: f.say("battle.due.disputed", score...), tap: f.look()})
	case f.Stage == battle.Over && !f.Agreed[side]:
		out = append(out, due{work: 1, line: f.say("battle.due.agree", score...), tap: tap("Agree", "/battle agree")})
	case f.Stage != battle.Playing:
		return nil
	case f.Proposed == other:
		out = append(out, due{work: 1, line: f.say("battle.due.finish", append(score, "who", f.player(other))...), tap: tap("Agree", "/battle agree")})
	}
	if f.Stage != battle.Playing {
		return out
	}
	start := tap("Start my turn", "/order")
	switch {
	case f.Overdue && f.Side != side:
		out = append(out, due{work: 1, line: f.say("battle.due.late", "title", title, "who", f.player(f.Side)), tap: f.look()})
	case f.Overdue:
		out = append(out, due{work: 3, line: f.say("battle.due.overdue", "title", title, "turn", f.Turn), tap: start})
	case f.Side == side:
		out = append(out, due{work: 3, line: f.say("battle.due.move", "title", title, "turn", f.Turn), till: f.till(), tap: start})
	}
	return out
}

// look is the choice that shows how the battle stands, and what may be chosen.
func (f field) look() chat.Choice { return f.choice("Look", "/battle status", nil) }

// till is when the time of who moves is up: hours after the entry that gave it.
func (f field) till() time.Time {
	var till time.Time
	if f.Stage != battle.Playing {
		return till
	}
	for raw, err := range f.ask.desk.store.Read(f.ask.ctx, f.view.ledger, f.seq, f.view.head.Size) {
		if err != nil {
			return time.Time{}
		}
		if rec, hours, ok := clockOf(raw.Bytes, f.Terms.Hours); ok {
			till = rec.Add(time.Duration(hours) * time.Hour)
		}
	}
	return till
}
