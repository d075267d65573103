package commands

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// shelfUnbound keeps the places whose ledgers have something that no day's checkpoint
// binds: place → nothing. It is written before the first entry of that kind, so that a
// start looks at these places and not at every ledger; one too many does no harm.
const shelfUnbound = "unbound"

// allMarked is the key that says that every such place is there. A store of an earlier
// program has none, and is looked through once.
const allMarked = "all"

// days are the places where something was added that no checkpoint binds yet, and when
// that day ends. A day of which nothing was bound ends with a checkpoint, also where
// nobody says anything any more.
type days struct {
	mu     sync.Mutex
	ends   map[chat.Place]time.Time
	adding map[chat.Place]int  // appends that are under way
	marked map[chat.Place]bool // stands on the shelf
	loaded bool                // with what an earlier process left unbound

	shelf sync.Mutex // one writes marks at a time
}

func newDays() *days {
	return &days{ends: map[chat.Place]time.Time{}, adding: map[chat.Place]int{}, marked: map[chat.Place]bool{}}
}

// endOfDay is the next midnight, by UTC.
func endOfDay(t time.Time) time.Time { return t.Truncate(24 * time.Hour).Add(24 * time.Hour) }

// grows is called before something is added to the ledger of a place; added or failed
// is called after it.
func (d *Desk) grows(ctx context.Context, p chat.Place) error {
	if d.days.begin(p) {
		return nil
	}
	err := d.days.mark(p, func(mark storage.KeyValue) error { return d.store.Shelf(shelfUnbound).Put(ctx, mark) })
	if err != nil {
		d.days.failed(p)
	}
	return err
}

// begin notes that something is being added, and tells whether the place is marked.
func (d *days) begin(p chat.Place) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.adding[p]++
	return d.marked[p]
}

func (d *days) mark(p chat.Place, put func(storage.KeyValue) error) error {
	d.shelf.Lock()
	defer d.shelf.Unlock()
	if err := put(storage.KeyValue{Key: string(p), Value: []byte{1}}); err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.marked[p] = true
	return nil
}

// failed notes that nothing was added.
func (d *days) failed(p chat.Place) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.ended(p)
}

func (d *days) ended(p chat.Place) {
	if d.adding[p]--; d.adding[p] <= 0 {
		delete(d.adding, p)
	}
}

// added notes that a ledger has grown, and whether a checkpoint was posted with that.
func (d *days) added(p chat.Place, at time.Time, bound bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.ended(p)
	if _, waits := d.ends[p]; bound {
		delete(d.ends, p)
	} else if !waits {
		d.ends[p] = endOfDay(at)
	}
}

// clear takes the mark of a place away whose day is bound, unless more was added there.
func (d *days) clear(p chat.Place, put func(storage.KeyValue) error) error {
	d.shelf.Lock()
	defer d.shelf.Unlock()
	d.mu.Lock()
	_, waits := d.ends[p]
	if waits = waits || d.adding[p] > 0; !waits {
		delete(d.marked, p)
	}
	d.mu.Unlock()
	if waits {
		return nil
	}
	return put(storage.KeyValue{Key: string(p)})
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

// loadDays looks once for ledgers of which an earlier process left something unbound.
func (d *Desk) loadDays(ctx context.Context) error {
	if d.days.loaded {
		return nil
	}
	places, err := d.unbound(ctx)
	if err != nil {
		return err
	}
	for _, p := range places {
		if err := d.loadDay(ctx, p); err != nil {
			return err
		}
	}
	d.days.loaded = true
	return nil
}

// unbound are the places that are marked.
func (d *Desk) unbound(ctx context.Context) (places []chat.Place, err error) {
	shelf := d.store.Shelf(shelfUnbound)
	if _, err := shelf.Get(ctx, allMarked); errors.Is(err, storage.ErrNone) {
		if err := d.markAll(ctx); err != nil {
			return nil, err
		}
	} else if err != nil {
		return nil, err
	}
	for kv, err := range shelf.Each(ctx, "") {
		if err != nil {
			return nil, err
		}
		if kv.Key != allMarked {
			places = append(places, chat.Place(kv.Key))
		}
	}
	return places, nil
}

// markAll marks every place that has a ledger, once in the life of a store.
func (d *Desk) markAll(ctx context.Context) error {
	var all []storage.KeyValue
	for head, err := range d.store.Ledgers(ctx) {
		if err != nil {
			return err
		}
		about, err := d.store.About(ctx, head.Ledger)
		if err != nil {
			return err
		}
		all = append(all, storage.KeyValue{Key: about.Place, Value: []byte{1}})
	}
	return putAll(ctx, d.store.Shelf(shelfUnbound), append(all, storage.KeyValue{Key: allMarked, Value: []byte{1}}))
}

// putAll puts any number of pairs on a shelf, in their order, as many at a time as it takes.
func putAll(ctx context.Context, shelf storage.Shelf, pairs []storage.KeyValue) error {
	for part := range slices.Chunk(pairs, storage.MaxParts) {
		if err := shelf.Put(ctx, part...); err != nil {
			return err
		}
	}
	return nil
}

// loadDay notes when the day of a marked place ends, if its ledger has more than the
// checkpoint of a day has bound.
func (d *Desk) loadDay(ctx context.Context, p chat.Place) error {
	l, err := d.store.Of(ctx, string(p))
	if errors.Is(err, storage.ErrNone) {
		return nil // it was marked, and nothing was added
	}
	if err != nil {
		return err
	}
	head, err := d.store.Head(ctx, l)
	if err != nil {
		return err
	}
	bound, err := d.bound1(ctx, l)
	if err != nil || head.Size <= bound {
		return err
	}
	for raw, err := range d.store.Read(ctx, l, head.Size-1, head.Size) {
		if err != nil {
			return err
		}
		rec, err := storage.Parse(raw.Bytes)
		if err != nil {
			return err
		}
		d.days.left(p, rec.Time)
	}
	return nil
}

// left notes what an earlier process left unbound.
func (d *days) left(p chat.Place, at time.Time) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.marked[p] = true
	if _, waits := d.ends[p]; !waits {
		d.ends[p] = endOfDay(at)
	}
}
