package commands

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"strings"
	"testing"
	"time"

	"drumhead/commands/beacon"
	"drumhead/commands/beacon/beacontest"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
	"drumhead/storage/mem"
)

// newBeaconTable is a table whose dice a beacon can cut. Its rounds are signed
// by a test's own beacon, by the table's clock.
func newBeaconTable(t testing.TB) (*table, *beacontest.Beacon) {
	tb := &table{t: t, store: mem.New(), now: time.Date(2026, 10, 24, 18, 0, 0, 0, time.UTC)}
	b := beacontest.New(func() time.Time { return tb.now })
	tb.restart(b)
	return tb, b
}

// restart starts the desk anew on the same store, with a beacon or without.
func (tb *table) restart(b *beacontest.Beacon) {
	tb.t.Helper()
	c := Config{Store: tb.store, Now: func() time.Time { return tb.now }, Entropy: newEntropy(byte(2 + tb.line)),
		Name: "practice.drumhead.local", Key: ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, 32))}
	if b != nil {
		c.Beacon, c.Chain = b, b.Chain()
	}
	d, err := New(c)
	if err != nil {
		tb.t.Fatal(err)
	}
	tb.desk = d
}

// wait lets time go by, a second at a time, as the watch of a running bot would.
func (tb *table) wait(d time.Duration) string {
	tb.t.Helper()
	before := len(tb.posts)
	for end := tb.now.Add(d); tb.now.Before(end); {
		tb.now = tb.now.Add(time.Second)
		tb.turns()
	}
	return tb.text(before)
}

func (tb *table) turns() {
	tb.t.Helper()
	for range 3 {
		if _, err := tb.desk.Tick(context.Background()); err != nil {
			tb.t.Fatal(err)
		}
		if err := NewPump(tb.desk, map[string]chat.Adapter{"test": tb}).Drain(context.Background()); err != nil {
			tb.t.Fatal(err)
		}
		tb.desk.Fetch(context.Background())
	}
}

// entries are the lines of a place's ledger.
func (tb *table) entries(place string) [][]byte {
	tb.t.Helper()
	id, err := tb.store.Of(context.Background(), "test:"+place)
	if err != nil {
		tb.t.Fatal(err)
	}
	var lines [][]byte
	for e, err := range tb.store.Read(context.Background(), id, 0, 1<<30) {
		if err != nil {
			tb.t.Fatal(err)
		}
		lines = append(lines, bytes.Clone(e.Bytes))
	}
	return lines
}

// good verifies a place's ledger as a stranger who knows the test's chain.
func (tb *table) good(place string, chains ...*beacon.Chain) proof.Report {
	tb.t.Helper()
	r := proof.Check(tb.entries(place), proof.Options{Chains: chains, Replay: proof.NewReplay(tb.desk.file)})
	if r.Fault != nil {
		tb.t.Fatalf("the ledger does not verify: %v", r.Fault)
	}
	if !r.Rules {
		tb.t.Fatalf("rules were not replayed")
	}
	return r
}

// record is the n-th entry of a place, from the end if n is negative.
func (tb *table) record(place string, n int) storage.Record {
	tb.t.Helper()
	lines := tb.entries(place)
	if n < 0 {
		n += len(lines)
	}
	rec, err := storage.Parse(lines[n])
	if err != nil {
		tb.t.Fatal(err)
	}
	return rec
}

// wants looks for pieces of posts, wherever their lines were broken.
func (tb *table) wants(got string, want ...string) {
	tb.t.Helper()
	got = strings.ReplaceAll(got, "\n  ", " ")
	for _, w := range want {
		if !strings.Contains(got, w) {
			tb.t.Errorf("nothing of %q in\n%s", w, got)
		}
	}
}

// While a place's first seal is not cut, the answer to a roll is its pending
// post, and the dice follow; afterwards rolls come at once.
func TestFirstRollWaitsForTheBeacon(t *testing.T) {
	tb, b := newBeaconTable(t)
	got := tb.say("Ann", "#fen", "/roll 12d6 4+ for the weir")
	tb.wants(got, "Seal #1", "cuts it", "Ann rolls 12d6 4+: it waits for its cut", "Cut by beacon round", "The key is fixed")
	if strings.Contains(got, "the weir") {
		t.Errorf("a post that binds holds a player's words:\n%s", got)
	}
	for _, p := range tb.posts {
		if p.Entry >= 0 && !p.Binds {
			t.Errorf("this does not bind: %v", p.Lines)
		}
	}
	got = tb.wait(12 * time.Second)
	tb.wants(got, "the weir, Ann: 12d6 for 4+", "cut by beacon round", "(#2,")
	if got := tb.say("Bo", "#fen", "/roll 2d6"); !strings.Contains(got, "sealed)") {
		t.Errorf("after the seal is cut:\n%s", got)
	}
	r := tb.good("#fen", b.Chain())
	if r.Rounds != 2 || r.Waiting != 0 || r.Draws != 2 {
		t.Errorf("%+v", r)
	}
	if r := proof.Check(tb.entries("#fen"), proof.Options{}); r.Fault == nil {
		t.Error("a chain that the verifier does not know passes")
	}
	tb.wants(tb.say("Bo", "#fen", "/proof 2"), "stands as rolled", "before beacon round", "give these 12 dice")
	tb.wants(tb.say("Bo", "#fen", "/explain 2"), "#2", "cut by beacon round")
}

