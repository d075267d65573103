package ledgers

import (
	"slices"
	"sync"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// maxRemembered bounds the fingerprints in memory: 8 bytes each.
const maxRemembered = 500_000

// sources remembers the fingerprints of packed entries, so that a new source is
// known to be new without looking into the pages. It may remember too many (a
// hit is confirmed by the entry itself), never too few.
type sources struct {
	mu    sync.Mutex
	of    map[storage.LedgerID]*printSet
	total int
}

// printSet holds the fingerprints of a ledger's first entries, sorted.
type printSet struct {
	packed uint64 // how many entries it covers
	prints []uint64
}

func (s *sources) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.of, s.total = nil, 0
}

// maybe tells whether a packed entry may have this fingerprint.
func (s *sources) maybe(tx Tx, l storage.LedgerID, packed, print uint64) (bool, error) {
	if packed > maxRemembered {
		return true, nil // too many to remember: the caller looks through the pages
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	set := s.of[l]
	if set == nil {
		set = &printSet{}
	}
	if set.packed < packed {
		if err := s.extend(tx, l, set, packed); err != nil {
			return false, err
		}
	}
	_, hit := slices.BinarySearch(set.prints, print)
	return hit, nil
}

// extend reads the fingerprints that a set lacks.
func (s *sources) extend(tx Tx, l storage.LedgerID, set *printSet, packed uint64) error {
	more := slices.Clone(set.prints)
	for first := set.packed; first < packed; first += layout.PageSize {
		page, err := readPage(tx, l, first)
		if err != nil {
			return err
		}
		for _, print := range page.Prints {
			if print != 0 {
				more = append(more, print)
			}
		}
	}
	slices.Sort(more)
	s.total += len(more) - len(set.prints)
	set.prints, set.packed = more, packed
	if s.of == nil {
		s.of = map[storage.LedgerID]*printSet{}
	}
	s.of[l] = set
	for other, old := range s.of { // in no order: any other ledger may go
		if s.total <= maxRemembered {
			break
		}
		if other != l {
			s.total -= len(old.prints)
			delete(s.of, other)
		}
	}
	return nil
}

// find gives the entry that has a source.
func (k *Keeper) find(tx Tx, l storage.LedgerID, head layout.Head, s storage.Source) (seq uint64, found bool, err error) {
	print, packed := k.print(s), layout.Packed(head.Size)
	if slices.Contains(head.Prints, print) {
		tail, err := readTail(tx, l, head)
		if err != nil {
			return 0, false, err
		}
		for i, entry := range tail {
			if head.Prints[i] == print && layout.SourceOf(entry) == s {
				return packed + uint64(i), true, nil
			}
		}
	}
	if packed == 0 {
		return 0, false, nil
	}
	if maybe, err := k.sources.maybe(tx, l, packed, print); err != nil || !maybe {
		return 0, false, err
	}
	return k.findPacked(tx, l, packed, print, s)
}

// findPacked looks through every page of a ledger.
func (k *Keeper) findPacked(tx Tx, l storage.LedgerID, packed, print uint64, s storage.Source) (uint64, bool, error) {
	for first := uint64(0); first < packed; first += layout.PageSize {
		page, err := readPage(tx, l, first)
		if err != nil {
			return 0, false, err
		}
		if !slices.Contains(page.Prints[:], print) {
			continue
		}
		entries, err := k.packer.Unpack(page)
		if err != nil {
			return 0, false, layout.Damage(l, first, "page", err)
		}
		for i, entry := range entries {
			if page.Prints[i] == print && layout.SourceOf(entry) == s {
				return first + uint64(i), true, nil
			}
		}
	}
	return 0, false, nil
}

// seen gives *storage.Seen if the source was appended before, nil if not.
func (k *Keeper) seen(tx Tx, l storage.LedgerID, head layout.Head, s storage.Source) error {
	if s == "" {
		return nil
	}
	seq, found, err := k.find(tx, l, head, s)
	if err != nil || !found {
		return err
	}
	last, posts, err := batchOf(tx, l, seq)
	if err != nil {
		return err
	}
	seen := &storage.Seen{First: posts.First, Last: last}
	if posts.Unsent() || !k.expired(posts.Since) {
		for n := range posts.Each {
			seen.Posts = append(seen.Posts, storage.PostID{Ledger: l, Seq: last, N: n})
		}
	}
	return seen
}

// batchOf gives the last entry of the batch that entry seq belongs to, and its
// posts. Without a record the batch was that one entry.
func batchOf(tx Tx, l storage.LedgerID, seq uint64) (last uint64, posts layout.Posts, err error) {
	last, posts = seq, layout.Posts{First: seq}
	from := layout.PostsKey(l, seq)
	for key, rec := range tx.Ascend(layout.Ledgers, from) {
		of, kind, rest, ok := layout.LedgerOf(key)
		if !ok || of != l || kind != layout.KindPosts {
			break
		}
		at, _, _ := layout.SeqOf(rest)
		p, err := layout.DecodePosts(key, rec)
		if err != nil {
			return 0, p, layout.Damage(l, at, "posts", err)
		}
		if p.First <= seq {
			last, posts = at, p
		}
		break
	}
	return last, posts, nil
}
