package storagetest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"drumhead/storage"
)

// Histories plays random evenings, one a seed, on every backend at once and on
// a model in plain lists, and compares every answer.
func Histories(t *testing.T, seeds, steps int, makers map[string]Maker) {
	for seed := range seeds {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			h := newHistory(t, uint64(seed), makers)
			for range steps {
				h.step()
			}
			h.compare()
			for _, p := range h.played {
				if err := p.store.Close(); err != nil {
					t.Error(err)
				}
			}
		})
	}
}

type history struct {
	*testing.T
	ctx    context.Context
	rng    *rand.Rand
	clock  *Clock
	model  *naive
	played []*contender
	sent   []storage.Batch // some that were stored, for sending again
	posts  []storage.PostID
}

// contender is one backend in a history.
type contender struct {
	name  string
	disk  Disk
	store storage.Store
}

func newHistory(t *testing.T, seed uint64, makers map[string]Maker) *history {
	h := &history{T: t, ctx: context.Background(), rng: rand.New(rand.NewPCG(seed, 32)), clock: NewClock()}
	h.model = newNaive(h.clock.Now)
	for name, maker := range makers {
		p := &contender{name: name, disk: maker(t)}
		h.played = append(h.played, p)
		h.open(p)
	}
	return h
}

func (h *history) open(p *contender) {
	h.Helper()
	var err error
	if p.store, err = p.disk(Options{Now: h.clock.Now, Key: make([]byte, 32)}); err != nil {
		h.Fatalf("%s: %v", p.name, err)
	}
}

// all asks every store the same and wants the model's answer.
func (h *history) all(what string, ask func(storage.Store) error) string {
	h.Helper()
	want := kindOf(ask(h.model))
	for _, p := range h.played {
		if got := kindOf(ask(p.store)); got != want {
			h.Fatalf("%s: %s answers %q, the model %q", what, p.name, got, want)
		}
	}
	return want
}

const historyLedgers = 5

func (h *history) step() {
	switch d := h.rng.IntN(100); {
	case d < 70:
		h.append()
	case d < 76:
		h.resend()
	case d < 88:
		h.mark()
	case d < 92:
		h.shelve()
	case d < 95:
		h.clock.Advance(time.Duration(h.rng.IntN(48)) * time.Hour)
	case d < 97:
		h.reopen()
	default:
		h.compare()
	}
}

func (h *history) append() {
	var batches []storage.Batch
	ledgers := h.rng.Perm(historyLedgers)
	for _, n := range ledgers[:1+h.rng.IntN(4)/3] {
		batches = append(batches, h.batch(LedgerNumber(n)))
	}
	if h.all("append", func(s storage.Store) error { return s.Append(h.ctx, batches...) }) != "" {
		return
	}
	for _, b := range batches {
		if h.rng.IntN(4) == 0 {
			h.sent = append(h.sent, b)
		}
		for n := range b.Posts {
			h.posts = append(h.posts, storage.PostID{Ledger: b.Expect.Ledger, Seq: b.Entries[len(b.Entries)-1].Seq, N: n})
		}
	}
}

// batch makes a batch that has a part of everything now and then, and is
// refused now and then.
func (h *history) batch(l storage.LedgerID) storage.Batch {
	head, _ := h.model.Head(h.ctx, l)
	b := storage.Batch{Expect: head}
	if head.Size == 0 {
		b.Community, b.Place, b.Salt = "osier", fmt.Sprintf("place %d", l[15]%3), []byte("0123456789abcdef")
	}
	if h.rng.IntN(5) > 0 {
		b.Source = storage.Source(fmt.Sprintf("%v-%d", l, head.Size))
	}
	n := uint64(1)
	if h.rng.IntN(4) == 0 {
		n += uint64(h.rng.IntN(storage.MaxEntries))
	}
	bearer := h.rng.Uint64N(n)
	for i := range n {
		source := b.Source
		if i != bearer {
			source = ""
		}
		filler := strings.Repeat("x", h.rng.IntN(40))
		b.Entries = append(b.Entries, storage.Entry{Seq: head.Size + i, Bytes: Entry(l, head.Size+i, source, filler)})
	}
	h.adorn(&b)
	if h.rng.IntN(15) == 0 {
		b.Expect.Last[h.rng.IntN(32)]++
	}
	return b
}

