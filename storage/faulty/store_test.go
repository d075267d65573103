package faulty_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"drumhead/storage"
	"drumhead/storage/faulty"
	"drumhead/storage/mem"
	"drumhead/storage/storagetest"
)

// Without faults it is the store under it.
func TestLuckyConformance(t *testing.T) {
	storagetest.Run(t, func(testing.TB) storagetest.Disk {
		disk := mem.NewDisk()
		return func(o storagetest.Options) (storage.Store, error) {
			s, err := mem.Open(disk, mem.Options{Now: o.Now, Key: o.Key, OldKeys: o.OldKeys})
			if err != nil {
				return nil, err
			}
			return faulty.Over(s, faulty.Lucky, nil), nil
		}
	})
}

var errPlanned = errors.New("planned")

var ledger = storagetest.LedgerNumber(1)

// batch makes the entry seq of one ledger, on a store that has the ones before.
func batch(t *testing.T, s storage.Store, seq uint64) storage.Batch {
	t.Helper()
	head, err := s.Head(t.Context(), ledger)
	if err != nil {
		t.Fatal(err)
	}
	source := storage.Source(fmt.Sprint("m", seq))
	return storage.Batch{
		Expect: head, Source: source, Community: "osier", Place: "weir", Salt: make([]byte, 16),
		Entries: []storage.Entry{{Seq: head.Size, Bytes: storagetest.Entry(ledger, head.Size, source, "")}},
		Posts:   []storage.Post{{Place: "weir", Bytes: []byte("text"), Open: true}},
		Words:   []storage.Word{{Seq: head.Size, Name: "label", Salt: make([]byte, 16), Text: "mill"}},
		Players: []storage.Player{{Pseudonym: "p1", Person: "ann"}},
		Secret:  []byte("secret"),
		Set:     []storage.Timer{{TimerRef: storage.TimerRef{Name: "turn", Due: time.Unix(1, 0)}}},
	}
}

// call runs one call on a store that holds one entry and one post, and tells
// its error.
func call(t *testing.T, s storage.Store, c faulty.Call, next storage.Batch) (err error) {
	t.Helper()
	ctx, id := t.Context(), storage.PostID{Ledger: ledger}
	switch c {
	case faulty.Head:
		_, err = s.Head(ctx, ledger)
	case faulty.Read:
		for _, e := range s.Read(ctx, ledger, 0, 1) {
			err = e
		}
	case faulty.Ledgers:
		for _, e := range s.Ledgers(ctx) {
			err = e
		}
	case faulty.Append:
		err = s.Append(ctx, next)
	case faulty.Seen:
		var seen *storage.Seen
		if err = s.Seen(ctx, ledger, "m0"); errors.As(err, &seen) {
			err = nil
		}
	case faulty.About:
		_, err = s.About(ctx, ledger)
	case faulty.Players:
		_, err = s.Players(ctx, ledger)
	case faulty.Due:
		_, _, err = s.Due(ctx, time.Unix(2, 0), 1)
	case faulty.Outbox:
		_, err = s.Outbox(ctx, 1)
	case faulty.MarkSent:
		err = s.MarkSent(ctx, id, "r1")
	case faulty.Post:
		_, _, err = s.Post(ctx, id)
	case faulty.PostOf:
		if _, err = s.PostOf(ctx, "weir", "r1"); errors.Is(err, storage.ErrNone) {
			err = nil
		}
	case faulty.Open:
		_, err = s.Open(ctx, "weir")
	case faulty.Of:
		_, err = s.Of(ctx, "weir")
	case faulty.Words:
		_, err = s.Words(ctx, ledger, 0)
	case faulty.Secret:
		_, err = s.Secret(ctx, ledger)
	case faulty.ShelfGet:
		_, err = s.Shelf("settings").Get(ctx, "cut")
	case faulty.ShelfPut:
		err = s.Shelf("settings").Put(ctx, storage.KeyValue{Key: "cut", Value: []byte("sealed")})
	case faulty.Each:
		for _, e := range s.Shelf("settings").Each(ctx, "") {
			err = e
		}
	default:
		t.Fatalf("call %s is not tried", c)
	}
	return err
}

// Every call fails before and after, and only then; after a fault before it
// nothing changed, after a fault behind it everything did.
func TestEveryCallFailsBeforeAndAfter(t *testing.T) {
	for _, c := range faulty.Calls() {
		for name, fault := range map[string]faulty.Fault{"before": {Before: errPlanned}, "after": {After: errPlanned}} {
			t.Run(string(c)+" "+name, func(t *testing.T) {
				under := mem.New()
				if err := under.Append(t.Context(), batch(t, under, 0)); err != nil {
					t.Fatal(err)
				}
				if err := under.Shelf("settings").Put(t.Context(), storage.KeyValue{Key: "cut", Value: []byte("beacon")}); err != nil {
					t.Fatal(err)
				}
				next := batch(t, under, 1)
				s := faulty.Over(under, faulty.Once(c, 1, fault), nil)
				before := state(t, under)
				if err := call(t, s, c, next); !errors.Is(err, errPlanned) {
					t.Fatalf("got %v", err)
				}
				changes := c == faulty.Append || c == faulty.ShelfPut || c == faulty.MarkSent
				if changed := state(t, under) != before; changed != (changes && name == "after") {
					t.Errorf("changed: %v", changed)
				}
				if c == faulty.Append && name == "after" {
					next = batch(t, under, 2)
				}
				if err := call(t, s, c, next); err != nil {
					t.Errorf("the call after it: %v", err)
				}
			})
		}
	}
}

