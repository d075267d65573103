package proof

import (
	"bytes"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"iter"
	"os"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"drumhead/engine/dice"
	"drumhead/storage"
)

// timed is how long f takes, the best of several runs, so that what else the machine
// does counts little.
func timed(f func()) time.Duration {
	best := time.Duration(1 << 62)
	for range 7 {
		start := time.Now()
		f()
		best = min(best, time.Since(start))
	}
	return best
}

// BenchmarkDiceBytes is the byte rate of dice of six sides with a beacon's cut, as a
// share of the rate at which the standard library's HKDF expands a key. Goal: 0.45 or
// more, and no allocation a die.
func BenchmarkDiceBytes(b *testing.B) {
	const n = 8000
	cut := "beacon:1000:" + strings.Repeat("ab", 32)
	key := dice.Key{7}
	var at uint64
	fall := func() {
		s := dice.NewStream("txhm4tipfgw62v56fpyqwsnza4", 57, cut, key)
		for range n {
			s.Draw(6)
		}
		at = s.At()
	}
	expand := func() {
		if _, err := hkdf.Expand(sha256.New, key[:], "drumhead", 255*sha256.Size); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		fall()
	}
	ours := float64(at) / float64(timed(fall))
	b.ReportMetric(ours/(255*sha256.Size/float64(timed(expand))), "xHKDF")
	b.ReportMetric(testing.AllocsPerRun(5, fall)/n, "allocs/die")
}

// BenchmarkEntry is a roll of twelve dice decided and encoded, as so many times one
// HKDF extract and expand. Goal: 2.5 or less.
func BenchmarkEntry(b *testing.B) {
	tb := newTable(b, 65_536)
	entry := func() {
		for range 100 {
			rec := tb.rollFast()
			if _, err := rec.Encode(); err != nil {
				b.Fatal(err)
			}
		}
	}
	floor := func() {
		for range 100 {
			if _, err := hkdf.Key(sha256.New, tb.id[:], nil, "drumhead", 32); err != nil {
				b.Fatal(err)
			}
		}
	}
	for b.Loop() {
		entry()
	}
	b.ReportMetric(float64(timed(entry))/float64(timed(floor)), "xHKDF")
}

// long makes a ledger of so many rolls of twelve dice, a line at a time.
func long(b testing.TB, n int) iter.Seq2[[]byte, error] {
	return func(yield func([]byte, error) bool) {
		tb := newTable(b, 65_536)
		for _, line := range tb.lines {
			if !yield(line, nil) {
				return
			}
		}
		head := storage.Head{Ledger: tb.id, Size: uint64(len(tb.lines)), Last: storage.LeafHash(tb.lines[len(tb.lines)-1])}
		for made := uint64(len(tb.lines)); made < uint64(n); made++ {
			rec := tb.nextFast()
			rec.Seq, rec.Head = head.Size, head.Last
			line, err := rec.Encode()
			if err != nil {
				b.Fatal(err)
			}
			if tb.book, err = tb.book.Follow(rec); err != nil {
				b.Fatal(err)
			}
			head.Size, head.Last = head.Size+1, storage.LeafHash(line)
			if !yield(line, nil) {
				return
			}
		}
	}
}

// nextFast is a roll, or where the seal has one key left a new seal.
func (tb *table) nextFast() storage.Record {
	if tb.book.Left() > 1 {
		return tb.rollFast()
	}
	last := dice.Key{9}
	copy(last[1:], strconv.FormatUint(tb.book.Size(), 10))
	rec, keys, err := OpenSeal(tb.keys, Asked, last, dice.LongestSeal, 0)
	if err != nil {
		tb.t.Fatal(err)
	}
	tb.keys, rec.Ledger, rec.Time = keys, tb.id, tb.now
	return rec
}

// BenchmarkVerify is a ledger verified without rounds and rules, in entries a second,
// and as so many times its hash floor: a leaf, a node, a key and one block of dice an
// entry. Goals: 200,000 entries a second and core, and 4.5.
func BenchmarkVerifyLedger(b *testing.B) {
	const n = 20_000
	var lines [][]byte
	for line, err := range long(b, n) {
		if err != nil {
			b.Fatal(err)
		}
		lines = append(lines, bytes.Clone(line))
	}
	check := func() {
		if r := Check(lines, Options{}); r.Fault != nil {
			b.Fatal(r.Fault)
		}
	}
	floor := func() {
		var node [65]byte
		mac := hmac.New(sha256.New, node[:32])
		for _, line := range lines {
			leaf := storage.LeafHash(line)
			copy(node[1:], leaf[:])
			sum := sha256.Sum256(node[:])
			key := sha256.Sum256(sum[:])
			mac.Reset()
			mac.Write(line[:60])
			mac.Sum(key[:0])
		}
	}
	for b.Loop() {
		check()
	}
	took := timed(check)
	b.ReportMetric(n/took.Seconds(), "entries/s")
	b.ReportMetric(float64(took)/float64(timed(floor)), "xHash")
}

// system is all memory that the runtime has from the system.
func system() uint64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.Sys
}

// TestMemoryFlat: a long ledger takes hardly more memory to verify than a short one.
// Measured is the heap that lives while the last entries are checked.
func TestMemoryFlat(t *testing.T) {
	live := func(n int) uint64 {
		var most uint64
		count := 0
		lines := func(yield func([]byte, error) bool) {
			for line, err := range long(t, n) {
				if count++; count == n {
					runtime.GC()
					var m runtime.MemStats
					runtime.ReadMemStats(&m)
					most = m.HeapAlloc
				}
				if !yield(line, err) {
					return
				}
			}
		}
		if r, err := CheckEach(lines, Options{}); err != nil || r.Fault != nil || r.Size != uint64(n) {
			t.Fatalf("%v, %v, %d entries", err, r.Fault, r.Size)
		}
		return most
	}
	short, far := live(6_000), live(60_000)
	if far > short+short/2+1<<20 {
		t.Errorf("%d bytes after 6,000 entries, %d after 60,000", short, far)
	}
	t.Logf("%d and %d bytes", short, far)
	if n, err := strconv.Atoi(os.Getenv("DRUMHEAD_ENTRIES")); err == nil { // DRUMHEAD_ENTRIES=1000000 takes a minute
		whole := live(n)
		t.Logf("%d entries: %d bytes live, %d from the system", n, whole, system())
	}
}
