package proof

import (
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"drumhead/commands/beacon"
	"drumhead/engine/dice"
	"drumhead/storage"
)

// table is a ledger being written, as the desk writes one.
type table struct {
	t     testing.TB
	id    storage.LedgerID
	key   ed25519.PrivateKey
	vkey  string
	name  string
	now   time.Time
	head  storage.Head
	tree  storage.Frontier
	book  Book
	keys  Keys
	lines [][]byte
}

func decode64(t testing.TB, s string) []byte {
	t.Helper()
	b, err := base64.StdEncoding.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// newTable opens a ledger without a beacon.
func newTable(t testing.TB, length int) *table {
	return openTable(t, Start{Length: length, Time: time.Date(2026, 10, 24, 18, 0, 0, 0, time.UTC)}, "practice.osier")
}

func openTable(t testing.TB, s Start, name string) *table {
	t.Helper()
	tb := &table{t: t, id: storage.LedgerID{7}, key: ed25519.NewKeyFromSeed(make([]byte, 32)), name: name, now: s.Time}
	vkey, err := storage.VKey(name, tb.id, tb.key.Public().(ed25519.PublicKey))
	if err != nil {
		t.Fatal(err)
	}
	tb.vkey, tb.head.Ledger = vkey, tb.id
	s.Ledger, s.VKey, s.Last = tb.id, vkey, dice.Key{1}
	records, keys, err := Opening(s)
	if err != nil {
		t.Fatal(err)
	}
	tb.keys = keys
	for _, rec := range records {
		tb.add(rec)
	}
	return tb
}

// add appends an entry.
func (tb *table) add(rec storage.Record) storage.Record {
	tb.t.Helper()
	rec.Time = tb.now
	records := []storage.Record{rec}
	entries, err := Lines(tb.head, records)
	if err != nil {
		tb.t.Fatal(err)
	}
	before := tb.book
	if tb.book, err = before.Verify(records[0]); err != nil {
		tb.t.Fatalf("%s: %v", rec.Command, err)
	}
	if followed, err := before.Follow(records[0]); err != nil || !reflect.DeepEqual(followed, tb.book) {
		tb.t.Fatalf("followed and verified differ: %v", err)
	}
	leaf := storage.LeafHash(entries[0].Bytes)
	tb.tree.Add(leaf)
	tb.head.Size, tb.head.Last, tb.head.Root = tb.head.Size+1, leaf, tb.tree.Root()
	tb.lines = append(tb.lines, entries[0].Bytes)
	return records[0]
}

func (tb *table) sign() []byte {
	tb.t.Helper()
	b, err := storage.Checkpoint{Name: tb.name, Ledger: tb.id, Size: tb.head.Size, Root: tb.head.Root}.Sign(tb.key)
	if err != nil {
		tb.t.Fatal(err)
	}
	return b
}

// good checks the whole ledger.
func (tb *table) good() Report {
	tb.t.Helper()
	r := Check(tb.lines, Options{Checkpoints: [][]byte{tb.sign()}})
	if r.Fault != nil {
		tb.t.Fatalf("%v\n%s", r.Fault, tb.lines[max(0, r.Fault.Entry)])
	}
	return r
}

func command(name, player, args string) storage.Record {
	return storage.Record{Player: player, Command: name, Args: storage.Object(args)}
}

// roll is a sealed roll of n dice.
func (tb *table) roll(n, sides int) storage.Record {
	tb.t.Helper()
	d, err := tb.book.Sealed(tb.keys)
	if err != nil {
		tb.t.Fatal(err)
	}
	return tb.add(rolled(d, command("roll", "p1", fmt.Sprintf(`{"dice":"%dd%d"}`, n, sides)), n, sides))
}

func rolled(d *Draw, rec storage.Record, n, sides int) storage.Record {
	for range n {
		d.Draw(sides)
	}
	d.Fill(&rec)
	return rec
}

// A seal that is nearly spent is followed by another, key by key, to its end.
func TestSpentSeal(t *testing.T) {
	tb := newTable(t, 8)
	first, _ := tb.keys.Newest()
	for i := range 20 {
		if tb.book.Due() {
			rec, keys, err := OpenSeal(tb.keys, Spent, dice.Key{2, byte(i)}, 8, 0)
			if err != nil {
				t.Fatal(err)
			}
			tb.keys = keys
			tb.add(rec)
			if !tb.book.Follows() || tb.book.Due() {
				t.Fatal("the seal that was opened does not follow")
			}
		}
		rec := tb.roll(3, 6)
		if fresh := rec.Draw == uint64(i%8+1); !fresh || (rec.Seal == first) != (i < 8) {
			t.Fatalf("roll %d takes draw %d of %s", i, rec.Draw, rec.Seal)
		}
	}
	r := tb.good()
	if r.Seals != 3 || r.Draws != 20 || r.Dice != 60 || len(r.Remarks) != 1 { // the remark: practice
		t.Errorf("%+v", r)
	}
}

func TestNoKeyLeft(t *testing.T) {
	tb := newTable(t, 2)
	tb.roll(1, 6)
	tb.roll(1, 6)
	if _, err := tb.book.Sealed(tb.keys); !errors.Is(err, ErrNoKey) {
		t.Errorf("a third key of two: %v", err)
	}
	// Too late for a seal in time; one that a player asks for goes on.
	for why, rule := range map[string]string{Spent: storage.RuleSeal, First: storage.RuleSeal, "because": storage.RuleSeal, Asked: ""} {
		rec, keys, err := OpenSeal(tb.keys, why, dice.Key{3}, 4, 0)
		if err != nil {
			t.Fatal(err)
		}
		rec.Time, rec.Seq = tb.now, tb.book.Size()
		_, err = tb.book.Verify(rec)
		var f *Fault
		if errors.As(err, &f); (rule == "") != (err == nil) || rule != "" && f.Rule != rule {
			t.Errorf("%s: %v", why, err)
		}
		if rule == "" {
			tb.keys = keys
			tb.add(rec)
		}
	}
	tb.roll(1, 6)
	if r := tb.good(); len(r.Remarks) != 1 {
		t.Errorf("a spent seal counts as given up: %+v", r.Remarks)
	}
}

// A draw that rolled nothing takes no key.
func TestNothingRolled(t *testing.T) {
	tb := newTable(t, 8)
	d, err := tb.book.Sealed(tb.keys)
	if err != nil {
		t.Fatal(err)
	}
	rec := rolled(d, command("order", "p1", `{}`), 0, 6)
	if rec.Seal != "" || rec.Faces != nil {
		t.Fatalf("%+v", rec)
	}
	tb.add(rec)
	if got := tb.roll(1, 6); got.Draw != 1 {
		t.Errorf("the first roll takes draw %d", got.Draw)
	}
	tb.good()
}

// A store without the keys (restored from a backup) cannot draw, and a new seal
// gives the rest of the old one up.
func TestSealLost(t *testing.T) {
	tb := newTable(t, 8)
	tb.roll(1, 6)
	if _, err := tb.book.Sealed(Keys{}); !errors.Is(err, ErrSealLost) {
		t.Errorf("drawn without keys: %v", err)
	}
	waits := command("roll", "p1", `{"dice":"2d6"}`)
	waits.Time = tb.now
	if err := tb.book.Pend(tb.keys, &waits, storage.Wait{By: "p2", Until: tb.now.Add(time.Minute)}); err != nil {
		t.Fatal(err)
	}
	pending := tb.add(waits)
	rec, keys, err := OpenSeal(Keys{}, Restored, dice.Key{9}, 8, 0)
	if err != nil {
		t.Fatal(err)
	}
	tb.keys = keys
	tb.add(rec)
	if got := tb.book.Pending(); len(got) != 1 || !got[0].Lost || tb.book.AwaitsWord() {
		t.Fatalf("pending %+v", got)
	}
	if _, err := tb.book.CutOf(tb.keys, pending.Seq, "none"); err == nil {
		t.Error("dice of a seal given up")
	}
	end := command("void", "bot", fmt.Sprintf(`{"of":%d,"why":"restored"}`, pending.Seq))
	if err := tb.book.Reveal(tb.keys, pending.Seq, &end); err != nil || end.Key != "" {
		t.Fatalf("%v, key %q", err, end.Key)
	}
	tb.add(end)
	tb.roll(1, 6)
	r := tb.good()
	if i := slices.IndexFunc(r.Remarks, func(m Remark) bool { return m.Kind == RemarkGivenUp }); i < 0 || r.Remarks[i].Keys != 6 {
		t.Errorf("remarks %+v", r.Remarks)
	}
}

func TestWordCut(t *testing.T) {
	tb := newTable(t, 8)
	pend := func(wait storage.Wait) (storage.Record, error) {
		rec := command("roll", "p1", `{"dice":"2d6"}`)
		rec.Time = tb.now
		err := tb.book.Pend(tb.keys, &rec, wait)
		return rec, err
	}
	for _, bad := range []storage.Wait{
		{By: "p1", Until: tb.now.Add(time.Minute)},
		{By: "p2", Until: tb.now.Add(LongestWait + time.Millisecond)},
		{By: "p2", Until: tb.now.Add(-time.Millisecond)},
		{Round: 1000},
	} {
		if rec, err := pend(bad); err == nil || rec.Wait != nil {
			t.Errorf("waits for %+v", bad)
		}
	}
	rec, err := pend(storage.Wait{By: "p2", Until: tb.now.Add(LongestWait)})
	if err != nil || rec.Key != "" {
		t.Fatalf("%v, key %q", err, rec.Key)
	}
	of := tb.add(rec).Seq
	if _, err := tb.book.Sealed(tb.keys); err == nil {
		t.Error("another draw while a word is awaited")
	}
	if _, err := pend(storage.Wait{By: "p2", Until: tb.now}); err == nil {
		t.Error("another draw waits while a word is awaited")
	}
	_, cut, err := CutWord("the weir holds 4")
	if err != nil {
		t.Fatal(err)
	}
	d, err := tb.book.CutOf(tb.keys, of, cut)
	if err != nil {
		t.Fatal(err)
	}
	hash := strings.TrimPrefix(cut, "word:")
	done := rolled(d, command("cut", "p2", fmt.Sprintf(`{"of":%d,"word":"%s"}`, of, hash)), 2, 6)
	tb.add(done)
	if !tb.book.WordUsed(hash) || len(tb.book.Pending()) != 0 {
		t.Error("the word is not used, or the roll still waits")
	}
	if n, command, ok := tb.book.DiceOf(of); !ok || n != 2 || command != "roll" {
		t.Errorf("dice of %d: %d of %s, %v", of, n, command, ok)
	}
	again, err := tb.book.AgainOf(storage.Again{Of: of})
	if err != nil {
		t.Fatal(err)
	}
	second := tb.add(rolled(again, command("roll", "p1", `{"dice":"2d6"}`), 2, 6))
	if !reflect.DeepEqual(second.Faces, done.Faces) || second.Seal != "" {
		t.Errorf("again %v, before %v", second.Faces, done.Faces)
	}
	if _, err := tb.book.AgainOf(storage.Again{Of: of, After: 3}); err == nil {
		t.Error("after more dice than were drawn")
	}
	tb.good()
}

// With a beacon, before the seal is cut every roll waits for its own round; once
// the round is out everything is cut by it. Rounds 123 and 1000: published
// signatures of the chain, in testdata with their source.
func TestBeaconVectors(t *testing.T) {
	p := protocolVectors(t)
	signature := func(line int) string {
		rec, err := storage.Parse([]byte(p.Book.Lines[line]))
		if err != nil {
			t.Fatal(err)
		}
		return textIn(rec.Args, "signature")
	}
	chain := beacon.Quicknet()
	start := chain.Due(123).Add(-8 * time.Second)
	tb := openTable(t, Start{Length: 8, Time: start, Chain: chain, Round: chain.Next(start, 0)}, "osier")
	if tb.book.Uncut() != 123 {
		t.Fatalf("the seal waits for round %d", tb.book.Uncut())
	}
	if _, err := tb.book.Sealed(tb.keys); !errors.Is(err, ErrUncut) {
		t.Errorf("drawn before the seal is cut: %v", err)
	}
	tb.now = start.Add(time.Second)
	waits := command("roll", "p1", `{"dice":"3d6"}`)
	waits.Time = tb.now
	if err := tb.book.Pend(tb.keys, &waits, storage.Wait{Round: chain.Next(tb.now, 0)}); err != nil || waits.Key == "" {
		t.Fatalf("%v, key %q", err, waits.Key)
	}
	of := tb.add(waits).Seq
	tb.now = chain.Due(123).Add(600 * time.Millisecond)
	rec, err := CutSeal(signature(2))
	if err != nil {
		t.Fatal(err)
	}
	tb.add(rec)
	randomness, err := chain.Verify(123, signature(2))
	if err != nil {
		t.Fatal(err)
	}
	d, err := tb.book.CutOf(tb.keys, of, beacon.Cut(123, randomness))
	if err != nil {
		t.Fatal(err)
	}
	tb.add(rolled(d, command("cut", "bot", fmt.Sprintf(`{"of":%d,"signature":"%s"}`, of, signature(2))), 3, 6))
	if got := tb.roll(3, 6); got.Cut != beacon.Cut(123, randomness) || got.Draw != 2 {
		t.Errorf("%+v", got)
	}
	if r := tb.good(); r.Rounds != 2 || r.Practice || r.Chain != chain.Hash {
		t.Errorf("%+v", r)
	}
}

func TestOpeningRefuses(t *testing.T) {
	key := ed25519.NewKeyFromSeed(make([]byte, 32))
	vkey, err := storage.VKey("osier", storage.LedgerID{7}, key.Public().(ed25519.PublicKey))
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 10, 24, 18, 0, 0, 0, time.UTC)
	good := Start{Ledger: storage.LedgerID{7}, VKey: vkey, Time: now, Length: SealLength}
	if _, _, err := Opening(good); err != nil {
		t.Fatal(err)
	}
	for what, set := range map[string]func(*Start){
		"another ledger's key":    func(s *Start) { s.Ledger[0] = 8 },
		"no key":                  func(s *Start) { s.VKey = "osier" },
		"no length":               func(s *Start) { s.Length = 0 },
		"a round without a chain": func(s *Start) { s.Round = 1000 },
		"a chain without a round": func(s *Start) { s.Chain = beacon.Quicknet() },
		"a round long out":        func(s *Start) { s.Chain, s.Round = beacon.Quicknet(), 123 },
	} {
		s := good
		set(&s)
		if _, _, err := Opening(s); err == nil {
			t.Errorf("%s: opened", what)
		}
	}
}

