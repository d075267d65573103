package commands

import (
	"context"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"drumhead/commands/chat"
	"drumhead/storage"
	"drumhead/storage/bolt"

	"go.etcd.io/bbolt"
)

// uncommitted is a store that takes appends up and stores nothing: what is left
// is the desk's own work.
type uncommitted struct {
	storage.Store
	bytes int // of the last batch: entries and posts
}

func (u *uncommitted) Append(_ context.Context, batches ...storage.Batch) error {
	u.bytes = 0
	for _, b := range batches {
		for _, e := range b.Entries {
			u.bytes += len(e.Bytes)
		}
		for _, p := range b.Posts {
			u.bytes += len(p.Bytes)
		}
	}
	return nil
}

func openBolt(t testing.TB) *bolt.Store {
	s, err := bolt.Open(filepath.Join(t.TempDir(), "drumhead.db"), bolt.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// rolls says n rolls at a table, without sending what is posted.
func (tb *table) rolls(n int) {
	for range n {
		tb.line++
		if _, err := tb.desk.Handle(context.Background(), tb.message("Ann", "#fen", "/roll 12d6 4+")); err != nil {
			tb.t.Fatal(err)
		}
	}
}

// send sends what waits, to nobody.
func (tb *table) send() {
	if err := NewPump(tb.desk, map[string]chat.Adapter{"test": tb}).Drain(context.Background()); err != nil {
		tb.t.Fatal(err)
	}
	tb.posts = tb.posts[:0]
}

// BenchmarkRoll is one /roll from message to stored posts. Its floor is a bare
// bbolt commit of the same bytes in the same run, taking turns: rounds of 25,
// medians (goal: ≤ 1.5 of the floor). Posts are sent between rolls, as they are
// in an evening; their marks are written with later rolls. The desk's own work is measured on a store
// that commits nothing (goal: ≤ 60 µs).
func BenchmarkRoll(b *testing.B) {
	tb := newTableOn(b, openBolt(b))
	tb.rolls(1)
	dry := &uncommitted{Store: tb.store}
	alone := newTableOn(b, dry)
	opened := newTableOn(b, tb.store)
	opened.rolls(1)
	alone.desk.live = opened.desk.live
	alone.line = 1 << 30 // messages of its own: one that the store has seen rolls nothing
	alone.rolls(1)
	floor, err := bbolt.Open(filepath.Join(b.TempDir(), "floor.db"), 0o600, nil)
	if err != nil {
		b.Fatal(err)
	}
	defer floor.Close()
	payload := make([]byte, dry.bytes)
	n := uint64(0)
	bare := func() {
		err := floor.Update(func(tx *bbolt.Tx) error {
			bucket, err := tx.CreateBucketIfNotExists([]byte("L"))
			if err != nil {
				return err
			}
			n++
			return bucket.Put([]byte{byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)}, payload)
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	const round = 25
	var whole, least, own []time.Duration
	timed := func(into *[]time.Duration, f, after func()) {
		var spent time.Duration
		for range round {
			start := time.Now()
			f()
			spent += time.Since(start)
			after()
		}
		*into = append(*into, spent/round)
	}
	nothing := func() {}
	for b.Loop() {
		timed(&least, bare, nothing)
		timed(&whole, func() { tb.rolls(1) }, tb.send)
		timed(&own, func() { alone.rolls(1) }, nothing)
	}
	median := func(d []time.Duration) float64 {
		slices.Sort(d)
		return float64(d[len(d)/2])
	}
	b.ReportMetric(median(whole)/median(least), "x-bare-commit")
	b.ReportMetric(median(whole)/1e3, "µs-whole")
	b.ReportMetric(median(least)/1e3, "µs-floor")
	b.ReportMetric(median(own)/1e3, "µs-without-commit")
	b.ReportMetric(0, "ns/op")
}

// BenchmarkFold10k opens a ledger of 10,000 rolls and folds it (goal: ≤ 150 ms).
func BenchmarkFold10k(b *testing.B) {
	tb := newTableOn(b, openBolt(b))
	for tb.size("#fen") < 10_000 {
		tb.rolls(500)
	}
	for b.Loop() {
		tb.desk.live.drop("test:#fen")
		if _, err := tb.desk.view(context.Background(), "test:#fen"); err != nil {
			b.Fatal(err)
		}
	}
}
