package commands

import (
	"slices"

	"drumhead/commands/chat"
	"drumhead/engine/battle"
	"drumhead/storage"
)

// What makes a choice of a battle out of date, by what it does: events, or a
// command, that have come since it was offered. A new battle in the place always does.
var (
	endsAgreement = []string{"proposed", "withdrawn", "handed", "undone", "finished", "ended"}
	endsWaiting   = []string{"handed", "given", "undone", "finished", "ended"}
	endsTurn      = []string{"handed", "undone", "finished", "ended"}
	endsSheet     = append([]string{battle.CommandOrder}, endsTurn...)
	endsBattle    = []string{"finished", "ended"}
)

// movedOn answers who picked a choice that is out of date: with what has changed
// since, how the battle stands, and what may be chosen now. It gives nil while
// the choice still means what it said.
func (f field) movedOn(ends []string) (*answer, error) {
	p := f.ask.picked
	if p == nil || p.size == 0 || f.view != f.ask.here {
		return nil, nil
	}
	seq, changed, err := f.changed(p.size, ends)
	if err != nil || !changed {
		return nil, err
	}
	f.ask.command = nil // nothing is rolled for it, and its answer is for one alone
	post := f.ask.post(f.say("battle.moved_on", "label", p.choice.Label, "entry", number(int64(seq))))
	if line := f.ask.cameOf(f.view, seq); len(line) > 0 {
		post.Lines = append(post.Lines, line)
	}
	post.Lines = append(post.Lines, f.boardLine(f.till()))
	post.To.Only, post.Error = f.ask.msg.Person, "battle.moved_on"
	post.Choices = f.offered(f.ask.msg.Person)
	return only(post)
}

// changed finds the newest entry since a ledger had some size that makes a
// choice out of date.
func (f field) changed(size uint64, ends []string) (seq uint64, changed bool, err error) {
	if f.seq >= size {
		return f.seq, true, nil
	}
	for raw, err := range f.ask.desk.store.Read(f.ask.ctx, f.view.ledger, size, f.view.head.Size) {
		if err != nil {
			return 0, false, err
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil {
			return 0, false, err
		}
		if of, ok := battleOfRecord(rec); !ok || of != f.seq {
			continue
		}
		events, err := battleEvents(rec)
		if err != nil {
			return 0, false, err
		}
		if slices.Contains(ends, rec.Command) || slices.ContainsFunc(events, func(e battle.Event) bool { return slices.Contains(ends, e.Type()) }) {
			seq, changed = rec.Seq, true
		}
	}
	return seq, changed, nil
}

// offered is what somebody may choose in a battle as it stands, for a post that
// may be read elsewhere.
func (f field) offered(who chat.Person) []chat.Choice {
	side := f.SideOf(f.view.seats[who])
	mine := []chat.Person{who}
	var list []chat.Choice
	add := func(label, command string) { list = append(list, f.choice(label, command, mine)) }
	switch {
	case side == battle.Nobody:
	case f.Stage == battle.Over && f.Disputed[side]:
		add("Agree after all", "/battle agree")
	case f.Stage == battle.Over && !f.Agreed[side]:
		add("Agree", "/battle agree")
		add("Dispute", "/battle dispute")
	case f.Stage == battle.Playing:
		if f.Asked != nil && f.Asked.By != side {
			add("Undo it", "/battle undo "+entryName(f.Asked.Of, f.Asked.Part))
			add("No", "/battle keep")
		}
		if f.Proposed == battle.Other(side) {
			add("Agree", "/battle agree")
			add("Play on", "/battle play")
		}
		if f.Side == side {
			add("Start my turn", "/order")
		} else if f.Overdue {
			add("A day more", "/battle more 24")
			add("Their units hold", "/battle pass")
		}
	}
	if f.Stage == battle.Ended {
		list = append(list, f.choice("Report", "/battle report", nil))
	}
	return choices(list...)
}

// choice is a choice that acts in this battle's place, as it stands now.
func (f field) choice(label, command string, who []chat.Person) chat.Choice {
	return chat.Choice{Label: label, Command: command, Who: who, Place: f.view.place, Size: f.view.head.Size}
}
