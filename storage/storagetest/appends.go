package storagetest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"

	"golang.org/x/mod/sumdb/tlog"

	"drumhead/storage"
)

func appendCases() []tested {
	return []tested{
		{"first entry to an empty ledger", firstEntry},
		{"bytes come back equal", bytesComeBack},
		{"roots equal those of tlog", rootsEqualTlog},
		{"wrong size refused", wrongSize},
		{"right size, wrong last leaf refused", wrongLastLeaf},
		{"refused batch leaves no trace", refusedLeavesNoTrace},
		{"64 goroutines on one ledger: one wins each round", oneWinsEachRound},
		{"64 goroutines on 64 ledgers: none conflicts", noneConflicts},
		{"a refused member among 100 lets 99 through", lets99Through},
		{"two ledgers: both or none", bothOrNone},
		{"two communities refused", twoCommunities},
		{"same ledger twice refused", sameLedgerTwice},
		{"community, place and salt cannot change", aboutIsFixed},
	}
}

func firstEntry(b *bench) {
	k := b.book(1)
	k.check()
	equal(b, "root of nothing", k.head().Root, storage.EmptyRoot())
	k.grow(1)
	k.check()
	about, err := b.store.About(b.ctx, k.id)
	b.ok(err)
	equal(b, "about", fmt.Sprint(about), fmt.Sprint(storage.About{Community: k.community, Place: k.place, Salt: []byte("0123456789abcdef")}))
}

func wrongSize(b *bench) {
	k := b.book(1)
	k.grow(3)
	stale := k.next(1)
	k.grow(1)
	stale.Source, stale.Entries[0].Bytes = "new", Entry(k.id, 3, "new", "")
	b.refused(b.store.Append(b.ctx, stale), storage.ErrConflict)
	k.check()
}

func wrongLastLeaf(b *bench) {
	k := b.book(1)
	k.grow(3)
	other := k.next(1)
	other.Expect.Last[0]++
	b.refused(b.store.Append(b.ctx, other), storage.ErrConflict)
	k.check()
}

func twoCommunities(b *bench) {
	k, m := b.book(1), b.book(2)
	m.community = "elsewhere"
	b.refused(b.store.Append(b.ctx, k.next(1), m.next(1)), storage.ErrInvalid)
	k.check()
	k.grow(1)
	m.grow(1)
	b.refused(b.store.Append(b.ctx, k.next(1), m.next(1)), storage.ErrInvalid)
	k.check()
	m.check()
}

func sameLedgerTwice(b *bench) {
	k := b.book(1)
	first := k.next(1)
	k.wrote(first)
	b.refused(b.store.Append(b.ctx, first, k.next(1)), storage.ErrInvalid)
	head, err := b.store.Head(b.ctx, k.id)
	b.ok(err)
	equal(b, "size", head.Size, 0)
}

func aboutIsFixed(b *bench) {
	k := b.book(1)
	k.grow(1)
	for _, change := range []func(*storage.Batch){
		func(s *storage.Batch) { s.Community = "elsewhere" },
		func(s *storage.Batch) { s.Place = "elsewhere" },
		func(s *storage.Batch) { s.Salt = []byte("fedcba9876543210") },
	} {
		batch := k.next(1)
		change(&batch)
		b.refused(b.store.Append(b.ctx, batch), storage.ErrInvalid)
	}
	batch := k.next(1)
	batch.Community, batch.Place, batch.Salt = k.community, k.place, []byte("0123456789abcdef")
	k.append(batch)
	k.check()
}

// bytesComeBack appends the longest entry there may be, and every byte that
// canonical JSON may hold.
func bytesComeBack(b *bench) {
	k := b.book(1)
	long := k.next(1)
	rest := storage.MaxEntry - len(long.Entries[0].Bytes)
	long.Entries[0].Bytes = Entry(k.id, 0, long.Source, strings.Repeat("x", rest))
	equal(b, "length", len(long.Entries[0].Bytes), storage.MaxEntry)
	k.append(long)
	var every []byte
	for c := 0x20; c < 0x100; c++ {
		if c != '"' && c != '\\' {
			every = append(every, byte(c))
		}
	}
	batch := k.next(1)
	batch.Entries[0].Bytes = Entry(k.id, 1, batch.Source, string(every)+`\"\\\n\u0007`)
	k.append(batch)
	k.check()
	k.grow(40) // packed, too
	k.check()
	b.reopen()
	k.check()
}

// leaves computes the hashes that tlog stores, from the entries alone.
type leaves []tlog.Hash

func (s leaves) ReadHashes(at []int64) (hashes []tlog.Hash, err error) {
	for _, i := range at {
		hashes = append(hashes, s[i])
	}
	return hashes, nil
}

// rootsEqualTlog checks against golang.org/x/mod/sumdb/tlog, an independent
// implementation of RFC 6962, at 1 to 200 and around powers of two.
func rootsEqualTlog(b *bench) {
	wanted := map[int]bool{}
	for n := range 201 {
		wanted[n] = true
	}
	for power := 256; power <= 2048; power *= 2 {
		wanted[power-1], wanted[power], wanted[power+1] = true, true, true
	}
	k := b.book(1)
	var stored leaves
	for n := 0; n <= 2049; {
		step := 1
		for !wanted[n+step] && step < storage.MaxEntries && n+step < 2049 {
			step++
		}
		batch := k.next(step)
		k.append(batch)
		for _, e := range batch.Entries {
			more, err := tlog.StoredHashes(int64(e.Seq), e.Bytes, stored)
			b.ok(err)
			stored = append(stored, more...)
		}
		n += step
		want, err := tlog.TreeHash(int64(n), stored)
		b.ok(err)
		head, err := b.store.Head(b.ctx, k.id)
		b.ok(err)
		equal(b, fmt.Sprintf("root of %d", n), head.Root, storage.Hash(want))
	}
	k.check()
}

