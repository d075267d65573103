package commands

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"sync"
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

// days are the places where something was added that no checkpoint binds yet, and when
// that day ends. A day of which nothing was bound ends with a checkpoint, also where
// nobody says anything any more.
type days struct {
	mu     sync.Mutex
	ends   map[chat.Place]time.Time
	loaded bool // with what an earlier process left unbound
}

// endOfDay is the next midnight, by UTC.
func endOfDay(t time.Time) time.Time { return t.Truncate(24 * time.Hour).Add(24 * time.Hour) }

// added notes that a ledger has grown, and whether a checkpoint was posted with that.
func (d *days) added(p chat.Place, at time.Time, bound bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.ends == nil {
		d.ends = map[chat.Place]time.Time{}
	}
	if _, waits := d.ends[p]; bound {
		delete(d.ends, p)
	} else if !waits {
		d.ends[p] = endOfDay(at)
	}
}

// over gives the places whose day has ended, and forgets them.
func (d *days) over(now time.Time) []chat.Place {
	d.mu.Lock()
	defer d.mu.Unlock()
	var out []chat.Place
	for p, end := range d.ends {
		if !now.Before(end) {
			out = append(out, p)
			delete(d.ends, p)
		}
	}
	slices.Sort(out)
	return out
}

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
			return d.store.Shelf(shelfBound).Put(ctx, storage.KeyValue{Key: head.Ledger.String(), Value: []byte(number64(head.Size))})
		}})
	}
	return nil
}

// loadDays looks once for ledgers of which an earlier process left something unbound.
func (d *Desk) loadDays(ctx context.Context) error {
	if d.days.loaded {
		return nil
	}
	for head, err := range d.store.Ledgers(ctx) {
		if err != nil {
			return err
		}
		bound, err := d.bound1(ctx, head.Ledger)
		if err != nil {
			return err
		}
		if head.Size <= bound {
			continue
		}
		about, err := d.store.About(ctx, head.Ledger)
		if err != nil {
			return err
		}
		newest, err := d.store.Of(ctx, about.Place)
		if err != nil || newest != head.Ledger {
			continue // it has ended
		}
		for raw, err := range d.store.Read(ctx, head.Ledger, head.Size-1, head.Size) {
			if err != nil {
				return err
			}
			rec, err := storage.Parse(raw.Bytes)
			if err != nil {
				return err
			}
			d.days.added(chat.Place(about.Place), rec.Time, false)
		}
	}
	d.days.loaded = true
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