// An older Book is as it was when a newer one was made from it: the desk keeps
// both while it decides whether the newer one is stored.
func TestBookIsAValue(t *testing.T) {
	tb := newTable(t, 200)
	var books []Book
	var draws []uint64
	for i := range 100 {
		books = append(books, tb.book)
		_, n, _, _ := tb.book.InUse()
		draws = append(draws, n)
		tb.roll(1+i%3, 6)
		// A second history from the same book, thrown away: the commit failed.
		if d, err := books[i].Sealed(tb.keys); err == nil {
			other := rolled(d, command("roll", "p2", `{}`), 5, 20)
			other.Seq, other.Time, other.Ledger = books[i].Size(), tb.now, tb.id
			if _, err := books[i].Follow(other); err != nil {
				t.Fatal(err)
			}
		}
	}
	for i, b := range books {
		_, n, _, _ := b.InUse()
		if n != draws[i] || b.Size() != uint64(i+2) {
			t.Fatalf("book %d says draw %d, size %d", i, n, b.Size())
		}
		for seq := uint64(2); seq < b.Size(); seq++ {
			if dice, _, ok := b.DiceOf(seq); !ok || dice != 1+int(seq-2)%3 {
				t.Fatalf("book %d: %d dice at %d", i, dice, seq)
			}
		}
	}
	tb.good()
}

