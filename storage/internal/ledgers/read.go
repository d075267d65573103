package ledgers

import (
	"bytes"
	"context"
	"iter"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// What one transaction reads of a ledger's entries at most.
const (
	pagesAtOnce = 4096 / layout.PageSize
	bytesAtOnce = 1 << 20 // of packed pages; the last may go beyond
)

// stretch is what one transaction found: pages, then the tail if it was reached.
type stretch struct {
	head  layout.Head
	pages []layout.Page
	tail  [][]byte
}

// Read yields the entries from ≤ seq < to in order, all of one moment. Every
// page is checked against its root, the tail against the head, and a ledger
// read from its first entry to its end against its root.
func (r *Reader) Read(ctx context.Context, l storage.LedgerID, from, to uint64) iter.Seq2[storage.Entry, error] {
	return func(yield func(storage.Entry, error) bool) {
		w := walk{r: r, l: l, from: from, to: to, next: layout.Packed(from), whole: from == 0}
		w.run(ctx, yield)
	}
}

// run reads to the end, or to the first error.
func (w *walk) run(ctx context.Context, yield func(storage.Entry, error) bool) {
	for !w.done {
		if err := w.stretch(ctx, yield); err != nil {
			yield(storage.Entry{}, err)
			return
		}
	}
}

// printed tells whether fingerprints are those of the entries' sources.
func (k *Keeper) printed(entries [][]byte, prints []uint64) bool {
	for i, e := range entries {
		want := uint64(0)
		if s := layout.SourceOf(e); s != "" {
			want = k.print(s)
		}
		if prints[i] != want {
			return false
		}
	}
	return len(entries) == len(prints)
}

// walk is one reading of a ledger.
type walk struct {
	r        *Reader
	l        storage.LedgerID
	from, to uint64
	next     uint64 // first entry that is not read yet
	begun    bool
	end      uint64       // the ledger's size when the walk began
	root     storage.Hash // and its root
	whole    bool         // from the first entry on, without a gap
	tree     storage.Frontier
	prints   bool // also test the fingerprints
	done     bool
}

// stretch reads one transaction's worth and yields it.
func (w *walk) stretch(ctx context.Context, yield func(storage.Entry, error) bool) error {
	var s stretch
	err := w.r.view(ctx, func(tx Tx) (err error) {
		s, err = readStretch(tx, w.l, w.next, w.to)
		return err
	})
	if err != nil {
		return err
	}
	if !w.begun {
		w.begun, w.end, w.root = true, s.head.Size, s.head.Root
		w.to = min(w.to, w.end)
	}
	for _, page := range s.pages {
		entries, err := w.r.packer.Unpack(page)
		if err != nil {
			return layout.Damage(w.l, w.next, "page", err)
		}
		if w.prints && !w.r.printed(entries, page.Prints[:]) {
			return layout.Damage(w.l, w.next, "page", errPrint)
		}
		if err := w.add(entries, &page, yield); err != nil || w.done {
			return err
		}
	}
	if w.next < w.to && len(s.tail) > 0 {
		if w.prints && !w.r.printed(s.tail, s.head.Prints) {
			return layout.Damage(w.l, w.next, "head", errPrint)
		}
		return w.add(s.tail, nil, yield)
	}
	w.done = w.done || w.next >= w.to
	return nil
}

// add takes the entries from next on and yields those that are wanted. Of a
// page whose entries came partly after the walk began, the rest is left out.
func (w *walk) add(entries [][]byte, page *layout.Page, yield func(storage.Entry, error) bool) error {
	first := w.next
	w.next += uint64(len(entries))
	if w.whole {
		w.grow(entries, page, first)
	}
	for i, e := range entries {
		seq := first + uint64(i)
		if seq >= w.to {
			break
		}
		if seq >= w.from && !yield(storage.Entry{Seq: seq, Bytes: e}, nil) {
			w.done = true
			return nil
		}
	}
	if w.next < w.to {
		return nil
	}
	w.done = true
	if w.whole && w.to == w.end && w.tree.Root() != w.root {
		return layout.Damage(w.l, 0, "ledger", errHash)
	}
	return nil
}

// grow adds entries to the tree over all that was read.
func (w *walk) grow(entries [][]byte, page *layout.Page, first uint64) {
	if page != nil && w.next <= w.end && w.tree.AddTree(layout.PageLevel, page.Root) == nil {
		return
	}
	for i, e := range entries {
		if first+uint64(i) < w.end {
			w.tree.Add(storage.LeafHash(e))
		}
	}
}

// readStretch copies what lies at first and after it, at most up to to.
func readStretch(tx Tx, l storage.LedgerID, first, to uint64) (s stretch, err error) {
	if s.head, err = readHead(tx, l); err != nil {
		return s, err
	}
	packed, size := layout.Packed(s.head.Size), 0
	for ; first < packed && first < to; first += layout.PageSize {
		if len(s.pages) == pagesAtOnce || size >= bytesAtOnce {
			return s, nil
		}
		page, err := readPage(tx, l, first)
		if err != nil {
			return s, err
		}
		page = page.Clone()
		size += page.Len()
		s.pages = append(s.pages, page)
	}
	if first < s.head.Size && first < to {
		tail, err := readTail(tx, l, s.head)
		if err != nil {
			return s, err
		}
		for _, e := range tail {
			s.tail = append(s.tail, bytes.Clone(e))
		}
	}
	return s, nil
}
