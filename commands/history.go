package commands

import "drumhead/storage"

// history reads a ledger's entries as they are told: one that waited for its cut
// and the cut are one entry, with the number of the command, and it comes where
// the dice came. The zero history is one at the ledger's beginning.
type history struct{ waiting map[uint64]storage.Record }

// next takes the next entry. False if there is nothing to tell yet or any more.
func (h *history) next(rec storage.Record) (storage.Record, bool) {
	switch {
	case rec.Command == "cut":
		of, _ := entryOf(rec)
		command, ok := h.waiting[of]
		delete(h.waiting, of)
		return joined(command, rec), ok
	case rec.Command == "void":
		of, _ := entryOf(rec)
		delete(h.waiting, of)
	case rec.Wait != nil && rec.Command != "wait":
		if h.waiting == nil {
			h.waiting = map[uint64]storage.Record{}
		}
		h.waiting[rec.Seq] = rec
		return rec, false
	}
	return rec, true
}
