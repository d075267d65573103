package ledgers

import (
	"fmt"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// Append writes a change, or nothing if it errs: the first reason found, in the
// order resend, head, everything else.
func (k *Keeper) Append(tx Tx, c *Change) error {
	heads := make([]layout.Head, len(c.parts))
	for i := range c.parts {
		p := &c.parts[i]
		var err error
		if heads[i], err = readHead(tx, p.ledger()); err != nil {
			return err
		}
		if err := k.seen(tx, p.ledger(), heads[i], p.Source); err != nil {
			return err
		}
	}
	if err := checkHeads(c, heads); err != nil {
		return err
	}
	d := newDraft(tx)
	since := k.stamp(tx)
	for i := range c.parts {
		if err := k.write(d, &c.parts[i], heads[i], since+uint64(i)); err != nil {
			return err
		}
	}
	d.write()
	return nil
}

// checkHeads guards every ledger of a change by its head, and the change by
// its community.
func checkHeads(c *Change, heads []layout.Head) error {
	for i := range c.parts {
		p := &c.parts[i]
		if h := heads[i]; h.Size != p.Expect.Size || h.Last != p.Expect.Last {
			return fmt.Errorf("%w (ledger %s has %d entries, the batch expects %d)", storage.ErrConflict, p.ledger(), h.Size, p.Expect.Size)
		}
	}
	community := ""
	for i := range c.parts {
		p, about := &c.parts[i], heads[i].About
		if heads[i].Size == 0 {
			about = storage.About{Community: p.Community, Place: p.Place, Salt: p.Salt}
		}
		if err := sameAbout(p, about); err != nil {
			return err
		}
		if i > 0 && about.Community != community {
			return invalid("ledgers of two communities, %q and %q, in one append", community, about.Community)
		}
		community = about.Community
	}
	return nil
}

// sameAbout refuses a batch that would change what is fixed with a ledger;
// what the batch leaves empty it does not claim.
func sameAbout(p *part, fixed storage.About) error {
	if p.Community != "" && p.Community != fixed.Community {
		return invalid("ledger %s belongs to community %q, not %q", p.ledger(), fixed.Community, p.Community)
	}
	if p.Place != "" && p.Place != fixed.Place {
		return invalid("ledger %s belongs to place %q, not %q", p.ledger(), fixed.Place, p.Place)
	}
	if p.Salt != nil && string(p.Salt) != string(fixed.Salt) {
		return invalid("ledger %s already has another salt", p.ledger())
	}
	return nil
}

// stamp is the moment for new posts, in microseconds: now, but later than
// every post that waits, so that the queue keeps the order of appending, and
// than every one that was sent, so that it does not matter when a mark is written.
func (k *Keeper) stamp(tx Tx) uint64 {
	stamp := uint64(max(k.now().UnixMicro(), 0))
	for _, queue := range []layout.Table{layout.Waiting, layout.Sent} {
		if since, _, _, ok := layout.ParseQueueKey(tx.Last(queue)); ok {
			stamp = max(stamp, since+1)
		}
	}
	return stamp
}

// write puts one part into the draft.
func (k *Keeper) write(d *draft, p *part, head layout.Head, since uint64) error {
	if head.Size == 0 {
		head.About = storage.About{Community: p.Community, Place: p.Place, Salt: p.Salt}
		if err := settle(d, p.Place, p.ledger()); err != nil {
			return err
		}
	}
	for _, step := range []func() error{
		func() error { return writeTimers(d, p) },
		func() error { return writePlayers(d, p) },
		func() error { return writePosts(d, p, since) },
		func() error { return k.writeSecret(d, p) },
		func() error { return k.writeEntries(d, p, head) },
	} {
		if err := step(); err != nil {
			return err
		}
	}
	for _, w := range p.Words {
		key := layout.WordKey(p.ledger(), w.Seq, w.Name)
		d.Put(layout.Ledgers, key, layout.EncodeWord(key, w.Salt, w.Text))
	}
	return nil
}

// writePlayers keeps new pseudonyms; a pseudonym never gets another person.
func writePlayers(d *draft, p *part) error {
	for i, one := range p.Players {
		key := layout.PlayerKey(p.ledger(), one.Pseudonym)
		if rec := d.Get(layout.Ledgers, key); rec != nil {
			had, err := layout.DecodePlayer(key, rec)
			if err != nil {
				return layout.Damage(p.ledger(), p.Expect.Size, "player "+one.Pseudonym, err)
			}
			if had.Person != one.Person {
				return invalid("pseudonym %q of ledger %s already stands for another person", one.Pseudonym, p.ledger())
			}
			continue
		}
		player := layout.Player{Seq: p.last(), N: i, Person: one.Person}
		d.Put(layout.Ledgers, key, layout.EncodePlayer(key, player))
	}
	return nil
}

// writeSecret replaces the ledger's secret, deletes it, or leaves it.
func (k *Keeper) writeSecret(d *draft, p *part) error {
	key := layout.SecretKey(p.ledger())
	switch {
	case p.Secret == nil:
		return nil
	case len(p.Secret) == 0:
		d.Delete(layout.Ledgers, key)
		return nil
	}
	rec, err := k.vault.Seal(key, p.Secret)
	if err != nil {
		return err
	}
	d.Put(layout.Ledgers, key, rec)
	return nil
}
