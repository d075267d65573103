// Package faulty is any store with bad luck: calls fail before they reach the
// store, or after it did what it was asked (so that only the answer is lost),
// or come late, by a plan that a test or a simulation gives.
package faulty

import (
	"context"
	"errors"
	"iter"
	"sync"
	"time"

	"drumhead/storage"
)

// Call names a method of a store; those of a shelf begin with Shelf.
type Call string

// The calls that can fail.
const (
	Head     Call = "Head"
	Read     Call = "Read"
	Ledgers  Call = "Ledgers"
	Append   Call = "Append"
	Seen     Call = "Seen"
	About    Call = "About"
	Players  Call = "Players"
	Due      Call = "Due"
	Outbox   Call = "Outbox"
	MarkSent Call = "MarkSent"
	Post     Call = "Post"
	PostOf   Call = "PostOf"
	Open     Call = "Open"
	Of       Call = "Of"
	Words    Call = "Words"
	Secret   Call = "Secret"
	ShelfGet Call = "Shelf.Get"
	ShelfPut Call = "Shelf.Put"
	Each     Call = "Shelf.Each"
)

// Calls are all of them.
func Calls() []Call {
	return []Call{Head, Read, Ledgers, Append, Seen, About, Players, Due, Outbox, MarkSent, Post, PostOf, Open, Of, Words, Secret, ShelfGet, ShelfPut, Each}
}

// Fault is what happens to one call. The zero value is a call that goes well.
type Fault struct {
	Delay  time.Duration // first it waits
	Before error         // not nil: the store is not asked, this is the answer
	After  error         // not nil: the store is asked, its answer is lost, this is the answer
}

// Plan decides about each call, in the order of calls. It need not be safe for
// many goroutines.
type Plan func(Call) Fault

// Lucky is the plan without faults.
func Lucky(Call) Fault { return Fault{} }

// Store is a store with faults. After a fault with storage.ErrUnknown it
// answers everything with that, as a store does whose commit failed: open the
// one under it again, and put a new Store over it.
type Store struct {
	under storage.Store
	sleep func(context.Context, time.Duration)
	mu    sync.Mutex
	plan  Plan
	ended bool
}

var _ storage.Store = (*Store)(nil)

// Over puts faults over a store. Sleep is how a delay passes; nil waits for
// real time.
func Over(under storage.Store, plan Plan, sleep func(context.Context, time.Duration)) *Store {
	if sleep == nil {
		sleep = wait
	}
	return &Store{under: under, plan: plan, sleep: sleep}
}

// wait waits for a time, or until ctx ends.
func wait(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}

// Replan changes the plan from the next call on.
func (s *Store) Replan(plan Plan) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.plan = plan
}

// next asks the plan.
func (s *Store) next(call Call) Fault {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.ended {
		return Fault{Before: storage.ErrUnknown}
	}
	f := s.plan(call)
	s.ended = errors.Is(f.Before, storage.ErrUnknown) || errors.Is(f.After, storage.ErrUnknown)
	return f
}

// try runs one call under the plan.
func (s *Store) try(ctx context.Context, call Call, ask func() error) error {
	f := s.next(call)
	if f.Delay > 0 {
		s.sleep(ctx, f.Delay)
	}
	if f.Before != nil {
		return f.Before
	}
	err := ask()
	if f.After != nil {
		return f.After
	}
	return err
}

// get runs one call that gives something; a fault leaves nothing of it.
func get[V any](ctx context.Context, s *Store, call Call, ask func() (V, error)) (V, error) {
	var v V
	err := s.try(ctx, call, func() (err error) {
		v, err = ask()
		return err
	})
	if err != nil {
		var none V
		return none, err
	}
	return v, nil
}

// each runs a call that yields: a fault before yields the error alone, one
// after yields it in place of the end.
func each[V any](ctx context.Context, s *Store, call Call, all iter.Seq2[V, error]) iter.Seq2[V, error] {
	return func(yield func(V, error) bool) {
		stopped := false
		err := s.try(ctx, call, func() error {
			for v, err := range all {
				if !yield(v, err) {
					stopped = true
					break
				}
			}
			return nil
		})
		if err != nil && !stopped {
			var none V
			yield(none, err)
		}
	}
}

// Head may fail.
func (s *Store) Head(ctx context.Context, l storage.LedgerID) (storage.Head, error) {
	return get(ctx, s, Head, func() (storage.Head, error) { return s.under.Head(ctx, l) })
}

// Read may fail at its start or at its end.
func (s *Store) Read(ctx context.Context, l storage.LedgerID, from, to uint64) iter.Seq2[storage.Entry, error] {
	return each(ctx, s, Read, s.under.Read(ctx, l, from, to))
}

