package commands

import (
	"context"
	"errors"
	"fmt"
	"time"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// shelfStood keeps which posts of waiting entries stood in their place in time:
// ledger/seq/round → the platform's own time of the post.
const shelfStood = "stood"

func stoodKey(v *view, seq, round uint64) string {
	return fmt.Sprintf("%s/%d/%d", v.ledger, seq, round)
}

// stood tells whether the post of an entry that waits for a round reached its
// place in time. Before it has, nothing is cut.
func (d *Desk) stood(ctx context.Context, v *view, seq uint64) (bool, error) {
	p, ok := pendingAt(v, seq)
	if !ok {
		return false, nil
	}
	_, err := d.store.Shelf(shelfStood).Get(ctx, stoodKey(v, seq, p.Round))
	if errors.Is(err, storage.ErrNone) {
		return false, nil
	}
	return err == nil, err
}

// witness takes the platform's word of when a post that binds reached its place.
// An entry that waits for a round counts only if its post stood there a period
// before the round is due; else it is moved to another. A post that no place can
// show any more (gone) binds nobody and holds nothing up.
func (d *Desk) witness(ctx context.Context, id storage.PostID, post chat.Post, at time.Time, gone bool) error {
	if !post.Binds || post.Entry < 0 {
		return nil
	}
	about, err := d.store.About(ctx, id.Ledger)
	if err != nil {
		return err
	}
	defer d.turns.take(about.Community)()
	if err := d.loadPeople(ctx, chat.Community(about.Community)); err != nil {
		return err
	}
	for try := 0; ; try++ {
		err := d.witness1(ctx, id, about, post, at, gone)
		if !errors.Is(err, storage.ErrConflict) || try == MostTries {
			return err
		}
	}
}

func (d *Desk) witness1(ctx context.Context, id storage.PostID, about storage.About, post chat.Post, at time.Time, gone bool) error {
	v, err := d.view(ctx, chat.Place(about.Place))
	if err != nil || v.ledger != id.Ledger {
		return err
	}
	seq, round, err := d.bound(ctx, v, uint64(post.Entry))
	p, waits := pendingAt(v, seq)
	if err != nil || !waits || round == 0 || p.Round != round {
		return err // moved on, settled, or waits for a word
	}
	chain := v.book.Chain()
	if gone || !at.After(chain.Due(round).Add(-chain.Period)) {
		return d.store.Shelf(shelfStood).Put(ctx, storage.KeyValue{Key: stoodKey(v, seq, round), Value: []byte(storage.FormatTime(at.UTC().Truncate(time.Millisecond)))})
	}
	a := d.ask(chat.Message{Community: chat.Community(about.Community), Place: v.place, Source: chat.Source("late:" + string(StoredID(id))), Time: at})
	a.ctx, a.here = ctx, v
	a.views[v.place] = v
	moves, err := d.moves(ctx, v, seq)
	if err != nil {
		return err
	}
	if moves >= mostMoves {
		d.log.Error("posts come too late by the platform's time, again and again: its clock and ours do not fit", "place", v.place, "entry", seq)
		if d.notices.once(fmt.Sprintf("clocks:%s:%d", v.ledger, seq)) {
			d.notices.add(notice{post: chat.Post{ID: chat.PostID(freeID(a.msg.Source, 0)), To: chat.Destination{Place: v.place}, Entry: -1,
				Lines: []chat.Line{a.say("cut.clocks", "entry", number(int64(seq))), a.say("cut.clocks_end")}}})
		}
		return nil
	}
	s, err := a.settle(v, seq)
	if err != nil {
		return err
	}
	err = a.carryOut([]act{a.wait(s, v.place, "late")})
	var seen *storage.Seen
	switch {
	case errors.As(err, &seen):
		return nil
	case refusal(err): // no round can be waited for at this moment: the post is offered again, and so is this
		return errors.Join(chat.ErrLater, err)
	}
	return err
}

// mostMoves is how often an entry is moved to another round because its post came too
// late. Then the clocks do not fit, and another move would be late as well.
const mostMoves = 5

// moves counts how often an entry was moved.
func (d *Desk) moves(ctx context.Context, v *view, seq uint64) (n int, err error) {
	for raw, err := range d.store.Read(ctx, v.ledger, seq+1, v.head.Size) {
		if err != nil {
			return n, err
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil {
			return n, err
		}
		if of, ok := entryOf(rec); ok && of == seq && rec.Command == "wait" {
			n++
		}
	}
	return n, nil
}

// bound is the entry that waits and the round, of an entry whose post binds.
func (d *Desk) bound(ctx context.Context, v *view, entry uint64) (seq, round uint64, err error) {
	for raw, err := range d.store.Read(ctx, v.ledger, entry, entry+1) {
		if err != nil {
			return 0, 0, err
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil || rec.Wait == nil {
			return 0, 0, err
		}
		if seq = rec.Seq; rec.Command == "wait" {
			seq, _ = entryOf(rec)
		}
		return seq, rec.Wait.Round, nil
	}
	return 0, 0, nil
}

// entryOf is the entry that a cut, a wait or a void names.
func entryOf(rec storage.Record) (uint64, bool) {
	value, ok := storage.Member(rec.Args, "of")
	if !ok {
		return 0, false
	}
	return storage.Number(value)
}
