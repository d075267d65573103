package storagetest

import (
	"context"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"

	"drumhead/storage"
)

func packingCases() []tested {
	return []tested{
		{"reading over every border", func(b *bench) {
			k := b.book(1)
			borders := []uint64{0, 1, 31, 32, 33, 63, 64, 65, 95, 96, 97, 1000}
			for _, size := range []int{0, 1, 31, 32, 33, 63, 64, 65, 96, 100} {
				k.grow(size - len(k.entries))
				for _, from := range borders {
					for _, to := range borders {
						k.checkRange(from, max(from, to))
					}
				}
			}
			for e := range b.store.Read(b.ctx, k.id, 50, 20) {
				b.Fatalf("reading backwards gave entry %d", e.Seq)
			}
		}},
		{"batches of every length", func(b *bench) {
			k := b.book(1)
			for n := 1; n <= storage.MaxEntries; n++ {
				k.append(k.next(n))
			}
			k.check()
			b.healthy()
		}},
		{"reading may stop anywhere", func(b *bench) {
			k := b.book(1)
			k.grow(70)
			for stop := range uint64(70) {
				var last uint64
				for e, err := range b.store.Read(b.ctx, k.id, 0, 70) {
					b.ok(err)
					if last = e.Seq; last == stop {
						break
					}
				}
				equal(b, "last", last, stop)
			}
		}},
		{"proofs of every entry of 100", proofs},
	}
}

// proofs checks by golang.org/x/mod/sumdb/tlog that every entry is proved, and
// every smaller size is consistent.
func proofs(b *bench) {
	prover, ok := b.store.(interface {
		Hashes(context.Context, storage.LedgerID) tlog.HashReader
	})
	if !ok {
		b.Skip("this backend gives no proofs")
	}
	k := b.book(1)
	k.grow(100)
	hashes := prover.Hashes(b.ctx, k.id)
	for _, size := range []int64{1, 31, 32, 33, 64, 99, 100} {
		root, err := tlog.TreeHash(size, hashes)
		b.ok(err)
		for n := range size {
			proof, err := tlog.ProveRecord(size, n, hashes)
			b.ok(err)
			b.ok(tlog.CheckRecord(proof, size, root, n, tlog.RecordHash(k.entries[n])))
		}
		grown, err := tlog.ProveTree(100, size, hashes)
		b.ok(err)
		b.ok(tlog.CheckTree(grown, 100, tlog.Hash(k.head().Root), size, root))
	}
	if _, err := tlog.TreeHash(101, hashes); err == nil {
		b.Error("a hash over entries that are not there was given")
	}
	equal(b, "root", fmt.Sprint(k.head().Root), fmt.Sprint(k.tree.Root()))
}