// adorn adds what lies beside the entries.
func (h *history) adorn(b *storage.Batch) {
	for range h.rng.IntN(3) {
		b.Posts = append(b.Posts, storage.Post{
			Place: fmt.Sprintf("place %d", h.rng.IntN(3)), Open: h.rng.IntN(3) == 0, Bytes: fmt.Appendf(nil, "text %d", h.rng.IntN(1000)),
		})
	}
	if h.rng.IntN(6) == 0 {
		b.Words = []storage.Word{{Seq: b.Expect.Size, Name: "label", Salt: make([]byte, 16), Text: "for the mill"}}
	}
	if h.rng.IntN(10) == 0 {
		name := fmt.Sprint("p", h.rng.IntN(20))
		b.Players = []storage.Player{{Pseudonym: name, Person: "person " + name}}
	}
	if h.rng.IntN(8) == 0 {
		b.Secret = [][]byte{{}, []byte("one"), []byte("two")}[h.rng.IntN(3)]
	}
	due := func() time.Time { return h.clock.Now().Add(time.Duration(h.rng.IntN(100)-20) * time.Minute) }
	name := func() string { return fmt.Sprint("timer ", h.rng.IntN(4)) }
	if h.rng.IntN(3) == 0 {
		b.Set = []storage.Timer{{TimerRef: storage.TimerRef{Name: name(), Due: due()}, Bytes: []byte("turn")}}
	}
	if h.rng.IntN(8) == 0 {
		b.Cancel = []string{name()}
	}
	for _, t := range h.model.timers {
		if t.Ledger == b.Expect.Ledger && h.rng.IntN(6) == 0 {
			b.Fired = []storage.TimerRef{t.TimerRef}
		}
	}
	if h.rng.IntN(20) == 0 {
		b.Fired = []storage.TimerRef{{Name: name(), Due: due()}}
	}
}

func (h *history) resend() {
	if len(h.sent) == 0 {
		return
	}
	b := h.sent[h.rng.IntN(len(h.sent))]
	h.all("resend", func(s storage.Store) error { return s.Append(h.ctx, b) })
}

func (h *history) mark() {
	if len(h.posts) == 0 {
		return
	}
	id := h.posts[h.rng.IntN(len(h.posts))]
	receipt := fmt.Sprint("m", h.rng.IntN(4))
	h.all("mark", func(s storage.Store) error { return s.MarkSent(h.ctx, id, receipt) })
}

func (h *history) shelve() {
	pairs := []storage.KeyValue{{Key: fmt.Sprint("key ", h.rng.IntN(5)), Value: fmt.Append(nil, h.rng.IntN(100))}}
	if h.rng.IntN(3) == 0 {
		pairs[0].Value = nil
	}
	h.all("put", func(s storage.Store) error { return s.Shelf("settings").Put(h.ctx, pairs...) })
}

func (h *history) reopen() {
	for _, p := range h.played {
		if err := p.store.Close(); err != nil {
			h.Fatalf("%s: %v", p.name, err)
		}
		h.open(p)
	}
}

// compare wants every store to show what the model shows.
func (h *history) compare() {
	h.Helper()
	var ids []storage.LedgerID
	for n := range historyLedgers {
		ids = append(ids, LedgerNumber(n))
	}
	places := []string{"place 0", "place 1", "place 2", "place 3"}
	want := Snapshot(h.model, ids, places, h.clock.Now())
	for _, p := range h.played {
		got := Snapshot(p.store, ids, places, h.clock.Now())
		if got == want {
			continue
		}
		gotLines, wantLines := strings.Split(got, "\n"), strings.Split(want, "\n")
		for i := range min(len(gotLines), len(wantLines)) {
			if gotLines[i] != wantLines[i] {
				h.Fatalf("%s shows\n  %s\nthe model shows\n  %s", p.name, gotLines[i], wantLines[i])
			}
		}
		h.Fatalf("%s shows %d lines, the model %d", p.name, len(gotLines), len(wantLines))
	}
}
