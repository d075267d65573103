package storagetest

import (
	"cmp"
	"context"
	"iter"
	"slices"
	"strings"
	"time"

	"drumhead/storage"
)

// naive is a store in plain lists, written for being seen to be right: no
// pages, no frontier, no fingerprints, no queue. It tests no limits; histories
// break none.
type naive struct {
	now      func() time.Time
	ledgers  map[storage.LedgerID]*naiveLedger
	places   map[string]storage.LedgerID
	posts    []*naivePost // in the order appended
	receipts map[[2]string]storage.PostID
	timers   []storage.Timer
	shelf    map[string][]byte
}

type naiveLedger struct {
	about   storage.About
	entries [][]byte
	batches []naiveBatch
	words   []storage.Word
	players []storage.Player
	secret  []byte
}

type naiveBatch struct {
	source      storage.Source
	first, last uint64
}

type naivePost struct {
	storage.Post
	since   time.Time
	sent    bool
	receipt string
}

func newNaive(now func() time.Time) *naive {
	return &naive{now: now, ledgers: map[storage.LedgerID]*naiveLedger{}, places: map[string]storage.LedgerID{},
		receipts: map[[2]string]storage.PostID{}, shelf: map[string][]byte{}}
}

// naiveRoot is the definition of RFC 6962 section 2.1, word for word.
func naiveRoot(entries [][]byte) storage.Hash {
	switch n := len(entries); n {
	case 0:
		return storage.EmptyRoot()
	case 1:
		return storage.LeafHash(entries[0])
	default:
		split := 1
		for split*2 < n {
			split *= 2
		}
		return storage.NodeHash(naiveRoot(entries[:split]), naiveRoot(entries[split:]))
	}
}

func (s *naive) ledger(l storage.LedgerID) *naiveLedger {
	if k := s.ledgers[l]; k != nil {
		return k
	}
	return &naiveLedger{}
}

func (s *naive) Head(_ context.Context, l storage.LedgerID) (storage.Head, error) {
	k := s.ledger(l)
	h := storage.Head{Ledger: l, Size: uint64(len(k.entries)), Root: naiveRoot(k.entries)}
	if h.Size > 0 {
		h.Last = storage.LeafHash(k.entries[h.Size-1])
	}
	return h, nil
}

func (s *naive) Read(_ context.Context, l storage.LedgerID, from, to uint64) iter.Seq2[storage.Entry, error] {
	return func(yield func(storage.Entry, error) bool) {
		for seq, e := range s.ledger(l).entries {
			if at := uint64(seq); at >= from && at < to && !yield(storage.Entry{Seq: at, Bytes: e}, nil) {
				return
			}
		}
	}
}

func (s *naive) Ledgers(ctx context.Context) iter.Seq2[storage.Head, error] {
	return func(yield func(storage.Head, error) bool) {
		var ids []storage.LedgerID
		for l := range s.ledgers {
			ids = append(ids, l)
		}
		slices.SortFunc(ids, func(a, b storage.LedgerID) int { return strings.Compare(string(a[:]), string(b[:])) })
		for _, l := range ids {
			if !yield(s.Head(ctx, l)) {
				return
			}
		}
	}
}

func (s *naive) Seen(_ context.Context, l storage.LedgerID, source storage.Source) error {
	if source == "" {
		return nil
	}
	for _, b := range s.ledger(l).batches {
		if b.source != source {
			continue
		}
		seen := &storage.Seen{First: b.first, Last: b.last}
		young := false
		for _, p := range s.posts {
			if p.ID.Ledger == l && p.ID.Seq == b.last {
				seen.Posts = append(seen.Posts, p.ID)
				young = young || !p.sent || s.now().Sub(p.since) <= storage.KeepPosts
			}
		}
		if !young {
			seen.Posts = nil
		}
		return seen
	}
	return nil
}

