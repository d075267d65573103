package commands

import (
	"slices"
	"strconv"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
	"drumhead/storage"
)

// planLate is the clock's word that who moves is late. Nothing is lost by it:
// the one who waits decides.
func planLate(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	act, err := f.act(battle.Late{Battle: f.seq, Turn: f.Turn, Side: f.Side})
	if err != nil {
		return nil, err
	}
	act.bot = true
	act.tell = func(d *done) (told, error) {
		f := f.at(d.after)
		other := battle.Other(f.Side)
		p := chat.Post{Entry: int64(d.rec.Seq), Lines: []chat.Line{f.say("battle.late", "player", f.player(f.Side), "till", a.desk.when(d.rec.Time, f.person(f.Side))),
			f.say("battle.late_decides", "other", f.mover(other))}, Notify: []chat.Person{f.person(other)}}
		p.Choices = choices(chat.Choice{Label: "A day more", Command: "/battle more 24", Once: true, Who: p.Notify},
			chat.Choice{Label: "Their units hold", Command: "/battle pass", Once: true, Who: p.Notify})
		return told{posts: []chat.Post{p}}, nil
	}
	return act1(act)
}

// planMore gives who moves more time, from now on.
func planMore(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	if late, err := f.movedOn(endsWaiting); late != nil || err != nil {
		return late, err
	}
	hours, ok := a.values.Number("hours")
	if !ok {
		hours = 24
	}
	if _, err := f.tried(battle.More{Battle: f.seq, Hours: 1}); err != nil {
		return nil, f.named(err)
	}
	if hours < 1 || hours > battle.MaxHours {
		return nil, refuse("/battle more 24", "battle.refuse.hours", "hours", hours, "most", battle.MaxHours)
	}
	if till := f.till(); till.After(a.now) { // more is never less than they have
		left := int((till.Sub(a.now) + time.Hour - 1) / time.Hour)
		if hours+left > battle.MaxHours {
			return nil, refuse("/battle more "+strconv.Itoa(max(1, battle.MaxHours-left)), "battle.refuse.more", "hours", hours, "left", left, "most", battle.MaxHours)
		}
		hours += left
	}
	act, err := f.tried(battle.More{Battle: f.seq, Hours: hours})
	if err != nil {
		return nil, f.named(err)
	}
	act.tell = func(d *done) (told, error) {
		f := f.at(d.after)
		till := f.due(hours)
		set, err := f.clock(till)
		p := chat.Post{Entry: int64(d.rec.Seq), Notify: []chat.Person{f.person(f.Side)},
			Lines: []chat.Line{f.say("battle.given", "other", f.player(battle.Other(f.Side)), "player", f.mover(f.Side), "till", a.desk.when(till, f.person(f.Side)))}}
		return told{posts: []chat.Post{p, f.boardEdit(till)}, set: set}, err
	}
	return act1(act)
}

// planPass ends the turn of who is late: their units hold.
func planPass(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	if late, err := f.movedOn(endsWaiting); late != nil || err != nil {
		return late, err
	}
	act, err := f.tried(battle.Pass{Battle: f.seq})
	if err != nil {
		return nil, f.named(err)
	}
	if act.opened, err = f.sealedOrders(); err != nil {
		return nil, err
	}
	act.tell = func(d *done) (told, error) { return tellOrder(d, f, nil) }
	act.then = f.counted
	return act1(act)
}

// planStatus says who leads, whose move it is and until when.
func planStatus(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		if offers := proof.BattlesOf(a.here.game).Offers; len(offers) > 0 {
			return only(a.offers(offers))
		}
		return nil, err
	}
	p := a.post(f.boardLine(f.till()))
	for side := range f.Players {
		p.Lines = append(p.Lines, f.sideLine(side))
	}
	for _, o := range f.Objectives() {
		p.Lines = append(p.Lines, f.objectiveLine(o))
	}
	p.Choices = f.offered(a.msg.Person)
	return only(p)
}

// sideLine lists a side's units that stand, and those that are gone.
func (f field) sideLine(side int) chat.Line {
	var gone []reason.Name
	for _, u := range f.Units {
		if u.Side == side && !u.Stands() {
			gone = append(gone, f.unit(u.ID))
		}
	}
	units := sizes(f, side)
	switch {
	case len(gone) == 0:
		return f.say("battle.status.side", "player", f.player(side), "units", units)
	case len(units) == 0:
		return f.say("battle.status.side_gone", "player", f.player(side))
	}
	return f.say("battle.status.side_some", "player", f.player(side), "units", units, "gone", gone)
}

// objectiveLine says who holds an objective, or why nobody does.
func (f field) objectiveLine(o rules.Objective) chat.Line {
	if h := f.Holder(o.ID); h != battle.Nobody {
		return f.say("battle.status.held", "at", o.Title, "player", f.player(h))
	}
	if slices.ContainsFunc(f.Units, func(u battle.Unit) bool { return u.At == o.ID && u.Steady() }) {
		return f.say("battle.status.both", "at", o.Title)
	}
	return f.say("battle.status.free", "at", o.Title)
}

// clockOf tells whether an entry set the clock of a battle, from when, and to
// how many hours.
func clockOf(entry []byte, hours int) (from time.Time, set int, ok bool) {
	rec, err := storage.Parse(entry)
	if err != nil || rec.Command != "cut" && !(proof.Battling{}).Owns(rec.Command) {
		return from, 0, false
	}
	events, err := battleEvents(rec)
	if err != nil {
		return from, 0, false
	}
	for _, e := range events {
		switch e := e.(type) {
		case *battle.Begun, *battle.Handed:
			from, set, ok = rec.Time, hours, true
		case *battle.Undone:
			if !e.Free {
				from, set, ok = rec.Time, hours, true
			}
		case *battle.Given:
			from, set, ok = rec.Time, e.Hours, true
		}
	}
	return from, set, ok
}
