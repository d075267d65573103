// Package mem keeps ledgers in memory: the same records as the other backends,
// and so the same answers, for tests, rehearsals and throw-away tables.
// Nothing survives the process; a Disk survives its Store.
package mem

import (
	"context"
	"io"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"drumhead/storage"
	"drumhead/storage/internal/ledgers"
)

// Options are what a store is told. The zero value will do.
type Options struct {
	Now     func() time.Time // the clock; time.Now if nil
	Key     []byte           // seals secrets, 32 bytes; nil leaves them in clear
	OldKeys [][]byte         // keys that sealed secrets before
	Random  io.Reader        // random bytes; those of the system if nil
}

// Store is a storage.Store in memory. It also gives proofs (Hashes) and checks
// itself (Check).
type Store struct {
	ledgers.Reader
	disk   *Disk
	closed bool // under disk.mu
	wake   chan struct{}
}

var _ interface {
	storage.Store
	Hashes(context.Context, storage.LedgerID) tlog.HashReader
} = (*Store)(nil)

// New is a store on a disk of its own.
func New() *Store {
	s, err := Open(NewDisk(), Options{})
	if err != nil {
		panic(err) // only a key of a wrong length errs, and none was given
	}
	return s
}

// Open is a store on a disk; close the one before it first. It errs on a key
// of the wrong length.
func Open(d *Disk, o Options) (*Store, error) {
	keeper, err := ledgers.New(ledgers.Options{Now: o.Now, Key: o.Key, OldKeys: o.OldKeys, Random: o.Random})
	if err != nil {
		return nil, err
	}
	s := &Store{disk: d, wake: make(chan struct{}, 1)}
	s.Reader = ledgers.Reader{Keeper: keeper, View: s.view, Marks: &ledgers.Marks{}}
	if len(o.OldKeys) > 0 {
		return s, s.update(context.Background(), keeper.Reseal)
	}
	return s, nil
}

func (s *Store) view(f func(ledgers.Tx) error) error {
	s.disk.mu.RLock()
	defer s.disk.mu.RUnlock()
	if s.closed {
		return storage.ErrClosed
	}
	return f(reading{s.disk})
}

// update runs one transaction for writing. What f writes stays, so f must not
// err after it wrote.
func (s *Store) update(ctx context.Context, f func(ledgers.Tx) error) error {
	s.disk.mu.Lock()
	defer s.disk.mu.Unlock()
	if s.closed {
		return storage.ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return f(writing{reading{s.disk}})
}

// Append stores all batches or none.
func (s *Store) Append(ctx context.Context, batches ...storage.Batch) error {
	change, err := s.Prepare(batches)
	if err != nil {
		return err
	}
	err = s.update(ctx, func(tx ledgers.Tx) error {
		if err := s.Keeper.Append(tx, change); err != nil {
			return err
		}
		s.Prune(tx)
		return nil
	})
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

// MarkSent ends a post's waiting and keeps the receipt, at once.
func (s *Store) MarkSent(ctx context.Context, id storage.PostID, receipt string) error {
	mark, wanted, err := s.NewMark(ctx, id, receipt)
	if err != nil || !wanted {
		return err
	}
	return s.update(ctx, func(tx ledgers.Tx) error { return s.Mark(tx, mark) })
}

// Wake gets a value when posts or timers may have changed.
func (s *Store) Wake() <-chan struct{} { return s.wake }

// Close ends the store; its disk can be opened again.
func (s *Store) Close() error {
	s.disk.mu.Lock()
	defer s.disk.mu.Unlock()
	s.closed = true
	return nil
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

// Put stores all pairs or none.
func (h shelf) Put(ctx context.Context, pairs ...storage.KeyValue) error {
	if err := ledgers.CheckPairs(h.name, pairs); err != nil {
		return err
	}
	return h.store.update(ctx, func(tx ledgers.Tx) error {
		ledgers.PutPairs(tx, h.name, pairs)
		return nil
	})
}