func (s *naive) Append(ctx context.Context, batches ...storage.Batch) error {
	for _, b := range batches {
		if err := s.Seen(ctx, b.Expect.Ledger, b.Source); err != nil {
			return err
		}
	}
	for _, b := range batches {
		if h, _ := s.Head(ctx, b.Expect.Ledger); h.Size != b.Expect.Size || h.Last != b.Expect.Last {
			return storage.ErrConflict
		}
	}
	for _, b := range batches {
		for _, f := range b.Fired {
			if !slices.ContainsFunc(s.timers, func(t storage.Timer) bool {
				return t.Ledger == b.Expect.Ledger && t.Name == f.Name && t.Due.Equal(f.Due)
			}) {
				return storage.ErrFired
			}
		}
	}
	since := s.now().Truncate(time.Microsecond)
	for _, p := range s.posts {
		if !p.since.Before(since) {
			since = p.since.Add(time.Microsecond)
		}
	}
	for i, b := range batches {
		s.write(b, since.Add(time.Duration(i)*time.Microsecond))
	}
	return nil
}

func (s *naive) write(b storage.Batch, since time.Time) {
	l := b.Expect.Ledger
	k := s.ledgers[l]
	if k == nil {
		k = &naiveLedger{about: storage.About{Community: b.Community, Place: b.Place, Salt: b.Salt}}
		s.ledgers[l], s.places[b.Place] = k, l
	}
	last := b.Expect.Size + uint64(len(b.Entries)) - 1
	for _, e := range b.Entries {
		k.entries = append(k.entries, e.Bytes)
	}
	k.batches = append(k.batches, naiveBatch{b.Source, b.Expect.Size, last})
	k.words = append(k.words, b.Words...)
	for _, p := range b.Players {
		if !slices.Contains(k.players, p) {
			k.players = append(k.players, p)
		}
	}
	if b.Secret != nil {
		k.secret = b.Secret
	}
	for n, p := range b.Posts {
		p.ID = storage.PostID{Ledger: l, Seq: last, N: n}
		s.posts = append(s.posts, &naivePost{Post: p, since: since})
	}
	gone := slices.Clone(b.Cancel)
	for _, f := range b.Fired {
		gone = append(gone, f.Name)
	}
	for _, t := range b.Set {
		gone = append(gone, t.Name)
	}
	s.timers = slices.DeleteFunc(s.timers, func(t storage.Timer) bool { return t.Ledger == l && slices.Contains(gone, t.Name) })
	for _, t := range b.Set {
		t.Ledger = l
		s.timers = append(s.timers, t)
	}
}

func (s *naive) About(_ context.Context, l storage.LedgerID) (storage.About, error) {
	if k := s.ledgers[l]; k != nil {
		return k.about, nil
	}
	return storage.About{}, storage.ErrNone
}

func (s *naive) Players(_ context.Context, l storage.LedgerID) ([]storage.Player, error) {
	return s.ledger(l).players, nil
}

func (s *naive) Words(_ context.Context, l storage.LedgerID, seq uint64) (words []storage.Word, _ error) {
	for _, w := range s.ledger(l).words {
		if w.Seq == seq {
			words = append(words, w)
		}
	}
	slices.SortFunc(words, func(a, b storage.Word) int { return strings.Compare(a.Name, b.Name) })
	return words, nil
}

func (s *naive) Secret(_ context.Context, l storage.LedgerID) ([]byte, error) {
	if secret := s.ledger(l).secret; len(secret) > 0 {
		return secret, nil
	}
	return nil, storage.ErrNone
}

func (s *naive) Due(_ context.Context, now time.Time, max int) (due []storage.Timer, next time.Time, _ error) {
	slices.SortFunc(s.timers, func(a, b storage.Timer) int {
		return cmp.Or(a.Due.Compare(b.Due), strings.Compare(string(a.Ledger[:]), string(b.Ledger[:])), strings.Compare(a.Name, b.Name))
	})
	for _, t := range s.timers {
		if t.Due.After(now) || len(due) == max {
			return due, t.Due, nil
		}
		due = append(due, t)
	}
	return due, time.Time{}, nil
}

