package commands

import (
	"context"
	"errors"
	"strconv"
	"time"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// checkpointDue tells whether an entry brings a checkpoint by itself: each 64th
// draw of a seal, which can be read off the entry.
func checkpointDue(rec storage.Record) bool {
	return rec.Draw > 0 && rec.Draw%checkpointDraws == 0
}

// checkpointDraws is the most draws between two checkpoints.
const checkpointDraws = 64

// shelfBound keeps how much of a ledger a day's checkpoint has bound: a ledger's id →
// entries.
const shelfBound = "bound"

// endDays posts the checkpoints of days that have ended.
func (d *Desk) endDays(ctx context.Context, now time.Time) error {
	if err := d.loadDays(ctx); err != nil {
		return err
	}
	for _, p := range d.days.over(now) {
		v, err := d.view(ctx, p)
		if err != nil {
			return err
		}
		if v.doubt {
			continue
		}
		post, head := v.checkpointPost(), v.head
		post.ID = chat.PostID(freeID(chat.Source("day:"+head.Ledger.String()+":"+number64(head.Size)), 0))
		d.notices.add(notice{post: post, said: func(ctx context.Context) error {
			bound := storage.KeyValue{Key: head.Ledger.String(), Value: []byte(number64(head.Size))}
			if err := d.store.Shelf(shelfBound).Put(ctx, bound); err != nil {
				return err
			}
			return d.days.clear(p, func(mark storage.KeyValue) error { return d.store.Shelf(shelfUnbound).Put(ctx, mark) })
		}})
	}
	return nil
}

// bound1 is how much of a ledger the checkpoint of a day has bound.
func (d *Desk) bound1(ctx context.Context, l storage.LedgerID) (uint64, error) {
	b, err := d.store.Shelf(shelfBound).Get(ctx, l.String())
	if errors.Is(err, storage.ErrNone) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	return strconv.ParseUint(string(b), 10, 64)
}

// binds tells whether posts hold a checkpoint.
func binds(posts []chat.Post) bool {
	for _, p := range posts {
		for _, f := range p.Files {
			if f.Kind == "checkpoint" {
				return true
			}
		}
	}
	return false
}
