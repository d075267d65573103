package storagetest

import (
	"context"
	"errors"
	"runtime"
	"sync"
	"time"

	"drumhead/storage"
)

func readingCases() []tested {
	return []tested{
		{"entries of one moment while writers go on", func(b *bench) {
			k := b.book(1)
			for range 5000 / storage.MaxEntries {
				k.append(k.next(storage.MaxEntries))
			}
			k.grow(5)
			size, n := k.tree.Size(), uint64(0)
			for e, err := range b.store.Read(b.ctx, k.id, 0, 1<<40) {
				b.ok(err)
				equal(b, "seq", e.Seq, n)
				equal(b, "entry", string(e.Bytes), string(k.entries[n]))
				if n++; n%100 == 0 {
					k.grow(1) // the reader must neither see it nor be in its way
				}
			}
			equal(b, "entries", n, size)
			k.check()
		}},
		{"a slow reader does not stop a writer", func(b *bench) {
			k, m := b.book(1), b.book(2)
			k.grow(100)
			for e, err := range b.store.Read(b.ctx, k.id, 0, 100) {
				b.ok(err)
				if e.Seq%10 == 0 {
					m.grow(1)
				}
			}
			for range b.store.Ledgers(b.ctx) {
				m.grow(1)
			}
			m.check()
		}},
		{"the heap does not grow with the ledger", heapStaysFlat},
	}
}

// heapStaysFlat reads a ledger of some 20 MB and measures what lives meanwhile.
func heapStaysFlat(b *bench) {
	k := b.book(1)
	filler := string(make([]byte, 0, 4000))
	for len(filler) < 4000 {
		filler += "abcdefgh ijklmnop "
	}
	const entries = 5120
	for seq := uint64(0); seq < entries; {
		batch := k.next(storage.MaxEntries)
		for i := range batch.Entries {
			source := batch.Source
			if i > 0 {
				source = ""
			}
			batch.Entries[i].Bytes = Entry(k.id, seq, source, filler)
			seq++
		}
		b.ok(b.store.Append(b.ctx, batch))
		k.wrote(batch)
	}
	k.entries = nil
	live := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	before, most := live(), uint64(0)
	for e, err := range b.store.Read(b.ctx, k.id, 0, entries) {
		b.ok(err)
		if e.Seq%512 == 0 {
			most = max(most, live())
		}
	}
	if grown := int64(most) - int64(before); grown > 8<<20 {
		b.Errorf("reading 20 MB of entries holds %d bytes of heap", grown)
	}
}

func endingCases() []tested {
	return []tested{
		{"cancelled before: nothing stored", func(b *bench) {
			k := b.book(1)
			ctx, cancel := context.WithCancel(b.ctx)
			cancel()
			b.refused(b.store.Append(ctx, k.next(1)), context.Canceled)
			b.refused(b.store.Shelf("s").Put(ctx, pairOf("a", "1")), context.Canceled)
			_, err := b.store.Head(ctx, k.id)
			b.refused(err, context.Canceled)
			for _, err := range b.store.Read(ctx, k.id, 0, 1) {
				b.refused(err, context.Canceled)
			}
			k.check()
			equal(b, "shelf", b.shelfText("s", ""), "")
		}},
		{"cancelled during: the real outcome", cancelledDuring},
		{"closed during appends", closedDuring},
		{"closed twice, calls after", func(b *bench) {
			k := b.book(1)
			k.grow(1)
			id := k.say("fen")
			b.close()
			b.close()
			b.refused(b.store.Append(b.ctx, k.next(1)), storage.ErrClosed)
			b.refused(b.store.Shelf("s").Put(b.ctx, pairOf("a", "1")), storage.ErrClosed)
			b.refused(b.store.MarkSent(b.ctx, id, "m"), storage.ErrClosed)
			_, err := b.store.Head(b.ctx, k.id)
			b.refused(err, storage.ErrClosed)
			_, err = b.store.Outbox(b.ctx, 1)
			b.refused(err, storage.ErrClosed)
			for _, err := range b.store.Read(b.ctx, k.id, 0, 1) {
				b.refused(err, storage.ErrClosed)
			}
			b.open()
			k.check()
		}},
	}
}

// cancelledDuring cancels at any moment and wants the answer to be true.
func cancelledDuring(b *bench) {
	books := make([]*book, 64)
	var all sync.WaitGroup
	for n := range books {
		books[n] = b.book(n)
		all.Go(func() {
			for range 20 {
				ctx, cancel := context.WithTimeout(b.ctx, time.Duration(n)*20*time.Microsecond)
				batch := books[n].next(1)
				switch err := b.store.Append(ctx, batch); {
				case err == nil:
					books[n].wrote(batch)
				case !errors.Is(err, context.DeadlineExceeded):
					b.Errorf("ledger %d: %v", n, err)
				}
				cancel()
			}
		})
	}
	all.Wait()
	for _, k := range books {
		k.check()
	}
}

// closedDuring closes under 16 writers; what was answered with nil is there.
func closedDuring(b *bench) {
	books := make([]*book, 16)
	var all sync.WaitGroup
	for n := range books {
		books[n] = b.book(n)
		all.Go(func() {
			for range 100_000 {
				batch := books[n].next(1)
				err := b.store.Append(b.ctx, batch)
				if errors.Is(err, storage.ErrClosed) {
					return
				}
				if err != nil {
					b.Errorf("ledger %d: %v", n, err)
					return
				}
				books[n].wrote(batch)
			}
		})
	}
	time.Sleep(20 * time.Millisecond)
	b.close()
	all.Wait()
	b.open()
	for _, k := range books {
		k.check()
	}
}
