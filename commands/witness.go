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
	s, err := a.settle(v, seq)
	if err != nil {
		return err
	}
	err = a.carryOut([]act{a.wait(s, v.place, "late")})
	var seen *storage.Seen
	if errors.As(err, &seen) {
		return nil
	}
	return err
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
