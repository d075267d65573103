package bolt

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"syscall"
	"time"

	bbolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
	"drumhead/storage/internal/ledgers"
)

// Bounds of what one commit makes durable together.
const (
	maxGroup      = 512
	maxGroupBytes = 4 << 20 // the last member may go beyond
)

// How long marks wait for others, since one commit for many writes far fewer
// pages than many with one each: until there are enough of them, and no longer
// than markWait; with the commit itself it stays under the promised 50 ms. After
// a commit that found no room they wait fullWait.
const (
	enoughMarks = 16
	markWait    = 40 * time.Millisecond
	fullWait    = time.Second
)

// member is one append, or one put on a shelf, on its way into a commit.
type member struct {
	do    func(ledgers.Tx) error // a refusal must have written nothing
	size  int
	state atomic.Int32
	err   error
	done  chan struct{}
}

// A member's state: it can leave the queue until the committer takes it.
const (
	queued = iota
	taken
	left
)

// commit puts a member into the queue and waits for its outcome. If ctx ends
// while it is still queued, nothing is stored.
func (s *Store) commit(ctx context.Context, m *member) error {
	if s.readOnly {
		return storage.ErrReadOnly
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	m.done = make(chan struct{})
	if alone, err := s.alone(m); alone {
		return err
	}
	if err := s.enqueue(ctx, m); err != nil {
		return err
	}
	select {
	case <-m.done:
		return m.err
	case <-ctx.Done():
	}
	if m.state.CompareAndSwap(queued, left) {
		return ctx.Err()
	}
	<-m.done
	return m.err
}

// alone writes a member at once if nobody writes, nobody waits, and the last
// commit was not of many: handing it to the committer and waiting for the answer
// would cost two changes of goroutine. In a crowd that time lets groups gather.
func (s *Store) alone(m *member) (bool, error) {
	s.gate.RLock()
	defer s.gate.RUnlock()
	if s.closed || len(s.queue) > 0 || !s.writing.TryLock() {
		return false, nil
	}
	defer s.writing.Unlock()
	if s.crowd {
		return false, nil
	}
	m.state.Store(taken)
	s.take([]*member{m}, false)
	return true, m.err
}

func (s *Store) enqueue(ctx context.Context, m *member) error {
	s.gate.RLock()
	defer s.gate.RUnlock()
	if s.closed {
		return storage.ErrClosed
	}
	select {
	case s.queue <- m:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// commits is the committer: it writes what waits, as long as the queue is open.
func (s *Store) commits() {
	defer close(s.ended)
	var flush <-chan time.Time // when marks are written at the latest; nil while none waits
	for {
		var first *member
		due, open := false, true
		select {
		case first, open = <-s.queue:
			if !open {
				s.turn(nil, true)
				return
			}
		case <-s.marked:
			if flush == nil {
				flush = time.After(markWait)
			}
			continue
		case <-flush:
			due, flush = true, nil
		}
		switch before, full := s.turn(first, due); {
		case full:
			flush = time.After(fullWait)
		case before && flush != nil:
			flush = time.After(markWait)
		}
	}
}

// turn waits for who writes, then writes a member with all that wait behind it
// by now, and the marks that are ripe, or all of them if they are due. It tells
// whether there was no room the last time, and now.
func (s *Store) turn(first *member, due bool) (before, full bool) {
	s.writing.Lock()
	defer s.writing.Unlock()
	before = s.full
	s.take(s.drain(first), due)
	return before, s.full
}

// take is turn for who holds writing. After a commit without room marks wait
// until they are due, so that they take no room from what is more urgent.
func (s *Store) take(group []*member, due bool) {
	var marks []ledgers.Mark
	switch {
	case due:
		marks = s.Marks.Take()
	case !s.full:
		marks = s.ripe()
	}
	s.full, s.crowd = s.write(group, marks), len(group) > 1
}

// ripe gives the marks that have waited for long enough, by the store's clock,
// or are enough of them; else none.
func (s *Store) ripe() []ledgers.Mark {
	all := s.Marks.Take()
	if len(all) == 0 || len(all) < enoughMarks && s.Now().Sub(layout.TimeOfMillis(all[0].At)) < markWait {
		return nil
	}
	return all
}

// drain takes what is already waiting. It waits for nothing: while a group is
// written the next one gathers by itself.
func (s *Store) drain(m *member) (group []*member) {
	for size := 0; m != nil; {
		if m.state.CompareAndSwap(queued, taken) {
			group = append(group, m)
			size += m.size
		}
		if len(group) >= maxGroup || size >= maxGroupBytes {
			return group
		}
		select {
		case m = <-s.queue:
		default:
			return group
		}
	}
	return group
}

// write makes a group and marks durable and answers the group. It tells whether
// there was no room.
func (s *Store) write(group []*member, marks []ledgers.Mark) (full bool) {
	var err error
	switch {
	case s.doubt.Load():
		err = storage.ErrUnknown
	case len(group)+len(marks) > 0:
		err = s.transact(group, marks)
		if err == nil {
			s.Marks.Written(marks)
		}
	}
	for _, m := range group {
		if err != nil {
			m.err = err
		}
		close(m.done)
	}
	return errors.Is(err, storage.ErrFull)
}

// transact runs a group's transaction. A member that refuses is no error of the
// transaction; if nothing was written there is nothing to commit.
func (s *Store) transact(group []*member, marks []ledgers.Mark) error {
	id := 0
	err := s.alter(func(tx *bbolt.Tx) (bool, error) {
		id = tx.ID()
		t := &noting{transaction: over(tx)}
		for _, m := range marks {
			if err := s.Mark(t, m); err != nil {
				continue // the post's record is damaged; Check names it, Outbox does too
			}
		}
		for _, m := range group {
			m.err = m.do(t)
		}
		s.Prune(t)
		return t.wrote, nil
	})
	switch {
	case broken(err):
		return s.failed(id, damaged(s.path, err))
	case err != nil:
		return s.failed(id, err)
	}
	return nil
}

// noting notes whether anything was written.
type noting struct {
	transaction
	wrote bool
}

func (n *noting) Put(t table, key, value []byte) {
	n.wrote = true
	n.transaction.Put(t, key, value)
}

func (n *noting) Delete(t table, key []byte) {
	n.wrote = true
	n.transaction.Delete(t, key)
}

// failed judges a transaction that did not end well. Only if there was no room
// and the file still shows the state before is it certain that nothing was
// stored; else the store's life ends here.
func (s *Store) failed(id int, err error) error {
	s.Forget()
	if noRoom(err) && s.newest() < id {
		return fmt.Errorf("%w: %w (%s)", storage.ErrFull, err, s.path)
	}
	s.doubt.Store(true)
	return fmt.Errorf("%w: %w (%s)", storage.ErrUnknown, errors.Join(err, s.leaveDoubt(err)), s.path)
}

// noRoom tells whether an error says that the disk, or the quota on it, is full.
func noRoom(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, errQuota) || errors.Is(err, bolterrors.ErrMaxSizeReached)
}