func TestKeys(t *testing.T) {
	var k Keys
	for i := range MostKept + 2 {
		var err error
		if k, err = k.With(dice.Key{byte(i + 1)}, storage.LongestSeal>>(8*(i&1))); err != nil {
			t.Fatal(err)
		}
	}
	b, err := k.Encode()
	if err != nil || len(b) > storage.MaxSecret || len(k.list) != MostKept {
		t.Fatalf("%d bytes, %v, %d seals", len(b), err, len(k.list))
	}
	back, err := ParseKeys(b)
	tip, length := k.Newest()
	if err != nil || len(back.list) != MostKept {
		t.Fatal(err)
	}
	if x, n := back.Newest(); x != tip || n != length {
		t.Errorf("newest %s of %d, want %s of %d", x, n, tip, length)
	}
	key, err := back.Key(tip, uint64(length))
	if err != nil {
		t.Fatal(err)
	}
	for range length {
		key = key.Before()
	}
	if key.String() != tip {
		t.Error("the last key does not lead to the tip")
	}
	if _, err := back.Key(tip, uint64(length)+1); !errors.Is(err, ErrSealLost) {
		t.Errorf("a key beyond the last: %v", err)
	}
	last := dice.Key{MostKept + 2}.String()
	for _, form := range []string{"%v", "%+v", "%#v", "%s"} {
		if shown := fmt.Sprintf(form, struct{ k Keys }{k}); strings.Contains(shown, last[:16]) || strings.Contains(shown, fmt.Sprint(MostKept+2, " 0 0 0")) {
			t.Errorf("%s shows a key: %s", form, shown)
		}
	}
	for _, bad := range []string{"{}", "[{}]", string(b) + " ", strings.Replace(string(b), `"length":256`, `"length":255`, 1), strings.Replace(string(b), `"tip":"`, `"tip":"0`, 1)} {
		if _, err := ParseKeys([]byte(bad)); err == nil || bad == string(b) || strings.Contains(err.Error(), last) {
			t.Errorf("%.60s: %v", bad, err)
		}
	}
	if empty, err := ParseKeys(nil); err != nil || len(empty.list) != 0 {
		t.Errorf("nothing is no seals: %v", err)
	}
}