// refusedLeavesNoTrace appends a batch that has something for every table and
// is refused for its last part, and compares everything that can be seen.
func refusedLeavesNoTrace(b *bench) {
	k := b.book(1)
	k.grow(31)
	before := Snapshot(b.store, []storage.LedgerID{k.id}, []string{k.place, "other"}, b.clock.Now())
	full := k.next(5)
	full.Words = []storage.Word{{Seq: 31, Name: "label", Salt: make([]byte, 16), Text: "for the mill"}}
	full.Players = []storage.Player{{Pseudonym: "p1", Person: "ann"}}
	full.Posts = []storage.Post{{Place: "other", Bytes: []byte("post"), Open: true}}
	full.Set = []storage.Timer{{TimerRef: storage.TimerRef{Name: "turn", Due: b.clock.Now()}, Bytes: []byte("x")}}
	full.Secret = []byte("secret")
	for name, spoil := range map[string]func(*storage.Batch){
		"conflict": func(s *storage.Batch) { s.Expect.Last[3]++ },
		"fired":    func(s *storage.Batch) { s.Fired = []storage.TimerRef{{Name: "none", Due: b.clock.Now()}} },
		"invalid":  func(s *storage.Batch) { s.Community = "elsewhere" },
		"limit":    func(s *storage.Batch) { s.Secret = make([]byte, storage.MaxSecret+1) },
	} {
		batch := full
		spoil(&batch)
		if err := b.store.Append(b.ctx, batch); err == nil {
			b.Fatalf("%s: not refused", name)
		}
		equal(b, name, Snapshot(b.store, []storage.LedgerID{k.id}, []string{k.place, "other"}, b.clock.Now()), before)
	}
	k.append(full)
	k.check()
	b.healthy()
}

func oneWinsEachRound(b *bench) {
	k := b.book(1)
	const rounds, racers = 8, 64
	for round := range rounds {
		var wins atomic.Int32
		var won storage.Batch
		var mu sync.Mutex
		var all sync.WaitGroup
		for racer := range racers {
			batch := k.next(1)
			batch.Source = storage.Source(fmt.Sprintf("r%d-%d", round, racer))
			batch.Entries[0].Bytes = Entry(k.id, uint64(round), batch.Source, "")
			all.Go(func() {
				switch err := b.store.Append(b.ctx, batch); {
				case err == nil:
					wins.Add(1)
					mu.Lock()
					won = batch
					mu.Unlock()
				case !errors.Is(err, storage.ErrConflict):
					b.Errorf("racer %d: %v", racer, err)
				}
			})
		}
		all.Wait()
		equal(b, "winners", wins.Load(), 1)
		k.wrote(won)
	}
	k.check()
}

func noneConflicts(b *bench) {
	var all sync.WaitGroup
	books := make([]*book, 64)
	for n := range books {
		books[n] = b.book(n)
		all.Go(func() {
			for range 40 {
				batch := books[n].next(1)
				if err := b.store.Append(b.ctx, batch); err != nil {
					b.Errorf("ledger %d: %v", n, err)
					return
				}
				books[n].wrote(batch)
			}
		})
	}
	all.Wait()
	for _, k := range books {
		k.check()
	}
	b.healthy()
}

func lets99Through(b *bench) {
	var all sync.WaitGroup
	var stored atomic.Int32
	for n := range 100 {
		batch := b.book(n).next(1)
		if n == 57 {
			batch.Fired = []storage.TimerRef{{Name: "never set", Due: b.clock.Now()}}
		}
		all.Go(func() {
			err := b.store.Append(context.Background(), batch)
			if err == nil {
				stored.Add(1)
			} else if n != 57 || !errors.Is(err, storage.ErrFired) {
				b.Errorf("ledger %d: %v", n, err)
			}
		})
	}
	all.Wait()
	equal(b, "stored", stored.Load(), 99)
}

func bothOrNone(b *bench) {
	k, m := b.book(1), b.book(2)
	k.grow(31)
	m.grow(2)
	one, two := k.next(2), m.next(1)
	two.Expect.Last[0]++
	b.refused(b.store.Append(b.ctx, one, two), storage.ErrConflict)
	k.check()
	m.check()
	two.Expect.Last[0]--
	b.ok(b.store.Append(b.ctx, one, two))
	k.wrote(one)
	m.wrote(two)
	k.check()
	m.check()
	b.refused(b.store.Append(b.ctx), storage.ErrInvalid)
	var five []storage.Batch
	for n := range storage.MaxBatches + 1 {
		five = append(five, b.book(10+n).next(1))
	}
	b.refused(b.store.Append(b.ctx, five...), storage.ErrInvalid)
	b.ok(b.store.Append(b.ctx, five[:storage.MaxBatches]...))
}
