package storagetest

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"iter"
	"sync"
	"testing"
	"time"

	"drumhead/storage"
)

// Clock is a clock that only a test moves.
type Clock struct {
	mu  sync.Mutex
	now time.Time
}

// NewClock starts on an evening in November.
func NewClock() *Clock { return &Clock{now: time.Date(2026, 11, 20, 19, 30, 0, 0, time.UTC)} }

// Now is the time on it.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Advance moves it.
func (c *Clock) Advance(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// bench is one store under test, with its clock.
type bench struct {
	*testing.T
	ctx   context.Context
	disk  Disk
	clock *Clock
	opts  Options
	store storage.Store
}

func newBench(t *testing.T, maker Maker) *bench {
	b := &bench{T: t, ctx: context.Background(), disk: maker(t), clock: NewClock()}
	b.opts.Now = b.clock.Now
	b.open()
	return b
}

func (b *bench) open() {
	b.Helper()
	var err error
	if b.store, err = b.disk(b.opts); err != nil {
		b.Fatal(err)
	}
}

func (b *bench) close() {
	b.Helper()
	b.ok(b.store.Close())
}

func (b *bench) reopen() {
	b.Helper()
	b.close()
	b.open()
}

func (b *bench) ok(err error) {
	b.Helper()
	if err != nil {
		b.Fatal(err)
	}
}

// refused wants an error of one kind.
func (b *bench) refused(err, kind error) {
	b.Helper()
	if !errors.Is(err, kind) {
		b.Fatalf("got error %v, want %v", err, kind)
	}
}

// seen wants the error for a source that was appended before.
func (b *bench) seen(err error) *storage.Seen {
	b.Helper()
	var seen *storage.Seen
	if !errors.As(err, &seen) {
		b.Fatalf("got error %v, want *storage.Seen", err)
	}
	return seen
}

func equal[V comparable](b *bench, what string, got, want V) {
	b.Helper()
	if got != want {
		b.Fatalf("%s: got %v, want %v", what, got, want)
	}
}

// LedgerNumber is the id of a ledger in tests.
func LedgerNumber(n int) (l storage.LedgerID) {
	binary.BigEndian.PutUint32(l[2:], uint32(n))
	l[0], l[1], l[15] = byte(n*37), 1, byte(n)
	return l
}

// Entry is an entry as the store is given it: canonical JSON with or without a source.
func Entry(l storage.LedgerID, seq uint64, source storage.Source, filler string) []byte {
	e := fmt.Appendf(nil, `{"args":{"sentence":"12d6 4+","said":"%s"},"command":"roll","ledger":"%s","player":"p1","seq":%d`, filler, l, seq)
	if source != "" {
		e = fmt.Appendf(e, `,"source":"%s"`, source)
	}
	return append(e, `,"time":"2026-11-20T19:30:00.000Z","v":1}`...)
}

// book is what a test knows of a ledger: every entry that it appended.
type book struct {
	b         *bench
	id        storage.LedgerID
	community string
	place     string
	entries   [][]byte
	tree      storage.Frontier
	last      storage.Hash
}

func (b *bench) book(n int) *book {
	return &book{b: b, id: LedgerNumber(n), community: "osier", place: fmt.Sprintf("weir-%d", n)}
}

func (k *book) head() storage.Head {
	return storage.Head{Ledger: k.id, Size: k.tree.Size(), Root: k.tree.Root(), Last: k.last}
}

func (k *book) source(seq uint64) storage.Source {
	return storage.Source(fmt.Sprintf("%s-%d", k.place, seq))
}

// next is a batch of n new entries; the first has a source.
func (k *book) next(n int) storage.Batch {
	at := k.tree.Size()
	batch := storage.Batch{Expect: k.head(), Source: k.source(at)}
	if at == 0 {
		batch.Community, batch.Place, batch.Salt = k.community, k.place, []byte("0123456789abcdef")
	}
	for i := range uint64(n) {
		source := batch.Source
		if i > 0 {
			source = ""
		}
		batch.Entries = append(batch.Entries, storage.Entry{Seq: at + i, Bytes: Entry(k.id, at+i, source, "")})
	}
	return batch
}

// wrote takes over what a batch appended.
func (k *book) wrote(batch storage.Batch) {
	for _, e := range batch.Entries {
		k.entries = append(k.entries, append([]byte{}, e.Bytes...))
		k.last = storage.LeafHash(e.Bytes)
		k.tree.Add(k.last)
	}
}

// append stores a batch and wants it to succeed.
func (k *book) append(batch storage.Batch) {
	k.b.Helper()
	k.b.ok(k.b.store.Append(k.b.ctx, batch))
	k.wrote(batch)
}

// grow appends n entries, one a batch.
func (k *book) grow(n int) {
	k.b.Helper()
	for range n {
		k.append(k.next(1))
	}
}

// check wants the store to know just what the book knows.
func (k *book) check() {
	k.b.Helper()
	head, err := k.b.store.Head(k.b.ctx, k.id)
	k.b.ok(err)
	equal(k.b, "head", head, k.head())
	k.checkRange(0, head.Size+1)
}

func (k *book) checkRange(from, to uint64) {
	k.b.Helper()
	at := from
	for e, err := range k.b.store.Read(k.b.ctx, k.id, from, to) {
		k.b.ok(err)
		equal(k.b, "seq", e.Seq, at)
		equal(k.b, fmt.Sprintf("entry %d", at), string(e.Bytes), string(k.entries[at]))
		at++
	}
	if want := max(min(to, uint64(len(k.entries))), from); at != want {
		k.b.Fatalf("reading %d to %d ended at %d, want %d", from, to, at, want)
	}
}

// healthy wants a store that can check itself to find nothing.
func (b *bench) healthy() {
	b.Helper()
	if checker, ok := b.store.(interface {
		Check(context.Context) iter.Seq[error]
	}); ok {
		for fault := range checker.Check(b.ctx) {
			b.Errorf("check: %v", fault)
		}
	}
}