// Ledgers may fail at its start or at its end.
func (s *Store) Ledgers(ctx context.Context) iter.Seq2[storage.Head, error] {
	return each(ctx, s, Ledgers, s.under.Ledgers(ctx))
}

// Append may fail, with the batches stored or not.
func (s *Store) Append(ctx context.Context, b ...storage.Batch) error {
	return s.try(ctx, Append, func() error { return s.under.Append(ctx, b...) })
}

// Seen may fail.
func (s *Store) Seen(ctx context.Context, l storage.LedgerID, source storage.Source) error {
	return s.try(ctx, Seen, func() error { return s.under.Seen(ctx, l, source) })
}

// About may fail.
func (s *Store) About(ctx context.Context, l storage.LedgerID) (storage.About, error) {
	return get(ctx, s, About, func() (storage.About, error) { return s.under.About(ctx, l) })
}

// Players may fail.
func (s *Store) Players(ctx context.Context, l storage.LedgerID) ([]storage.Player, error) {
	return get(ctx, s, Players, func() ([]storage.Player, error) { return s.under.Players(ctx, l) })
}

// Due may fail.
func (s *Store) Due(ctx context.Context, now time.Time, max int) ([]storage.Timer, time.Time, error) {
	var next time.Time
	timers, err := get(ctx, s, Due, func() (timers []storage.Timer, err error) {
		timers, next, err = s.under.Due(ctx, now, max)
		return timers, err
	})
	if err != nil {
		return nil, time.Time{}, err
	}
	return timers, next, nil
}

// Outbox may fail.
func (s *Store) Outbox(ctx context.Context, max int) ([]storage.Post, error) {
	return get(ctx, s, Outbox, func() ([]storage.Post, error) { return s.under.Outbox(ctx, max) })
}

// MarkSent may fail, with the mark kept or not.
func (s *Store) MarkSent(ctx context.Context, id storage.PostID, ref string) error {
	return s.try(ctx, MarkSent, func() error { return s.under.MarkSent(ctx, id, ref) })
}

// Post may fail.
func (s *Store) Post(ctx context.Context, id storage.PostID) (storage.Post, string, error) {
	var ref string
	post, err := get(ctx, s, Post, func() (post storage.Post, err error) {
		post, ref, err = s.under.Post(ctx, id)
		return post, err
	})
	if err != nil {
		return storage.Post{}, "", err
	}
	return post, ref, nil
}

// PostOf may fail.
func (s *Store) PostOf(ctx context.Context, place, ref string) (storage.PostID, error) {
	return get(ctx, s, PostOf, func() (storage.PostID, error) { return s.under.PostOf(ctx, place, ref) })
}

// Open may fail.
func (s *Store) Open(ctx context.Context, place string) ([]storage.PostID, error) {
	return get(ctx, s, Open, func() ([]storage.PostID, error) { return s.under.Open(ctx, place) })
}

// Of may fail.
func (s *Store) Of(ctx context.Context, place string) (storage.LedgerID, error) {
	return get(ctx, s, Of, func() (storage.LedgerID, error) { return s.under.Of(ctx, place) })
}

// Words may fail.
func (s *Store) Words(ctx context.Context, l storage.LedgerID, seq uint64) ([]storage.Word, error) {
	return get(ctx, s, Words, func() ([]storage.Word, error) { return s.under.Words(ctx, l, seq) })
}

// Secret may fail.
func (s *Store) Secret(ctx context.Context, l storage.LedgerID) ([]byte, error) {
	return get(ctx, s, Secret, func() ([]byte, error) { return s.under.Secret(ctx, l) })
}

// Wake never fails.
func (s *Store) Wake() <-chan struct{} { return s.under.Wake() }

// Close never fails by plan.
func (s *Store) Close() error { return s.under.Close() }

// Shelf is a shelf whose calls may fail.
func (s *Store) Shelf(name string) storage.Shelf { return shelf{s, s.under.Shelf(name)} }

type shelf struct {
	store *Store
	under storage.Shelf
}

func (h shelf) Get(ctx context.Context, key string) ([]byte, error) {
	return get(ctx, h.store, ShelfGet, func() ([]byte, error) { return h.under.Get(ctx, key) })
}

func (h shelf) Put(ctx context.Context, pairs ...storage.KeyValue) error {
	return h.store.try(ctx, ShelfPut, func() error { return h.under.Put(ctx, pairs...) })
}

func (h shelf) Each(ctx context.Context, prefix string) iter.Seq2[storage.KeyValue, error] {
	return each(ctx, h.store, Each, h.under.Each(ctx, prefix))
}
