package bolt

import (
	"errors"
	"testing"

	"drumhead/storage"
	"drumhead/storage/internal/ledgers"
	"drumhead/storage/storagetest"
)

// still opens a store whose committer does not run: the test commits by hand.
func still(t *testing.T, e *evening) *Store {
	t.Helper()
	db, file, err := openFile(e.path, e.opts)
	if err != nil {
		t.Fatal(err)
	}
	keeper, err := ledgers.New(ledgers.Options{Now: e.opts.Now, Key: e.opts.Key})
	if err != nil {
		t.Fatal(err)
	}
	s := newStore(db, file, keeper, false)
	if err := s.prepare(e.opts); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return s
}

// taking is a member as the committer has it.
func taking(t *testing.T, s *Store, b ...storage.Batch) *member {
	t.Helper()
	change, err := s.Prepare(b)
	if err != nil {
		t.Fatal(err)
	}
	return &member{size: change.Bytes(), done: make(chan struct{}), do: func(tx ledgers.Tx) error { return s.Keeper.Append(tx, change) }}
}

// Two batches of one ledger in one group: later members see what earlier ones
// wrote, each is judged by itself.
func TestTwoBatchesOfOneLedgerInOneGroup(t *testing.T) {
	e := newEvening(t)
	e.close()
	s := still(t, e)
	first := next(t, s, 1, 31)
	second := storage.Batch{Expect: storage.Head{Ledger: first.Expect.Ledger, Size: 31, Last: storage.LeafHash(first.Entries[30].Bytes)}, Source: "second"}
	second.Entries = []storage.Entry{{Seq: 31, Bytes: storagetest.Entry(second.Expect.Ledger, 31, "second", "")}}
	rival := second
	rival.Source = "rival"
	rival.Entries = []storage.Entry{{Seq: 31, Bytes: storagetest.Entry(second.Expect.Ledger, 31, "rival", "")}}
	group := []*member{taking(t, s, first), taking(t, s, second), taking(t, s, rival), taking(t, s, first)}
	s.write(group, nil)
	for i, want := range []error{nil, nil, storage.ErrConflict, &storage.Seen{}} {
		var seen *storage.Seen
		if _, ok := want.(*storage.Seen); ok {
			if !errors.As(group[i].err, &seen) || seen.Last != 30 {
				t.Errorf("member %d: %v", i, group[i].err)
			}
		} else if !errors.Is(group[i].err, want) {
			t.Errorf("member %d: %v, want %v", i, group[i].err, want)
		}
	}
	if head, err := s.Head(t.Context(), first.Expect.Ledger); err != nil || head.Size != 32 {
		t.Errorf("%d entries, %v", head.Size, err)
	}
	if found := faults(t, s); found != nil {
		t.Error(found)
	}
}

// A group that only refuses writes nothing.
func TestRefusedGroupCommitsNothing(t *testing.T) {
	e := newEvening(t)
	b := e.append(1, 1)
	e.close()
	s := still(t, e)
	before := s.newest()
	for range 3 {
		s.write([]*member{taking(t, s, b)}, nil)
	}
	if after := s.newest(); after != before {
		t.Errorf("%d transactions for nothing", after-before)
	}
}

// A member whose writing panics, which only a bug can do, stores nothing and
// ends the store, for its whole group.
func TestBugEndsTheStore(t *testing.T) {
	e := newEvening(t)
	e.append(1, 1)
	want := snapshot(e.store)
	e.close()
	s := still(t, e)
	good := taking(t, s, next(t, s, 2, 1))
	bad := &member{done: make(chan struct{}), do: func(ledgers.Tx) error { panic("a bug") }}
	s.write([]*member{good, bad}, nil)
	for _, m := range []*member{good, bad} {
		if !errors.Is(m.err, storage.ErrUnknown) {
			t.Errorf("got %v", m.err)
		}
	}
	s.db.Close()
	e.open()
	if snapshot(e.store) != want {
		t.Error("something was stored")
	}
	e.close()
}

// A crash before a mark is written offers the post again, under the same id.
func TestCrashBeforeTheMarkIsWritten(t *testing.T) {
	e := newEvening(t)
	b := e.append(1, 1)
	e.close()
	s := still(t, e)
	id := storage.PostID{Ledger: b.Expect.Ledger}
	if err := s.MarkSent(t.Context(), id, "m1"); err != nil {
		t.Fatal(err)
	}
	if posts, err := s.Outbox(t.Context(), 9); err != nil || len(posts) != 0 {
		t.Errorf("offered though marked: %v, %v", posts, err)
	}
	s.db.Close()
	e.open()
	posts, err := e.store.Outbox(t.Context(), 9)
	if err != nil || len(posts) != 1 || posts[0].ID != id {
		t.Errorf("after the crash: %v, %v", posts, err)
	}
	if err := e.store.MarkSent(t.Context(), id, "m2"); err != nil {
		t.Fatal(err)
	}
	e.close()
}

// A group may end the waiting of every post and append in the same transaction,
// also when the queue was many pages long.
func TestQueueEmptiedByTheGroupThatAppends(t *testing.T) {
	e := newEvening(t)
	var posts []storage.PostID
	for range 300 {
		b := e.append(1, 1)
		posts = append(posts, storage.PostID{Ledger: b.Expect.Ledger, Seq: b.Expect.Size})
	}
	e.close()
	s := still(t, e)
	for _, id := range posts {
		if err := s.MarkSent(t.Context(), id, ""); err != nil {
			t.Fatal(err)
		}
	}
	m := taking(t, s, next(t, s, 1, 1))
	s.write([]*member{m}, s.Marks.Take())
	if m.err != nil {
		t.Fatal(m.err)
	}
	if waiting, err := s.Outbox(t.Context(), 9); err != nil || len(waiting) != 1 || waiting[0].ID.Seq != 300 {
		t.Errorf("%v wait, %v", waiting, err)
	}
	if found := faults(t, s); found != nil {
		t.Error(found)
	}
}

// A mark is written by itself when nothing else is.
func TestMarksAreWrittenWithoutAppends(t *testing.T) {
	e := newEvening(t)
	b := e.append(1, 1)
	if err := e.store.MarkSent(t.Context(), storage.PostID{Ledger: b.Expect.Ledger}, "m1"); err != nil {
		t.Fatal(err)
	}
	e.marksWritten()
	e.crash()
	e.open()
	if posts, err := e.store.Outbox(t.Context(), 9); err != nil || len(posts) != 0 {
		t.Errorf("after the crash: %v, %v", posts, err)
	}
	e.close()
}

// Groups are bounded by number and by bytes.
func TestGroupsAreBounded(t *testing.T) {
	e := newEvening(t)
	e.close()
	s := still(t, e)
	fill := func(size int) {
		for range maxGroup {
			s.queue <- &member{size: size}
		}
	}
	fill(1)
	if got := len(s.drain(&member{size: 1})); got != maxGroup {
		t.Errorf("%d members", got)
	}
	for len(s.queue) > 0 {
		<-s.queue
	}
	fill(maxGroupBytes / 4)
	if got := len(s.drain(&member{size: 1})); got != 5 {
		t.Errorf("%d members of a quarter each", got)
	}
	gone := &member{}
	gone.state.Store(left)
	if got := len(s.drain(gone)); got != 4 {
		t.Errorf("%d members behind one that left", got)
	}
}