func state(t *testing.T, s storage.Store) string {
	t.Helper()
	value, err := s.Shelf("settings").Get(t.Context(), "cut")
	if err != nil {
		t.Fatal(err)
	}
	return string(value) + storagetest.Snapshot(s, []storage.LedgerID{ledger}, []string{"weir"}, time.Unix(2, 0))
}

// An outcome that is not known ends the store; opened again, the same batch is
// stored now or was stored before.
func TestUnknownThenAgain(t *testing.T) {
	for name, fault := range map[string]faulty.Fault{
		"not stored": {Before: storage.ErrUnknown}, "stored": {After: storage.ErrUnknown},
	} {
		t.Run(name, func(t *testing.T) {
			disk := mem.NewDisk()
			under, err := mem.Open(disk, mem.Options{})
			if err != nil {
				t.Fatal(err)
			}
			s := faulty.Over(under, faulty.Once(faulty.Append, 1, fault), nil)
			first := batch(t, s, 0)
			for range 2 {
				if err := s.Append(t.Context(), first); !errors.Is(err, storage.ErrUnknown) {
					t.Fatalf("got %v", err)
				}
			}
			if _, err := s.Outbox(t.Context(), 1); !errors.Is(err, storage.ErrUnknown) {
				t.Errorf("a store in doubt read its outbox: %v", err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			again, err := mem.Open(disk, mem.Options{})
			if err != nil {
				t.Fatal(err)
			}
			var seen *storage.Seen
			err = again.Append(t.Context(), first)
			if stored := errors.As(err, &seen); stored != (name == "stored") || !stored && err != nil {
				t.Errorf("got %v", err)
			}
			if head, _ := again.Head(t.Context(), ledger); head.Size != 1 {
				t.Errorf("%d entries", head.Size)
			}
		})
	}
}

func TestPlansRepeat(t *testing.T) {
	chances := faulty.Chances{Full: 0.1, Unstored: 0.1, Lost: 0.1, Broken: 0.2, Late: 0.3, Longest: time.Second}
	play := func(seed uint64) (kinds map[string]int, all string) {
		plan := faulty.By(rand.New(rand.NewPCG(seed, 0)), chances)
		kinds = map[string]int{}
		for i := range 4000 {
			f := plan([]faulty.Call{faulty.Append, faulty.Head}[i%2])
			if f.Delay < 0 || f.Delay > time.Second {
				t.Fatalf("delay %v", f.Delay)
			}
			if f.Delay > 0 {
				kinds["late"]++
			}
			kinds[fmt.Sprint(f.Before)]++
			kinds[fmt.Sprint("after ", f.After)]++
			all += fmt.Sprint(f)
		}
		return kinds, all
	}
	kinds, first := play(1)
	if _, again := play(1); again != first {
		t.Error("one seed gave two plans")
	}
	if _, other := play(2); other == first {
		t.Error("two seeds gave one plan")
	}
	// 2,000 calls of each kind; half as many more or fewer would be more than seven standard deviations.
	for kind, want := range map[string]int{
		storage.ErrFull.Error(): 200, storage.ErrUnknown.Error(): 200, "after " + storage.ErrUnknown.Error(): 200,
		faulty.ErrBroken.Error(): 400, "late": 1200,
	} {
		if got := kinds[kind]; got < want-want/2 || got > want+want/2 {
			t.Errorf("%s: %d times, about %d expected", kind, got, want)
		}
	}
}

func TestDelayPasses(t *testing.T) {
	var slept time.Duration
	s := faulty.Over(mem.New(), func(faulty.Call) faulty.Fault { return faulty.Fault{Delay: time.Hour} },
		func(_ context.Context, d time.Duration) { slept += d })
	if _, err := s.Head(t.Context(), ledger); err != nil || slept != time.Hour {
		t.Errorf("slept %v, %v", slept, err)
	}
	s.Replan(faulty.Lucky)
	if _, err := s.Head(t.Context(), ledger); err != nil || slept != time.Hour {
		t.Errorf("slept %v, %v", slept, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	real := faulty.Over(mem.New(), func(faulty.Call) faulty.Fault { return faulty.Fault{Delay: time.Hour} }, nil)
	if _, err := real.Head(ctx, ledger); !errors.Is(err, context.Canceled) {
		t.Errorf("a delay outlived its context: %v", err)
	}
}