// One roll may be cut by another player's word, which the post repeats.
func TestCutByWord(t *testing.T) {
	tb := newTable(t)
	tb.say("Bo", "#fen", "/roll 1d6")
	got := tb.say("Ann", "#fen", "/roll 12d6 4+, cut by Bo")
	tb.wants(got, "Ann rolls 12d6 4+: it waits", "Bo cuts it with /cut", "[Cut]")
	if strings.Contains(got, "The key") {
		t.Errorf("the key is shown before the word:\n%s", got)
	}
	for _, wrong := range []struct{ who, text, want string }{
		{"Ann", "/cut seven herons", "for Bo to cut"},
		{"Bo", "/cut seven", "5 bytes"},
		{"Bo", "/cut " + strings.Repeat("x", 201), "201 bytes"},
		{"Bo", "/roll 2d6", "waits for a word of Bo"},
		{"Bo", "/cut", "It is yours to cut"},
	} {
		if got := tb.say(wrong.who, "#fen", wrong.text); !strings.Contains(got, wrong.want) {
			t.Errorf("%s %q:\n%swant %q", wrong.who, wrong.text, got, wrong.want)
		}
	}
	got = tb.say("Bo", "#fen", "/cut  Sieben Reiher, über dem Wehr \t")
	tb.wants(got, "12d6 for 4+", "cut by Bo", `Bo's word: "Sieben Reiher, über dem Wehr"`)
	rec := tb.record("#fen", -1)
	// printf %s "Sieben Reiher, über dem Wehr" | sha256sum
	if rec.Command != "cut" || rec.Cut != "word:9c5467a453fdcd66129647d96bfc1c4253d0f0ee06a553640b28613bfb0abd96" || rec.Key == "" {
		t.Errorf("%+v", rec)
	}
	if got := tb.say("Bo", "#fen", "/cut seven herons"); !strings.Contains(got, "Nothing here waits") {
		t.Errorf("a second word:\n%s", got)
	}
	tb.say("Ann", "#fen", "/roll 12d6 4+, cut by Bo")
	if got := tb.say("Bo", "#fen", "/cut Sieben Reiher, über dem Wehr"); !strings.Contains(got, "was used here") {
		t.Errorf("a used word:\n%s", got)
	}
	tb.pickForm("Bo", "#fen", "Cut", "another word")
	tb.good("#fen")
	if got := tb.say("Ann", "#fen", "/roll 2d6, cut by Ann"); !strings.Contains(got, "Nobody cuts their own") {
		t.Errorf("one's own cut:\n%s", got)
	}
	if got := tb.say("Ann", "#fen", "/roll 2d6, cut by beacon"); !strings.Contains(got, "no public beacon") {
		t.Errorf("no beacon:\n%s", got)
	}
}

// pickForm taps a choice and fills its field in.
func (tb *table) pickForm(name, place, label, text string) string {
	tb.t.Helper()
	for i := len(tb.posts) - 1; i >= 0; i-- {
		for _, c := range tb.posts[i].Choices {
			if c.Label == label {
				tb.line++
				m := tb.message(name, place, "")
				m.Tap = &chat.Tap{Post: tb.posts[i].ID, Number: c.Number, Text: text}
				return tb.handle(m)
			}
		}
	}
	tb.t.Fatalf("no post has the choice %q", label)
	return ""
}

// A word that never comes: with a beacon a round takes its place, without one
// the dice are rolled with no cut.
func TestWordNeverComes(t *testing.T) {
	tb, b := newBeaconTable(t)
	tb.say("Bo", "#fen", "/tell Here.")
	tb.wait(10 * time.Second)
	tb.say("Ann", "#fen", "/roll 6d6 5+, cut by Bo")
	got := tb.wait(10*time.Minute + 15*time.Second)
	tb.wants(got, "Bo gave no word in time: #4 waits for the beacon", "Cut by beacon round", "cut by beacon round")
	if r := tb.good("#fen", b.Chain()); len(r.Remarks) != 2 || r.Remarks[1].Kind != proof.RemarkWait {
		t.Errorf("remarks %+v", r.Remarks)
	}
	tb = newTable(t)
	tb.say("Bo", "#fen", "/tell Here.")
	tb.say("Ann", "#fen", "/roll 6d6 5+, cut by Bo")
	tb.now = tb.now.Add(11 * time.Minute)
	if got := tb.say("Bo", "#fen", "/cut too late now"); !strings.Contains(got, "time to cut was up") {
		t.Errorf("after the deadline:\n%s", got)
	}
	got = tb.wait(time.Second)
	tb.wants(got, "seal not cut", "Bo gave no word in time")
	tb.good("#fen")
}
