package bolt

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
	"sync/atomic"

	bbolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"
	"golang.org/x/mod/sumdb/tlog"

	"drumhead/storage"
	"drumhead/storage/internal/ledgers"
)

// Store is a storage.Store in one file. It also gives proofs (Hashes) and
// checks itself (Check).
type Store struct {
	ledgers.Reader
	db       *bbolt.DB
	file     *os.File // the one under db
	path     string
	readOnly bool

	gate    sync.RWMutex // held for reading while something is put into the queue, or written alone
	closed  bool         // under gate
	shut    atomic.Bool  // closed, for readers
	doubt   atomic.Bool  // a commit's outcome is not certain
	torn    atomic.Bool  // a page of the database itself was found damaged
	stuck   atomic.Bool  // bbolt lost its lock for writers
	writing sync.Mutex   // held by who writes: the committer, or a member that is alone
	full    bool         // under writing: the last commit found no room
	crowd   bool         // under writing: the last commit was of several members
	queue   chan *member
	marked  chan struct{} // something was marked as sent
	ended   chan struct{} // the committer has returned
	wake    chan struct{}
}

var _ interface {
	storage.Store
	Hashes(context.Context, storage.LedgerID) tlog.HashReader
} = (*Store)(nil)

func newStore(db *bbolt.DB, file *os.File, keeper *ledgers.Keeper, readOnly bool) *Store {
	s := &Store{
		db: db, file: file, path: db.Path(), readOnly: readOnly,
		queue: make(chan *member, maxGroup), marked: make(chan struct{}, 1),
		ended: make(chan struct{}), wake: make(chan struct{}, 1),
	}
	s.Reader = ledgers.Reader{Keeper: keeper, View: s.view, Marks: &ledgers.Marks{}}
	return s
}

// view runs one transaction for reading. Once an outcome is in doubt nothing is
// read any more: what the file shows may not be what the disk has.
func (s *Store) view(f func(ledgers.Tx) error) error {
	switch {
	case s.shut.Load():
		return storage.ErrClosed
	case s.doubt.Load():
		return storage.ErrUnknown
	}
	return s.look(func(tx *bbolt.Tx) error { return f(over(tx)) })
}

// look runs one bbolt transaction for reading.
func (s *Store) look(f func(*bbolt.Tx) error) error {
	err := guarded(func() error { return s.db.View(f) })
	switch {
	case errors.Is(err, bolterrors.ErrDatabaseNotOpen):
		return storage.ErrClosed
	case broken(err):
		s.torn.Store(true)
		return damaged(s.path, err)
	}
	return err
}

// Append stores all batches or none. It returns once they are durable.
func (s *Store) Append(ctx context.Context, batches ...storage.Batch) error {
	change, err := s.Prepare(batches)
	if err != nil {
		return err
	}
	err = s.commit(ctx, &member{size: change.Bytes(), do: func(tx ledgers.Tx) error { return s.Keeper.Append(tx, change) }})
	if err == nil && change.Wakes() {
		s.rouse()
	}
	return err
}

// rouse fills the channel of Wake, unless it is full.
func (s *Store) rouse() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// Wake gets a value when posts or timers may have changed.
func (s *Store) Wake() <-chan struct{} { return s.wake }

// MarkSent ends a post's waiting and keeps the receipt. It does not wait for
// the disk: the mark is written with others, after markWait at the latest.
func (s *Store) MarkSent(ctx context.Context, id storage.PostID, receipt string) error {
	mark, wanted, err := s.NewMark(ctx, id, receipt)
	if err != nil || !wanted {
		return err
	}
	if s.readOnly {
		return storage.ErrReadOnly
	}
	s.gate.RLock()
	defer s.gate.RUnlock()
	if s.closed {
		return storage.ErrClosed
	}
	s.Marks.Add(mark)
	select {
	case s.marked <- struct{}{}:
	default:
	}
	return nil
}

// Close waits for what was taken up, writes what was marked, and lets go of the
// file.
func (s *Store) Close() error {
	s.gate.Lock()
	if s.closed {
		s.gate.Unlock()
		return nil
	}
	s.closed = true
	close(s.queue)
	s.gate.Unlock()
	if !s.readOnly {
		<-s.ended
	}
	s.shut.Store(true)
	if err := errors.Join(s.sign(), s.release()); err != nil {
		return fmt.Errorf("store %s did not close in order: %w", s.path, err)
	}
	return nil
}

// sign writes when the store was closed in order. A file that was found damaged
// is left as it is.
func (s *Store) sign() error {
	if s.readOnly || s.doubt.Load() || s.torn.Load() {
		return nil
	}
	err := s.alter(func(tx *bbolt.Tx) (bool, error) {
		putMeta(over(tx), metaClosed, s.moment())
		return true, nil
	})
	if broken(err) {
		return damaged(s.path, err)
	}
	return err
}

// Shelf is a named table of small values outside any ledger.
func (s *Store) Shelf(name string) storage.Shelf {
	return shelf{s.OnShelf(name), s, name}
}

type shelf struct {
	ledgers.Shelf
	store *Store
	name  string
}

// Put stores all pairs or none; it returns once they are durable.
func (h shelf) Put(ctx context.Context, pairs ...storage.KeyValue) error {
	if err := ledgers.CheckPairs(h.name, pairs); err != nil {
		return err
	}
	size := 0
	for _, p := range pairs {
		size += len(p.Value)
	}
	return h.store.commit(ctx, &member{size: size, do: func(tx ledgers.Tx) error {
		ledgers.PutPairs(tx, h.name, pairs)
		return nil
	}})
}