// Outbox takes, again and again, the post of which the fewest of its place were
// taken, and of these the one that came first.
func (s *naive) Outbox(_ context.Context, max int) (out []storage.Post, _ error) {
	taken, had := map[storage.PostID]bool{}, map[string]int{}
	for len(out) < max {
		var best *naivePost
		var first []string // places in the order of their first waiting post
		for _, p := range s.posts {
			if !p.sent && !slices.Contains(first, p.Place) {
				first = append(first, p.Place)
			}
			if p.sent || taken[p.ID] {
				continue
			}
			if best == nil || had[p.Place] < had[best.Place] ||
				had[p.Place] == had[best.Place] && slices.Index(first, p.Place) < slices.Index(first, best.Place) {
				best = p
			}
		}
		if best == nil {
			return out, nil
		}
		taken[best.ID] = true
		had[best.Place]++
		post := best.Post
		post.Waiting = best.since
		out = append(out, post)
	}
	return out, nil
}

func (s *naive) find(id storage.PostID) *naivePost {
	for _, p := range s.posts {
		if p.ID == id {
			return p
		}
	}
	return nil
}

func (s *naive) MarkSent(_ context.Context, id storage.PostID, receipt string) error {
	if p := s.find(id); p != nil && !p.sent {
		p.sent, p.receipt = true, receipt
		if receipt != "" {
			s.receipts[[2]string{p.Place, receipt}] = id
		}
	}
	return nil
}

func (s *naive) Post(_ context.Context, id storage.PostID) (storage.Post, string, error) {
	p := s.find(id)
	if p == nil {
		return storage.Post{}, "", storage.ErrNone
	}
	post := p.Post
	if p.sent && s.now().Sub(p.since) > storage.KeepPosts {
		post.Bytes = nil
	}
	return post, p.receipt, nil
}

func (s *naive) PostOf(_ context.Context, place, receipt string) (storage.PostID, error) {
	if id, ok := s.receipts[[2]string{place, receipt}]; ok {
		return id, nil
	}
	return storage.PostID{}, storage.ErrNone
}

func (s *naive) Open(_ context.Context, place string) (ids []storage.PostID, _ error) {
	for _, p := range slices.Backward(s.posts) {
		if p.Place == place && p.Post.Open && len(ids) < 32 {
			ids = append(ids, p.ID)
		}
	}
	return ids, nil
}

func (s *naive) Of(_ context.Context, place string) (storage.LedgerID, error) {
	if l, ok := s.places[place]; ok {
		return l, nil
	}
	return storage.LedgerID{}, storage.ErrNone
}

func (s *naive) Shelf(string) storage.Shelf { return naiveShelf{s} }

func (s *naive) Wake() <-chan struct{} { return nil }

func (s *naive) Close() error { return nil }

// naiveShelf is the only shelf that histories use.
type naiveShelf struct{ *naive }

func (s naiveShelf) Get(_ context.Context, key string) ([]byte, error) {
	if v, ok := s.shelf[key]; ok {
		return v, nil
	}
	return nil, storage.ErrNone
}

func (s naiveShelf) Put(_ context.Context, pairs ...storage.KeyValue) error {
	for _, p := range pairs {
		delete(s.shelf, p.Key)
		if p.Value != nil {
			s.shelf[p.Key] = p.Value
		}
	}
	return nil
}

func (s naiveShelf) Each(_ context.Context, prefix string) iter.Seq2[storage.KeyValue, error] {
	return func(yield func(storage.KeyValue, error) bool) {
		var keys []string
		for key := range s.shelf {
			if strings.HasPrefix(key, prefix) {
				keys = append(keys, key)
			}
		}
		slices.Sort(keys)
		for _, key := range keys {
			if !yield(storage.KeyValue{Key: key, Value: s.shelf[key]}, nil) {
				return
			}
		}
	}
}
