package ledgers

import (
	"context"

	"golang.org/x/mod/sumdb/tlog"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// Hashes gives what tlog.ProveRecord and tlog.ProveTree read of a ledger. No
// tree is stored: subtrees of 32 entries and more come from the roots of
// pages, smaller ones from one page or the tail.
func (r *Reader) Hashes(ctx context.Context, l storage.LedgerID) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) (hashes []tlog.Hash, err error) {
		err = r.view(ctx, func(tx Tx) error {
			head, err := readHead(tx, l)
			if err != nil {
				return err
			}
			for _, index := range indexes {
				level, n := tlog.SplitStoredHashIndex(index)
				h, err := r.subtree(tx, l, head, uint(level), uint64(n))
				if err != nil {
					return err
				}
				hashes = append(hashes, tlog.Hash(h))
			}
			return nil
		})
		return hashes, err
	})
}

// subtree gives the root over the 2^level entries from n·2^level on.
func (r *Reader) subtree(tx Tx, l storage.LedgerID, head layout.Head, level uint, n uint64) (storage.Hash, error) {
	first, end := n<<level, (n+1)<<level
	if end > head.Size {
		return storage.Hash{}, layout.Damage(l, first, "a hash of entries that are not there", errMissing)
	}
	var tree storage.Frontier
	if level < layout.PageLevel {
		entries, err := r.pageOrTail(tx, l, head, layout.Packed(first))
		if err != nil {
			return storage.Hash{}, err
		}
		for _, e := range entries[first%layout.PageSize:][:end-first] {
			tree.Add(storage.LeafHash(e))
		}
		return tree.Root(), nil
	}
	for ; first < end; first += layout.PageSize {
		page, err := readPage(tx, l, first)
		if err != nil {
			return storage.Hash{}, err
		}
		tree.Add(page.Root)
	}
	return tree.Root(), nil
}

// pageOrTail gives the entries that lie together from first on.
func (r *Reader) pageOrTail(tx Tx, l storage.LedgerID, head layout.Head, first uint64) ([][]byte, error) {
	if first >= layout.Packed(head.Size) {
		return readTail(tx, l, head)
	}
	page, err := readPage(tx, l, first)
	if err != nil {
		return nil, err
	}
	entries, err := r.packer.Unpack(page)
	if err != nil {
		return nil, layout.Damage(l, first, "page", err)
	}
	return entries, nil
}
