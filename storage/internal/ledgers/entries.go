package ledgers

import (
	"bytes"
	"errors"
	"math/bits"
	"slices"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// readHead gives a ledger's head, the empty one for an unknown ledger.
func readHead(tx Tx, l storage.LedgerID) (layout.Head, error) {
	key := layout.HeadKey(l)
	rec := tx.Get(layout.Ledgers, key)
	if rec == nil {
		return layout.Head{Root: storage.EmptyRoot()}, nil
	}
	h, err := layout.DecodeHead(key, rec)
	if err != nil {
		return h, layout.Damage(l, 0, "head", err)
	}
	return h, nil
}

// readPage gives a page without unpacking it.
func readPage(tx Tx, l storage.LedgerID, first uint64) (layout.Page, error) {
	key := layout.PageKey(l, first)
	rec := tx.Get(layout.Ledgers, key)
	if rec == nil {
		return layout.Page{}, layout.Damage(l, first, "page", errMissing)
	}
	page, err := layout.DecodePage(key, rec)
	if err != nil {
		return page, layout.Damage(l, first, "page", err)
	}
	return page, nil
}

var (
	errMissing = errors.New("it is not there")
	errKey     = errors.New("its key is none")
	errPrint   = errors.New("its fingerprints are not those of its entries")
	errPair    = errors.New("what belongs to it is not there")
	errHash    = errors.New("the entries do not hash to the ledger's head")
)

// readTail gives the entries that are not packed yet, hashed to the head.
func readTail(tx Tx, l storage.LedgerID, head layout.Head) ([][]byte, error) {
	first := layout.Packed(head.Size)
	tail := make([][]byte, 0, layout.PageSize)
	for seq := first; seq < head.Size; seq++ {
		entry := tx.Get(layout.Ledgers, layout.TailKey(l, seq))
		if entry == nil {
			return nil, layout.Damage(l, seq, "entry", errMissing)
		}
		tail = append(tail, entry)
	}
	if !hashesToHead(head, tail) {
		return nil, layout.Damage(l, first, "tail", errHash)
	}
	return tail, nil
}

// nodesOfTail gives the part of a frontier that stands for the tail.
func nodesOfTail(h layout.Head) []storage.Hash {
	return h.Frontier[len(h.Frontier)-bits.OnesCount64(h.Size%layout.PageSize):]
}

// hashesToHead tells whether a tail is the head's.
func hashesToHead(h layout.Head, tail [][]byte) bool {
	var tree storage.Frontier
	for _, e := range tail {
		tree.Add(storage.LeafHash(e))
	}
	return slices.Equal(tree.Nodes(), nodesOfTail(h))
}

// writeEntries appends the entries, packs every page that they fill, and
// writes the new head.
func (k *Keeper) writeEntries(d *draft, p *part, head layout.Head) error {
	l, size := p.ledger(), head.Size
	tree, err := storage.FrontierOf(size, head.Frontier)
	if err != nil {
		return layout.Damage(l, size, "head", err)
	}
	for _, leaf := range p.leaves {
		tree.Add(leaf)
	}
	loose, prints := entryBytes(p.Entries), append(slices.Clone(head.Prints), p.prints...)
	first := size
	if layout.Packed(tree.Size()) > layout.Packed(size) {
		tail, err := readTail(d.Tx, l, head)
		if err != nil {
			return err
		}
		for seq := layout.Packed(size); seq < size; seq++ {
			d.Delete(layout.Ledgers, layout.TailKey(l, seq))
		}
		first = layout.Packed(size)
		loose = append(tail, loose...)
		for len(loose) >= layout.PageSize {
			k.writePage(d, l, first, loose[:layout.PageSize], prints[:layout.PageSize])
			loose, prints, first = loose[layout.PageSize:], prints[layout.PageSize:], first+layout.PageSize
		}
	}
	for i, entry := range loose {
		d.Put(layout.Ledgers, layout.TailKey(l, first+uint64(i)), entry)
	}
	head.Size, head.Last, head.Root = tree.Size(), p.leaves[len(p.leaves)-1], tree.Root()
	head.Frontier, head.Prints = tree.Nodes(), prints
	key := layout.HeadKey(l)
	d.Put(layout.Ledgers, key, layout.EncodeHead(key, head))
	return nil
}

func entryBytes(entries []storage.Entry) [][]byte {
	out := make([][]byte, len(entries))
	for i, e := range entries {
		out[i] = e.Bytes
	}
	return out
}

// writePage packs PageSize entries.
func (k *Keeper) writePage(d *draft, l storage.LedgerID, first uint64, entries [][]byte, prints []uint64) {
	var tree storage.Frontier
	for _, e := range entries {
		tree.Add(storage.LeafHash(e))
	}
	key := layout.PageKey(l, first)
	d.Put(layout.Ledgers, key, k.packer.Encode(key, tree.Root(), [layout.PageSize]uint64(prints), entries))
}

// under yields the records of a table whose keys begin with prefix.
func under(tx Tx, t layout.Table, prefix []byte, yield func(key, rec []byte) bool) {
	for key, rec := range tx.Ascend(t, prefix) {
		if !bytes.HasPrefix(key, prefix) || !yield(key, rec) {
			return
		}
	}
}
