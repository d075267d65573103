package bolt

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	bbolt "go.etcd.io/bbolt"

	"drumhead/storage"
	"drumhead/storage/storagetest"
)

// evening is a store with a record of every kind, and the batches in it.
type evening struct {
	testing.TB
	path  string
	clock *storagetest.Clock
	opts  Options
	store *Store
}

var places = []string{"weir-1", "weir-2", "mill"}

func newEvening(t testing.TB) *evening {
	e := &evening{TB: t, path: filepath.Join(t.TempDir(), "store"), clock: storagetest.NewClock()}
	e.opts = Options{Now: e.clock.Now, Key: bytes.Repeat([]byte{7}, 32)}
	e.open()
	return e
}

func (e *evening) open() {
	e.Helper()
	var err error
	if e.store, err = Open(e.path, e.opts); err != nil {
		e.Fatal(err)
	}
}

func (e *evening) close() {
	e.Helper()
	if err := e.store.Close(); err != nil {
		e.Fatal(err)
	}
}

// crash lets go of the file without writing anything more.
func (e *evening) crash() {
	e.Helper()
	if err := e.store.db.Close(); err != nil {
		e.Fatal(err)
	}
}

// next makes the next batch of a ledger, with a part of everything.
func next(t testing.TB, s storage.Store, ledger, entries int) storage.Batch {
	t.Helper()
	l := storagetest.LedgerNumber(ledger)
	head, err := s.Head(t.Context(), l)
	if err != nil {
		t.Fatal(err)
	}
	at := head.Size
	b := storage.Batch{Expect: head, Source: storage.Source(fmt.Sprintf("m-%d-%d", ledger, at))}
	if at == 0 {
		b.Community, b.Place, b.Salt = "osier", fmt.Sprint("weir-", ledger), make([]byte, 16)
	}
	for i := range uint64(entries) {
		source := b.Source
		if i > 0 {
			source = ""
		}
		b.Entries = append(b.Entries, storage.Entry{Seq: at + i, Bytes: storagetest.Entry(l, at+i, source, strings.Repeat("f", 60))})
	}
	due := time.Date(2026, 12, 1, 0, 0, int(at%50), 0, time.UTC)
	b.Posts = []storage.Post{{Place: "mill", Bytes: fmt.Appendf(nil, "post of %d", at), Open: at%7 == 0}}
	b.Words = []storage.Word{{Seq: at, Name: "label", Salt: make([]byte, 16), Text: fmt.Sprint("label ", at)}}
	b.Players = []storage.Player{{Pseudonym: fmt.Sprint("p", at%5), Person: fmt.Sprint("person ", at%5)}}
	b.Set = []storage.Timer{{TimerRef: storage.TimerRef{Name: fmt.Sprint("turn ", at%6), Due: due}, Bytes: []byte("turn")}}
	b.Secret = fmt.Appendf(nil, "very secret %d", at)
	return b
}

func (e *evening) append(ledger, entries int) storage.Batch {
	e.Helper()
	b := next(e, e.store, ledger, entries)
	if err := e.store.Append(e.Context(), b); err != nil {
		e.Fatal(err)
	}
	return b
}

// play appends to two ledgers, over the borders of pages, and sends some posts.
func (e *evening) play() {
	e.Helper()
	for i := range 40 {
		e.append(1, 1+i%3)
		if i%2 == 0 {
			b := e.append(2, 1)
			id := storage.PostID{Ledger: b.Expect.Ledger, Seq: b.Entries[0].Seq}
			if err := e.store.MarkSent(e.Context(), id, fmt.Sprint("m", i%4)); err != nil {
				e.Fatal(err)
			}
		}
	}
	pair := storage.KeyValue{Key: "cut", Value: []byte("sealed")}
	if err := e.store.Shelf("settings").Put(e.Context(), pair); err != nil {
		e.Fatal(err)
	}
}

// snapshot is everything that the store shows.
func snapshot(s storage.Store) string {
	now := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	return storagetest.Snapshot(s, []storage.LedgerID{storagetest.LedgerNumber(1), storagetest.LedgerNumber(2)}, places, now)
}

// faults are what Check finds.
func faults(t testing.TB, s *Store) (found []error) {
	for fault := range s.Check(t.Context()) {
		found = append(found, fault)
	}
	return found
}

// marksWritten waits until every mark is written.
func (e *evening) marksWritten() {
	e.Helper()
	for range 500 {
		if len(e.store.Marks.Take()) == 0 {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	e.Fatal("marks are not written")
}

// used is how much of the file has ever been written; the rest is room.
func (e *evening) used() (n int) {
	e.Helper()
	if err := e.store.db.View(func(tx *bbolt.Tx) error { n = int(tx.Size()); return nil }); err != nil {
		e.Fatal(err)
	}
	return n
}

func (e *evening) healthy() {
	e.Helper()
	for _, fault := range faults(e, e.store) {
		e.Errorf("check: %v", fault)
	}
}

// settled wants what interrupted batch b left to be sound: appending it again
// stores it, or finds that it is stored.
func (e *evening) settled(b storage.Batch) (stored bool) {
	e.Helper()
	var seen *storage.Seen
	err := e.store.Append(e.Context(), b)
	if stored = errors.As(err, &seen); !stored && err != nil {
		e.Fatalf("appended again: %v", err)
	}
	head, err := e.store.Head(e.Context(), b.Expect.Ledger)
	if err != nil || head.Size != b.Expect.Size+uint64(len(b.Entries)) {
		e.Fatalf("the ledger has %d entries, %v", head.Size, err)
	}
	e.healthy()
	return stored
}

func readFile(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func writeFile(t testing.TB, path string, b []byte) {
	t.Helper()
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}