func TestCutWordVectors(t *testing.T) {
	p := protocolVectors(t)
	if len(p.Words) != 7 {
		t.Fatalf("%d words", len(p.Words))
	}
	for _, w := range p.Words {
		word, cut, err := CutWord(w.Typed)
		if err != nil || word != string(unhex(t, w.Bytes)) || cut != w.Cut {
			t.Errorf("%q: %q, %s, %v", w.Typed, word, cut, err)
		}
	}
	for _, bad := range []string{"", "     short\n"[5:], " 12345 ", strings.Repeat("x", LongestWord+1), "bad\xffbytes"} {
		if bad == "short\n" {
			bad = "short"
		}
		if word, _, err := CutWord(bad); err == nil {
			t.Errorf("%q was taken", word)
		}
	}
	if _, _, err := CutWord(strings.Repeat("x", LongestWord)); err != nil {
		t.Error(err)
	}
}

func TestWordsFile(t *testing.T) {
	list := []storage.Word{{Seq: 3, Name: "said", Salt: make([]byte, 16), Text: "We never liked <that> bridge, “anyway”\n"}, {Seq: 4, Name: "label", Salt: []byte{1}, Text: ""}}
	b, err := FormatWords(list)
	if err != nil {
		t.Fatal(err)
	}
	back, err := ParseWords(b)
	if err != nil || !reflect.DeepEqual(back, list) {
		t.Errorf("%v\n%+v\n%+v", err, back, list)
	}
	for _, bad := range []string{"{}", "x\n", string(b[:len(b)-1]), string(b) + "\n", strings.Replace(string(b), `"salt":"01"`, `"salt":"0"`, 1)} {
		if _, err := ParseWords([]byte(bad)); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
}

func FuzzParseKeys(f *testing.F) {
	k, err := Keys{}.With(dice.Key{1}, 8)
	if err != nil {
		f.Fatal(err)
	}
	b, err := k.Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add([]byte("[]"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 2000 {
			return
		}
		k, err := ParseKeys(b)
		if err != nil || len(b) == 0 {
			return
		}
		if again, err := k.Encode(); err != nil || string(again) != string(b) {
			t.Fatalf("%s written as %s, %v", b, again, err)
		}
	})
}

func FuzzParseWords(f *testing.F) {
	f.Add([]byte(`{"name":"said","salt":"00","seq":3,"text":"x"}` + "\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		words, err := ParseWords(b)
		if err != nil {
			return
		}
		if again, err := FormatWords(words); err != nil || string(again) != string(b) {
			t.Fatalf("%s written as %s, %v", b, again, err)
		}
	})
}

// BenchmarkRoll is a whole sealed roll of 12 dice without rules and commit:
// key, dice, members, bytes, leaf and the next Book. Its floor is the key's
// and the blocks' hashes alone, in engine/dice.
func BenchmarkRoll(b *testing.B) {
	tb := newTable(b, 65_536)
	for range 5000 {
		rec := tb.rollFast()
		if tb.book, _ = tb.book.Follow(rec); tb.book.Size() == 0 {
			b.Fatal("not followed")
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		rec := tb.rollFast()
		line, err := rec.Encode()
		if err != nil {
			b.Fatal(err)
		}
		storage.LeafHash(line)
		if _, err := tb.book.Follow(rec); err != nil {
			b.Fatal(err)
		}
	}
}

func (tb *table) rollFast() storage.Record {
	d, err := tb.book.Sealed(tb.keys)
	if err != nil {
		tb.t.Fatal(err)
	}
	rec := rolled(d, command("roll", "p1", `{"dice":"12d6","need":4}`), 12, 6)
	rec.Events = []storage.Object{storage.Object(`{"successes":7,"type":"rolled"}`)}
	rec.Ledger, rec.Seq, rec.Time = tb.id, tb.book.Size(), tb.now
	return rec
}
