package commands

import (
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
)

// battleDue lists what battles of a place want of somebody: their move, or their
// word on a result or an offer.
func battleDue(a *ask, v *view, who chat.Person) []due {
	me, plays := v.seats[who]
	if !plays {
		return nil
	}
	var out []due
	for _, o := range proof.BattlesOf(v.game).Offers {
		if o.To == me {
			out = append(out, due{work: 1, line: v.speaker().Say("battle.due.offer", "who", v.who(o.By), "offer", number(int64(o.Seq)))})
		}
	}
	f, ok, err := a.battleIn(v)
	if err != nil || !ok {
		return out
	}
	side := f.SideOf(me)
	switch {
	case side == battle.Nobody, f.Stage == battle.Ended:
	case f.Stage == battle.Over && !f.Agreed[side] && !f.Disputed[side]:
		out = append(out, due{work: 1, line: f.say("battle.due.agree", "title", f.title())})
	case f.Stage == battle.Playing && f.Proposed == battle.Other(side):
		out = append(out, due{work: 1, line: f.say("battle.due.finish", "title", f.title(), "who", f.player(f.Proposed))})
	case f.Stage == battle.Playing && f.Overdue && f.Side != side:
		out = append(out, due{work: 1, line: f.say("battle.due.late", "title", f.title(), "who", f.player(f.Side))})
	case f.Stage == battle.Playing && f.Overdue:
		out = append(out, due{work: 3, line: f.say("battle.due.overdue", "title", f.title(), "turn", f.Turn)})
	case f.Stage == battle.Playing && f.Side == side:
		out = append(out, due{work: 3, line: f.say("battle.due.move", "title", f.title(), "turn", f.Turn), till: f.till()})
	}
	return out
}

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
