package ledgers

import (
	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// Change is an append that passed every test that needs no look into the
// store, with the hashing already done.
type Change struct{ parts []part }

// part is what changes in one ledger.
type part struct {
	storage.Batch
	leaves []storage.Hash
	prints []uint64 // fingerprint of each entry's source
}

func (p *part) ledger() storage.LedgerID { return p.Expect.Ledger }

// last is the number of the newest entry.
func (p *part) last() uint64 { return p.Expect.Size + uint64(len(p.Entries)) - 1 }

// Bytes is about how much the change writes.
func (c *Change) Bytes() (n int) {
	for i := range c.parts {
		for _, e := range c.parts[i].Entries {
			n += len(e.Bytes)
		}
		for _, p := range c.parts[i].Posts {
			n += len(p.Bytes)
		}
	}
	return n
}

// Wakes tells whether posts or timers change.
func (c *Change) Wakes() bool {
	for i := range c.parts {
		p := &c.parts[i]
		if len(p.Posts)+len(p.Set)+len(p.Cancel)+len(p.Fired) > 0 {
			return true
		}
	}
	return false
}

// Prepare tests batches against the limits. Its errors are ErrInvalid.
func (k *Keeper) Prepare(batches []storage.Batch) (*Change, error) {
	if n := len(batches); n == 0 || n > storage.MaxBatches {
		return nil, invalid("%d batches, 1 to %d are taken", n, storage.MaxBatches)
	}
	c := &Change{parts: make([]part, len(batches))}
	taken := map[storage.LedgerID]bool{}
	for i := range batches {
		p := &c.parts[i]
		p.Batch = batches[i]
		if err := checkBatch(&p.Batch); err != nil {
			return nil, err
		}
		if taken[p.ledger()] {
			return nil, invalid("ledger %s is given twice", p.ledger())
		}
		taken[p.ledger()] = true
		if err := k.hash(p); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// hash computes a part's leaf hashes and fingerprints, and tests that the
// batch's source is the source of exactly one of its entries.
func (k *Keeper) hash(p *part) error {
	found := 0
	for _, e := range p.Entries {
		source := layout.SourceOf(e.Bytes)
		if source != "" && source != p.Source {
			return invalid("entry %d has source %q, the batch has %q", e.Seq, source, p.Source)
		}
		if source != "" {
			found++
			p.prints = append(p.prints, k.print(source))
		} else {
			p.prints = append(p.prints, 0)
		}
		p.leaves = append(p.leaves, storage.LeafHash(e.Bytes))
	}
	if p.Source != "" && found != 1 {
		return invalid("%d entries have the batch's source %q, exactly one must", found, p.Source)
	}
	return nil
}
