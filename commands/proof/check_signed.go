package proof

import (
	"errors"
	"slices"
	"strings"

	"drumhead/storage"
)

// signedNote is a checkpoint that is held against the ledger.
type signedNote struct {
	err        error // why it is none of this ledger's
	checkpoint storage.Checkpoint
	cosigners  []string
	reached    bool         // the ledger has as many entries
	root       storage.Hash // over so many entries
}

// openNotes reads the checkpoints given, once the ledger's key is known. What
// is wrong with one is a fault at the end: the entries come first.
func (c *checker) openNotes(vkey string) error {
	name := vkey[:strings.IndexByte(vkey, '+')]
	var more []string
	for _, k := range c.opt.Keys {
		switch {
		case k == vkey:
		case strings.HasPrefix(k, name+"+"):
			return breaks(storage.RuleForm, "open.key")
		default:
			more = append(more, k)
		}
	}
	for _, signed := range c.opt.Checkpoints {
		var n signedNote
		n.checkpoint, n.cosigners, n.err = storage.OpenCheckpoint(signed, vkey, more...)
		if n.err == nil && n.checkpoint.Size == 0 {
			n.root, n.reached = storage.EmptyRoot(), true
		}
		c.notes = append(c.notes, n)
	}
	return nil
}

// end checks what is about no single entry: that there is one, the
// checkpoints, and words of entries that are not there.
func (c *checker) end() error {
	if c.Size == 0 {
		return breaks(storage.RuleSeq, "empty")
	}
	if len(c.words) > 0 {
		return breaks(RuleWords, "words.beyond")
	}
	if err := c.contradicted(); err != nil {
		return err
	}
	for _, n := range c.notes {
		switch {
		case n.err != nil:
			return breaks(RuleCheckpoint, "checkpoint.bad", "what", plain(n.err))
		case !n.reached:
			return breaks(RuleCheckpoint, "checkpoint.more", "size", int64(n.checkpoint.Size), "have", int64(c.Size))
		case n.root != n.checkpoint.Root:
			return breaks(RuleCheckpoint, "checkpoint.root", "size", int64(n.checkpoint.Size))
		}
		c.Signed = append(c.Signed, Signed{Size: n.checkpoint.Size, Root: n.root, Cosigners: n.cosigners})
		c.Covered = max(c.Covered, n.checkpoint.Size)
	}
	slices.SortStableFunc(c.Signed, func(a, b Signed) int { return int(a.Size) - int(b.Size) })
	return nil
}

// contradicted finds two signed checkpoints that cannot both be of one ledger:
// of one size with two roots, or one that holds for these entries and a
// smaller one that does not.
func (c *checker) contradicted() error {
	roots := map[uint64]storage.Hash{}
	var holds uint64
	for _, n := range c.notes {
		if n.err != nil {
			continue
		}
		if root, ok := roots[n.checkpoint.Size]; ok && root != n.checkpoint.Root {
			return breaks(RuleFork, "fork", "size", int64(n.checkpoint.Size))
		}
		roots[n.checkpoint.Size] = n.checkpoint.Root
		if n.reached && n.root == n.checkpoint.Root {
			holds = max(holds, n.checkpoint.Size)
		}
	}
	for _, n := range c.notes {
		if n.err == nil && n.reached && n.root != n.checkpoint.Root && n.checkpoint.Size < holds {
			return breaks(RuleFork, "fork.older", "size", int64(n.checkpoint.Size), "other", int64(holds))
		}
	}
	return nil
}

// plain is what an error of OpenCheckpoint says, without its prefix.
func plain(err error) string {
	return strings.TrimPrefix(strings.TrimPrefix(err.Error(), storage.ErrCheckpoint.Error()), ": ")
}

// Forked tells whether two signed checkpoints prove that the bot keeps two
// histories of one ledger: one size, two roots. It fails if either is no good
// checkpoint by vkey.
func Forked(vkey string, a, b []byte) (bool, error) {
	x, _, errA := storage.OpenCheckpoint(a, vkey)
	y, _, errB := storage.OpenCheckpoint(b, vkey)
	return x.Size == y.Size && x.Root != y.Root, errors.Join(errA, errB)
}
