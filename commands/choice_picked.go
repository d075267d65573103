package commands

import (
	"errors"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// picked is the choice that a message took.
type picked struct {
	choice chat.Choice
	size   uint64 // how many entries of the ledger here it was offered on; 0: not known
}

// knew is how much of the ledger here a post had seen when it offered a choice.
func (a *ask) knew(p chat.Post, c chat.Choice) uint64 {
	id, stored := ParseStoredID(p.ID)
	switch {
	case c.Size > 0:
		return c.Size
	case !stored || id.Ledger != a.here.ledger:
		return 0
	case p.Entry >= 0:
		return uint64(p.Entry) + 1
	}
	return id.Seq + 1
}

// again answers a message that acted before. One that was only delivered twice
// has its answer already, and gets no other; who picks a choice that acts once
// after it was taken is told by whom, and what came of it.
func (a *ask) again() []chat.Post {
	if a.picked == nil || !a.picked.choice.Once || a.before == nil {
		return nil
	}
	rec, err := a.entry(a.before.view, a.before.First)
	if err != nil {
		return nil
	}
	taker := a.before.view.person(rec.Player)
	if taker == a.msg.Person && !a.msg.Time.After(rec.Time) {
		return nil // the same tap: it was made before it acted
	}
	p := a.post(a.say("desk.taken", "label", a.picked.choice.Label, "who", said(a.before.view.who(rec.Player).Text), "entry", number(int64(rec.Seq))))
	if line := a.cameOf(a.before.view, rec.Seq); len(line) > 0 {
		p.Lines = append(p.Lines, line)
	}
	if p.To.Place != "" {
		p.To.Only = a.msg.Person
	}
	return []chat.Post{p}
}

// acted is where a message acted before.
type acted struct {
	*storage.Seen
	view *view
}

// entry reads one entry of a ledger.
func (a *ask) entry(v *view, seq uint64) (storage.Record, error) {
	for raw, err := range a.desk.store.Read(a.ctx, v.ledger, seq, seq+1) {
		if err != nil {
			return storage.Record{}, err
		}
		return storage.Parse(raw.Bytes)
	}
	return storage.Record{}, storage.ErrNone
}

// mostBatch is how many entries further on the post of an entry is looked for:
// posts are numbered by the last entry of what was appended together.
const mostBatch = 4

// cameOf is the first line of the post that told of an entry, with nobody
// pointed at; nothing if there is none, or it is not for all to read.
func (a *ask) cameOf(v *view, seq uint64) chat.Line {
	for last := seq; last < min(seq+mostBatch, v.head.Size); last++ {
		for n := 0; ; n++ {
			stored, _, err := a.desk.store.Post(a.ctx, storage.PostID{Ledger: v.ledger, Seq: last, N: n})
			if errors.Is(err, storage.ErrNone) || err != nil {
				break
			}
			p, err := decodePost(stored)
			if err == nil && p.Entry == int64(seq) && p.To.Only == "" && len(p.Lines) > 0 {
				return unpointed(p.Lines[0])
			}
		}
	}
	return nil
}

// unpointed is a line in which persons are only named.
func unpointed(l chat.Line) chat.Line {
	out := make(chat.Line, len(l))
	for i, s := range l {
		if s.Kind == chat.Who {
			s = said(s.Text)
		}
		out[i] = s
	}
	return out
}
