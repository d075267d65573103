package storagetest

import (
	"fmt"
	"strings"
	"time"

	"drumhead/storage"
)

// at is a timer that is due some seconds after the clock's start.
func at(name string, seconds int) storage.Timer {
	due := NewClock().Now().Add(time.Duration(seconds) * time.Second)
	return storage.Timer{TimerRef: storage.TimerRef{Name: name, Due: due}, Bytes: []byte(name + "!")}
}

// due gives the timers due as "ledger name", and the seconds until the next.
func (b *bench) due(seconds, max int) string {
	b.Helper()
	start := NewClock().Now()
	timers, next, err := b.store.Due(b.ctx, start.Add(time.Duration(seconds)*time.Second), max)
	b.ok(err)
	var all []string
	for _, t := range timers {
		if string(t.Bytes) != t.Name+"!" || t.Due.Location() != time.UTC {
			b.Fatalf("timer %q came back as %q due %v", t.Name, t.Bytes, t.Due)
		}
		all = append(all, fmt.Sprintf("%d %s", t.Ledger[15], t.Name))
	}
	if !next.IsZero() {
		all = append(all, fmt.Sprint(next.Sub(start)))
	}
	return strings.Join(all, ", ")
}

// timed appends an entry that changes timers.
func (k *book) timed(change func(*storage.Batch)) {
	k.b.Helper()
	batch := k.next(1)
	change(&batch)
	k.append(batch)
}

func timerCases() []tested {
	return []tested{
		{"order of time, ties by ledger, then name", timersInOrder},
		{"moved, cancelled, fired", movedCancelledFired},
		{"fired twice", firedTwice},
		{"fired and set again in one batch", firedAndSetAgain},
		{"the clock backwards and far ahead", clockBackwards},
		{"times are kept in whole milliseconds", wholeMilliseconds},
		{"the same name in two ledgers", nameInTwoLedgers},
	}
}

func timersInOrder(b *bench) {
	k, m := b.book(1), b.book(2)
	m.timed(func(s *storage.Batch) { s.Set = []storage.Timer{at("b", 10), at("a", 10), at("z", 5)} })
	k.timed(func(s *storage.Batch) { s.Set = []storage.Timer{at("c", 10), at("late", 60)} })
	equal(b, "none yet", b.due(4, 9), "5s")
	equal(b, "one", b.due(5, 9), "2 z, 10s")
	equal(b, "all", b.due(10, 9), "2 z, 1 c, 2 a, 2 b, 1m0s")
	equal(b, "at most two", b.due(10, 2), "2 z, 1 c, 10s")
	equal(b, "none asked for", b.due(10, 0), "5s")
	b.reopen()
	equal(b, "after reopening", b.due(60, 9), "2 z, 1 c, 2 a, 2 b, 1 late")
}

func firedTwice(b *bench) {
	k := b.book(1)
	k.timed(func(s *storage.Batch) { s.Set = []storage.Timer{at("turn", 5)} })
	k.timed(func(s *storage.Batch) { s.Fired = []storage.TimerRef{at("turn", 5).TimerRef} })
	batch := k.next(1)
	batch.Fired = []storage.TimerRef{at("turn", 5).TimerRef}
	b.refused(b.store.Append(b.ctx, batch), storage.ErrFired)
	k.check()
}

func firedAndSetAgain(b *bench) {
	k := b.book(1)
	k.timed(func(s *storage.Batch) { s.Set = []storage.Timer{at("turn", 5)} })
	k.timed(func(s *storage.Batch) {
		s.Fired = []storage.TimerRef{at("turn", 5).TimerRef}
		s.Set = []storage.Timer{at("turn", 9)}
	})
	equal(b, "due", b.due(8, 9), "9s")
	k.timed(func(s *storage.Batch) {
		s.Fired = []storage.TimerRef{at("turn", 9).TimerRef}
		s.Set = []storage.Timer{at("turn", 9)} // at the very same time
	})
	equal(b, "due again", b.due(9, 9), "1 turn")
}

func clockBackwards(b *bench) {
	k := b.book(1)
	k.timed(func(s *storage.Batch) { s.Set = []storage.Timer{at("turn", 5)} })
	equal(b, "backwards", b.due(-1e9, 9), "5s")
	equal(b, "before 1970", b.due(-2e9, 9), "5s")
	equal(b, "far ahead", b.due(9e9, 9), "1 turn")
}

func wholeMilliseconds(b *bench) {
	k := b.book(1)
	fine := at("turn", 5)
	fine.Due = fine.Due.Add(1234567 * time.Nanosecond)
	k.timed(func(s *storage.Batch) { s.Set = []storage.Timer{fine} })
	equal(b, "next", b.due(0, 9), "5.001s")
	k.timed(func(s *storage.Batch) { s.Fired = []storage.TimerRef{fine.TimerRef} })
	equal(b, "fired", b.due(9, 9), "")
}

func nameInTwoLedgers(b *bench) {
	k, m := b.book(1), b.book(2)
	for _, one := range []*book{k, m} {
		one.timed(func(s *storage.Batch) { s.Set = []storage.Timer{at("turn", 5)} })
	}
	k.timed(func(s *storage.Batch) { s.Cancel = []string{"turn"} })
	equal(b, "due", b.due(5, 9), "2 turn")
}

func movedCancelledFired(b *bench) {
	k := b.book(1)
	k.timed(func(s *storage.Batch) { s.Set = []storage.Timer{at("a", 1), at("b", 2), at("c", 3), at("d", 4)} })
	k.timed(func(s *storage.Batch) { s.Set = []storage.Timer{at("a", 7)} })
	equal(b, "a moved", b.due(9, 9), "1 b, 1 c, 1 d, 1 a")
	k.timed(func(s *storage.Batch) { s.Cancel = []string{"c", "unknown"} })
	equal(b, "c cancelled", b.due(9, 9), "1 b, 1 d, 1 a")
	k.timed(func(s *storage.Batch) { s.Fired = []storage.TimerRef{at("b", 2).TimerRef} })
	equal(b, "b fired", b.due(9, 9), "1 d, 1 a")
	for _, gone := range []storage.Timer{at("a", 1), at("b", 2), at("c", 3), at("d", 5)} {
		batch := k.next(1)
		batch.Fired = []storage.TimerRef{gone.TimerRef}
		b.refused(b.store.Append(b.ctx, batch), storage.ErrFired)
	}
	k.timed(func(s *storage.Batch) {
		s.Cancel, s.Set = []string{"d"}, []storage.Timer{at("d", 8)}
	})
	equal(b, "d cancelled and set", b.due(9, 9), "1 a, 1 d")
	b.healthy()
}
