package ledgers

import (
	"iter"
	"testing"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// rows is a transaction that only knows how to get, and counts it.
type rows struct {
	of   map[string][]byte
	gets *int
}

func (r rows) Get(_ layout.Table, key []byte) []byte { *r.gets++; return r.of[string(key)] }

func (r rows) Put(_ layout.Table, key, value []byte) { r.of[string(key)] = value }

func (r rows) Delete(layout.Table, []byte) {}

func (r rows) Ascend(layout.Table, []byte) iter.Seq2[[]byte, []byte] {
	return func(func(k, v []byte) bool) {}
}

func (r rows) Last(layout.Table) []byte { return nil }

// page puts a page whose entries have the fingerprints from, from+1, …
func (r rows) page(l storage.LedgerID, first, from uint64) {
	var prints [layout.PageSize]uint64
	entries := make([][]byte, layout.PageSize)
	for i := range prints {
		prints[i], entries[i] = from+uint64(i), []byte("{}")
	}
	key := layout.PageKey(l, first)
	r.Put(layout.Ledgers, key, layout.NewPacker().Encode(key, storage.Hash{}, prints, entries))
}

// maybe asks and tells how many pages were read for the answer.
func (r rows) maybe(t *testing.T, s *sources, l storage.LedgerID, packed, print uint64) (bool, int) {
	t.Helper()
	before := *r.gets
	hit, err := s.maybe(r, l, packed, print)
	if err != nil {
		t.Fatal(err)
	}
	return hit, *r.gets - before
}

func TestSourcesAreRemembered(t *testing.T) {
	r := rows{of: map[string][]byte{}, gets: new(int)}
	one, two := storage.LedgerID{1}, storage.LedgerID{2}
	r.page(one, 0, 100)
	r.page(one, 32, 200)
	r.page(two, 0, 300)
	var s sources
	for i, ask := range []struct {
		l             storage.LedgerID
		packed, print uint64
		hit           bool
		pages         int
	}{
		{one, 32, 131, true, 1}, {one, 32, 132, false, 0}, {one, 32, 200, false, 0},
		{one, 64, 200, true, 1}, {one, 64, 100, true, 0}, {two, 32, 100, false, 1}, {two, 32, 300, true, 0},
	} {
		if hit, pages := r.maybe(t, &s, ask.l, ask.packed, ask.print); hit != ask.hit || pages != ask.pages {
			t.Errorf("question %d: %v after %d pages", i, hit, pages)
		}
	}
	s.forget()
	if _, pages := r.maybe(t, &s, one, 64, 100); pages != 2 {
		t.Errorf("after forgetting %d pages were read", pages)
	}
}

// What is remembered is bounded: other ledgers go, and a ledger beyond the
// bound is looked through each time.
func TestSourcesAreBounded(t *testing.T) {
	r := rows{of: map[string][]byte{}, gets: new(int)}
	one, two := storage.LedgerID{1}, storage.LedgerID{2}
	r.page(one, 0, 100)
	r.page(two, 0, 300)
	var s sources
	r.maybe(t, &s, one, 32, 1)
	s.total += maxRemembered - 2*layout.PageSize // as if others took up the rest, but for one page
	r.maybe(t, &s, two, 32, 1)
	if _, pages := r.maybe(t, &s, one, 32, 1); pages != 0 {
		t.Error("a ledger went though the bound was kept")
	}
	r.page(two, 32, 400)
	r.maybe(t, &s, two, 64, 1)
	if _, pages := r.maybe(t, &s, one, 32, 1); pages != 1 {
		t.Error("no ledger went though the bound was passed")
	}
	if hit, pages := r.maybe(t, &s, one, maxRemembered+1, 1); !hit || pages != 0 {
		t.Error("a ledger beyond the bound was remembered")
	}
}
