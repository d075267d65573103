package storagetest

import (
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"drumhead/storage"
)

func onceCases() []tested {
	return []tested{
		{"a resend before and after packing, after reopening, after 10,000 others", resends},
		{"a resend gives the same posts", resendGivesPosts},
		{"a source in any entry of a batch, without posts", sourceInAnyEntry},
		{"no posts once they are older than 7 days and sent", resendOfOldPosts},
		{"the same source in another ledger is new", sourceElsewhere},
		{"without a source nothing is seen", withoutSource},
		{"the word source elsewhere in an entry is none", nestedSource},
		{"a resend wins over a conflict", resendWins},
		{"many resend at once: one entry", manyResend},
		{"of two ledgers, one seen: nothing stored", oneOfTwoSeen},
	}
}

func resendGivesPosts(b *bench) {
	k := b.book(1)
	k.grow(2)
	batch := k.next(3)
	batch.Posts = []storage.Post{{Place: k.place, Bytes: []byte("one")}, {Place: "other", Bytes: []byte("two")}}
	k.append(batch)
	k.grow(2)
	want := &storage.Seen{First: 2, Last: 4, Posts: []storage.PostID{{Ledger: k.id, Seq: 4, N: 0}, {Ledger: k.id, Seq: 4, N: 1}}}
	equal(b, "seen", fmt.Sprint(b.seen(b.store.Append(b.ctx, batch))), fmt.Sprint(want))
	equal(b, "asked", fmt.Sprint(b.seen(b.store.Seen(b.ctx, k.id, batch.Source))), fmt.Sprint(want))
	k.check()
}

func sourceInAnyEntry(b *bench) {
	k := b.book(1)
	k.grow(1)
	batch := k.next(4)
	batch.Entries[0].Bytes, batch.Entries[2].Bytes = Entry(k.id, 1, "", ""), Entry(k.id, 3, batch.Source, "")
	k.append(batch)
	k.grow(40)
	seen := b.seen(b.store.Append(b.ctx, batch))
	equal(b, "bounds", fmt.Sprint(seen.First, seen.Last, len(seen.Posts)), "1 4 0")
}

func resendOfOldPosts(b *bench) {
	k := b.book(1)
	batch := k.next(1)
	batch.Posts = []storage.Post{{Place: k.place, Bytes: []byte("one")}}
	k.append(batch)
	id := storage.PostID{Ledger: k.id}
	b.clock.Advance(storage.KeepPosts + 1)
	equal(b, "posts while it waits", len(b.seen(b.store.Seen(b.ctx, k.id, batch.Source)).Posts), 1)
	b.ok(b.store.MarkSent(b.ctx, id, "m1"))
	b.clock.Advance(time.Second)
	k.grow(3) // marks that have waited, and pruning, ride along
	equal(b, "posts", len(b.seen(b.store.Seen(b.ctx, k.id, batch.Source)).Posts), 0)
	post, receipt, err := b.store.Post(b.ctx, id)
	b.ok(err)
	equal(b, "what stays", fmt.Sprint(post.Place, receipt, len(post.Bytes)), fmt.Sprint(k.place, "m1", 0))
	b.healthy()
}

func sourceElsewhere(b *bench) {
	k, m := b.book(1), b.book(2)
	k.grow(1)
	batch := m.next(1)
	batch.Source = k.source(0)
	batch.Entries[0].Bytes = Entry(m.id, 0, batch.Source, "")
	m.append(batch)
	m.check()
}

func withoutSource(b *bench) {
	k := b.book(1)
	for range 3 {
		batch := k.next(1)
		batch.Source, batch.Entries[0].Bytes = "", Entry(k.id, k.tree.Size(), "", "")
		k.append(batch)
	}
	b.ok(b.store.Seen(b.ctx, k.id, ""))
	b.ok(b.store.Seen(b.ctx, k.id, "never"))
	b.ok(b.store.Seen(b.ctx, LedgerNumber(9), "never"))
}

func nestedSource(b *bench) {
	k := b.book(1)
	batch := k.next(1)
	batch.Entries[0].Bytes = fmt.Appendf(nil, `{"args":{"source":"nested"},"events":[{"source":"listed"}],"said":"\"source\":\"quoted\"","source":"%s"}`, batch.Source)
	k.append(batch)
	for _, s := range []storage.Source{"nested", "listed", "quoted"} {
		b.ok(b.store.Seen(b.ctx, k.id, s))
	}
	b.seen(b.store.Seen(b.ctx, k.id, batch.Source))
}

func resendWins(b *bench) {
	k := b.book(1)
	batch := k.next(1)
	k.append(batch)
	batch.Expect.Size, batch.Entries[0].Seq = 7, 7
	batch.Entries[0].Bytes = Entry(k.id, 7, batch.Source, "")
	equal(b, "first", b.seen(b.store.Append(b.ctx, batch)).First, 0)
}

func manyResend(b *bench) {
	k := b.book(1)
	batch := k.next(1)
	var stored atomic.Int32
	var all sync.WaitGroup
	for range 32 {
		all.Go(func() {
			if b.store.Append(b.ctx, batch) == nil {
				stored.Add(1)
			}
		})
	}
	all.Wait()
	equal(b, "stored", stored.Load(), 1)
	k.wrote(batch)
	k.check()
}

func oneOfTwoSeen(b *bench) {
	k, m := b.book(1), b.book(2)
	old := k.next(1)
	k.append(old)
	b.seen(b.store.Append(b.ctx, m.next(1), old))
	m.check()
}

// resends tries old sources again wherever they lie by now.
func resends(b *bench) {
	k := b.book(1)
	var old []storage.Batch
	try := func(when string) {
		b.Helper()
		for _, batch := range old {
			if seen := b.seen(b.store.Append(b.ctx, batch)); seen.First != batch.Entries[0].Seq || seen.Last != batch.Entries[0].Seq {
				b.Fatalf("%s: entry %d was seen as %d to %d", when, batch.Entries[0].Seq, seen.First, seen.Last)
			}
		}
	}
	for i := range 70 {
		batch := k.next(1)
		k.append(batch)
		if slices.Contains([]int{0, 1, 30, 31, 32, 33, 63, 64, 69}, i) {
			old = append(old, batch)
		}
		if i == 20 {
			try("unpacked")
		}
	}
	try("packed")
	b.reopen()
	try("after reopening")
	for range 10_000 / storage.MaxEntries {
		k.append(k.next(storage.MaxEntries))
	}
	try("after 10,000 others")
	k.check()
}
