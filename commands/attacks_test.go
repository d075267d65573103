package commands

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
)

// attempts are rows of the table of attempts in docs/dice.md, each tried here: what
// stops it, or what exposes it. tried names the test of every row.
var attempts = []struct {
	what string
	try  func(t *testing.T)
}{
	{"roll again until it is good", func(t *testing.T) {
		tb := newTable(t)
		for n := range 3 {
			if said := tb.say("Ann", "#fen", "/roll 12d6 4+"); !strings.Contains(said, fmt.Sprintf("(#%d,", n+2)) {
				t.Errorf("the %d. roll shows no number of its own:\n%s", n+1, said)
			}
		}
		if r := tb.verified("#fen"); r.Draws != 3 {
			t.Errorf("%d draws stand in the ledger", r.Draws)
		}
	}},
	{"foresee dice that wait for a word", func(t *testing.T) {
		tb := newTable(t)
		tb.say("Bo", "#fen", "/tell hm")
		tb.say("Ann", "#fen", "/roll 12d6 4+, cut by Bo")
		before := tb.text(0) + string(slices.Concat(tb.entries("#fen")...))
		tb.say("Bo", "#fen", "/cut seven herons")
		if key := tb.record("#fen", -1).Key; key == "" || strings.Contains(before, key) {
			t.Errorf("key %q was to be seen before the word", key)
		}
	}},
	{"choose dice by wording, label, sender or time", func(t *testing.T) {
		var faces []string
		for i, text := range []string{"/roll 12d6 4+", "/roll 12d6 2+ for luck", "/roll 12D6   5+", "/roll 12d6"} {
			tb := newTable(t)
			tb.say("Cy", "#fen", "/tell hm") // the same seal each time
			tb.now = tb.now.Add(time.Duration(i) * time.Hour)
			tb.say([]string{"Ann", "Bo"}[i%2], "#fen", text)
			id, err := tb.store.Of(t.Context(), "test:#fen")
			if err != nil {
				t.Fatal(err)
			}
			faces = append(faces, id.String()+fmt.Sprint(tb.record("#fen", -1).Faces))
		}
		if got := slices.Compact(slices.Clone(faces)); len(got) != 1 {
			t.Errorf("other words, other dice: %v", got)
		}
	}},
	{"choose a seal after seeing the command, or among many", func(t *testing.T) {
		tb, b := newBeaconTable(t)
		tb.say("Ann", "#fen", "/roll 12d6 4+")
		opened, waits := tb.record("#fen", 1), tb.record("#fen", 2)
		round, _ := storage.Member(opened.Args, "round")
		n, _ := storage.Number(round)
		if opened.Command != "seal.open" || b.Chain().Due(n).Sub(opened.Time) < 2*b.Chain().Period || waits.Wait == nil || waits.Faces != nil {
			t.Errorf("seal %+v, roll %+v", opened, waits)
		}
	}},
	{"name a round that is already out", func(t *testing.T) {
		tb, b := newBeaconTable(t)
		tb.say("Ann", "#fen", "/roll 12d6 4+")
		tb.wait(12 * time.Second)
		tb.say("Ann", "#fen", "/roll 6d6, cut by beacon")
		rec := tb.record("#fen", -1)
		if lead := b.Chain().Due(rec.Wait.Round).Sub(rec.Time); lead < 2*b.Chain().Period || lead > 5*b.Chain().Period {
			t.Errorf("the round is due %v after the entry", lead)
		}
	}},
	{"edit what binds", func(t *testing.T) {
		tb, _ := newBeaconTable(t)
		tb.say("Ann", "#fen", "/roll 12d6 4+ for the weir")
		tb.wait(12 * time.Second)
		tb.say("Ann", "#fen", "/hide 2")
		binding := map[chat.PostID]bool{}
		for _, p := range tb.posts {
			binding[p.ID] = p.Binds
		}
		for _, p := range tb.posts {
			if p.Edit != "" && (p.Binds || binding[p.Edit]) {
				t.Errorf("%s was edited", p.Edit)
			}
		}
	}},
	{"change what waits, or order something else meanwhile", func(t *testing.T) {
		tb := newTable(t)
		tb.say("Bo", "#fen", "/tell hm")
		tb.say("Ann", "#fen", "/roll 12d6 4+, cut by Bo")
		size := tb.size("#fen")
		if said := tb.say("Ann", "#fen", "/roll 12d6 2+"); tb.size("#fen") != size || !strings.Contains(said, "waits for a word") {
			t.Errorf("it was:\n%s", said)
		}
	}},
	{"put another word for the one that was given", func(t *testing.T) {
		tb := newTable(t)
		tb.say("Bo", "#fen", "/tell hm")
		tb.say("Ann", "#fen", "/roll 12d6 4+, cut by Bo")
		if said := tb.say("Bo", "#fen", "/cut seven herons"); !strings.Contains(said, `Bo's word: "seven herons"`) {
			t.Errorf("the word is not repeated:\n%s", said)
		}
		tampered := tb.entries("#fen")
		last := string(tampered[len(tampered)-1])
		at := strings.Index(last, "word:") + len("word:")
		other := "0"
		if last[at] == '0' {
			other = "1"
		}
		tampered[len(tampered)-1] = []byte(last[:at] + other + last[at+1:])
		if r := proof.Check(tampered, proof.Options{}); r.Fault == nil {
			t.Error("another hash of a word is good")
		}
	}},
	{"forge a round, or hand in one of another number", func(t *testing.T) {
		tb, b := newBeaconTable(t)
		b.Down(true)
		tb.say("Ann", "#fen", "/roll 12d6 4+")
		tb.wait(30 * time.Second)
		round := tb.record("#fen", 2).Wait.Round
		good, size := b.Sign(round), tb.size("#fen")
		for _, forged := range []string{strings.Repeat("00", 48), b.Sign(round + 1), good[:94] + "00", strings.Repeat("f", 96)} {
			if tb.say("Bo", "#fen", "/cut "+forged); tb.size("#fen") != size {
				t.Errorf("%s was taken", forged)
			}
		}
		said := tb.say("Bo", "#fen", "/cut "+b.Sign(tb.uncut())) + tb.say("Bo", "#fen", "/cut "+good)
		if !strings.Contains(said, "Ann rolls 12d6") {
			t.Errorf("the true one, while the beacon is down:\n%s", said)
		}
		tb.good("#fen", b.Chain())
	}},
	{"cut one's own roll, twice, with a used word, or after the deadline", func(t *testing.T) {
		tb := newTable(t)
		tb.say("Bo", "#fen", "/tell hm")
		tb.say("Ann", "#fen", "/roll 2d6, cut by Bo")
		tb.say("Bo", "#fen", "/cut seven herons")
		size := tb.size("#fen")
		for _, c := range []struct{ who, text, wants string }{
			{"Ann", "/roll 2d6, cut by Ann", "Nobody cuts their own"}, {"Bo", "/cut seven herons", "Nothing here waits"},
		} {
			if said := tb.say(c.who, "#fen", c.text); tb.size("#fen") != size || !strings.Contains(said, c.wants) {
				t.Errorf("%s:\n%s", c.text, said)
			}
		}
		tb.say("Ann", "#fen", "/roll 2d6, cut by Bo")
		size++
		for _, c := range []struct{ who, text, wants string }{{"Ann", "/cut my own word", "for Bo to cut"}, {"Bo", "/cut seven herons", "was used"}} {
			if said := tb.say(c.who, "#fen", c.text); tb.size("#fen") != size || !strings.Contains(said, c.wants) {
				t.Errorf("%s:\n%s", c.text, said)
			}
		}
		tb.now = tb.now.Add(11 * time.Minute)
		if said := tb.say("Bo", "#fen", "/cut nine herons"); tb.size("#fen") != size || !strings.Contains(said, "was up") {
			t.Errorf("too late:\n%s", said)
		}
	}},
	{"refuse to cut", func(t *testing.T) {
		tb, b := newBeaconTable(t)
		tb.say("Bo", "#fen", "/tell hm")
		tb.wait(10 * time.Second)
		tb.say("Ann", "#fen", "/roll 6d6 5+, cut by Bo")
		if said := tb.wait(10*time.Minute + 15*time.Second); !strings.Contains(said, "Ann rolls 6d6") {
			t.Errorf("nobody rolled:\n%s", said)
		}
		tb.good("#fen", b.Chain())
	}},
	{"crash after a bad draw, before it is posted", func(t *testing.T) {
		tb := newTable(t)
		m := tb.message("Ann", "#fen", "/roll 12d6 4+")
		posts, err := tb.desk.Handle(t.Context(), m) // kept, and nothing of it is sent
		if err != nil {
			t.Fatal(err)
		}
		tb.posts = append(tb.posts, posts...)
		faces := fmt.Sprint(tb.record("#fen", -1).Faces)
		next := tb.again(nil)
		if said := next.handle(m); !strings.Contains(said, "Ann rolls 12d6") || fmt.Sprint(next.record("#fen", -1).Faces) != faces || next.size("#fen") != 3 {
			t.Errorf("after the crash:\n%s", said)
		}
	}},
	{"deliver a message twice, or many at once", func(t *testing.T) {
		tb := newTable(t)
		tb.say("Ann", "#fen", "/roll 2d6")
		m := tb.message("Ann", "#fen", "/roll 12d6 4+")
		m.Source = "test:many"
		var all sync.WaitGroup
		for i := range 20 {
			one := m
			if i%2 == 1 {
				one.Source = chat.Source(fmt.Sprintf("test:many:%d", i))
			}
			all.Add(1)
			go func() {
				defer all.Done()
				if _, err := tb.desk.Handle(t.Context(), one); err != nil {
					t.Error(err)
				}
			}()
		}
		all.Wait()
		if size := tb.size("#fen"); size != 3+1+10 {
			t.Errorf("%d entries of 11 messages, ten of them one, want 14", size)
		}
		tb.verified("#fen")
	}},
	{"ask for more dice than there are", func(t *testing.T) {
		tb := newTable(t)
		tb.say("Ann", "#fen", "/roll 2d6")
		size := tb.size("#fen")
		for _, text := range []string{"10000d6", "1001d6", "99999999999999999999d6", "1000d6 2+ 6s count twice, 2+ 6s count twice, 2+ 6s count twice, 2+", "20 times 999d6"} {
			if said := tb.say("Ann", "#fen", "/roll "+text); tb.size("#fen") != size {
				t.Errorf("%s:\n%s", text, said)
			}
		}
	}},
	{"turn the clock back, or far ahead", func(t *testing.T) {
		tb, b := newBeaconTable(t)
		tb.say("Ann", "#fen", "/roll 2d6")
		tb.wait(12 * time.Second)
		tb.now = tb.now.Add(-3 * time.Hour)
		tb.say("Ann", "#fen", "/roll 3d6")
		tb.now = tb.now.Add(400 * 24 * time.Hour)
		tb.say("Ann", "#fen", "/roll 4d6")
		tb.good("#fen", b.Chain()) // times never fall, rounds are never out already
	}},
	{"a beacon that lies, is down, or is late", func(t *testing.T) {
		tb, b := newBeaconTable(t)
		b.Down(true)
		tb.say("Ann", "#fen", "/roll 2d6")
		if said := tb.wait(2 * time.Minute); strings.Contains(said, "Ann rolls 2d6:") {
			t.Errorf("rolled without its round:\n%s", said)
		}
		b.Down(false)
		if said := tb.wait(2 * time.Minute); !strings.Contains(said, "Ann rolls 2d6:") {
			t.Errorf("the beacon is back:\n%s", said)
		}
		tb.good("#fen", b.Chain())
	}},
	{"cut a ledger short, or sign it with another key", func(t *testing.T) {
		tb := newTable(t)
		tb.say("Ann", "#fen", "/roll 2d6")
		tb.say("Ann", "#fen", "/roll 2d6")
		id, err := tb.store.Of(t.Context(), "test:#fen")
		if err != nil {
			t.Fatal(err)
		}
		note, err := tb.desk.Checkpoint(t.Context(), id, tb.size("#fen"))
		if err != nil {
			t.Fatal(err)
		}
		lines := tb.entries("#fen")
		if r := proof.Check(lines, proof.Options{Checkpoints: [][]byte{note}}); r.Fault != nil {
			t.Fatal(r.Fault)
		}
		if r := proof.Check(lines[:len(lines)-1], proof.Options{Checkpoints: [][]byte{note}}); r.Fault == nil {
			t.Error("a ledger that was cut short is good")
		}
		other := newTable(t)
		other.desk.key = append([]byte(nil), tb.desk.key...)
		other.desk.key[0] ^= 1
		other.say("Ann", "#fen", "/roll 2d6")
		theirs, err := other.store.Of(t.Context(), "test:#fen")
		if err != nil {
			t.Fatal(err)
		}
		forged, err := other.desk.Checkpoint(t.Context(), theirs, 3)
		if err != nil {
			t.Fatal(err)
		}
		if r := proof.Check(lines, proof.Options{Checkpoints: [][]byte{forged}}); r.Fault == nil {
			t.Error("a checkpoint of another key is good")
		}
	}},
	{"lose a message on purpose", func(t *testing.T) {
		tb := newTable(t)
		tb.say("Bo", "#fen", "/tell hm")
		tb.say("Ann", "#fen", "/roll 2d6, cut by Bo")
		tb.say("Cy", "#fen", "/cut end")
		r := tb.verified("#fen")
		if !slices.ContainsFunc(r.Remarks, func(m proof.Remark) bool { return m.Kind == proof.RemarkVoid && m.Of == 3 }) {
			t.Errorf("visible, not stopped: %+v", r.Remarks)
		}
	}},
}

// uncut is the round that the newest seal waits for.
func (tb *table) uncut() uint64 {
	tb.t.Helper()
	v, err := tb.desk.view(tb.t.Context(), "test:#fen")
	if err != nil {
		tb.t.Fatal(err)
	}
	return v.book.Uncut()
}

// tried are the tests of each row of docs/dice.md: what somebody may want, or a grade of
// dice. "attempt: …" is one of those above.
var tried = map[string][]string{
	"roll again until it is good":                             {"attempt: roll again until it is good"},
	"undo for better dice":                                    {"TestUndoAgain", "TestUndoCutByBeacon"},
	"foresee their own dice":                                  {"attempt: foresee dice that wait for a word", "TestCutByWord"},
	"change or drop an old roll":                              {"TestEveryByteCounts", "TestEveryByteOfAFile", "TestTamperedVectors"},
	"choose dice by wording, sender, time or further entries": {"attempt: choose dice by wording, label, sender or time"},
	"choose a seal after seeing the command, or among many":   {"attempt: choose a seal after seeing the command, or among many", "TestRenewAsked"},
	"change dice after the word or the round is known":        {"attempt: change what waits, or order something else meanwhile", "TestTamperedVectors"},
	"name a round that is already out":                        {"attempt: name a round that is already out", "TestPostTooLate", "TestClocksThatDoNotFit", "TestAhead"},
	"edit the waiting post afterwards":                        {"attempt: edit what binds"},
	"put another word for the one that was given":             {"attempt: put another word for the one that was given"},
	"forge a round, or spell its signature another way":       {"attempt: forge a round, or hand in one of another number", "TestSignaturesThatMustFail"},
	"send a wrong round, a late one, or none":                 {"attempt: a beacon that lies, is down, or is late", "TestPublishedRounds", "TestRelaysThatMisbehave", "TestBeaconGone"},
	"cut one's own roll, or have a friend do it":              {"attempt: cut one's own roll, twice, with a used word, or after the deadline"},
	"never cut": {"attempt: refuse to cut", "TestWordNeverComes"},
	"refuse to answer after a bad draw, or \"crash\"":           {"attempt: crash after a bad draw, before it is posted", "TestTroubleChangesNothing"},
	"go back to an old copy of the store":                       {"TestRestored", "TestRestoredBehind", "TestReadBack", "TestRestoredByBoth", "TestForkVectors", "TestAgainst"},
	"run a copy beside the original":                            {"TestRunningCopy"},
	"send a message twice, or many at once":                     {"attempt: deliver a message twice, or many at once", "TestSimulation"},
	"ask for more dice than there are":                          {"attempt: ask for more dice than there are"},
	"set the clock back or ahead":                               {"attempt: turn the clock back, or far ahead"},
	"cut a ledger short, or sign it with another key":           {"attempt: cut a ledger short, or sign it with another key", "TestNotWhole"},
	"lose a message or a word on purpose":                       {"attempt: lose a message on purpose"},
	"foresee sealed dice and pick what to spend them on":        {"TestNotStopped"},
	"choose the dice outright, in league with the one who cuts": {"TestNotStopped"},
	"read hidden intents, lists and standing orders early":      {"TestNotStopped"},
	"backdate the waiting post":                                 {"TestNotStopped"},
	"`sealed`; `sealed, seal not cut`":                          {"TestFirstRollWaitsForTheBeacon", "TestGradesAreSaid"},
	"`cut by NAME`":                                             {"TestCutByWord", "TestGradesAreSaid"},
	"`cut by beacon round R`":                                   {"TestPublishedRounds", "TestGradesAreSaid"},
}

// rowsOf are the first columns of a table of docs/dice.md, by its head.
func rowsOf(t *testing.T, head string) map[string]string {
	t.Helper()
	b, err := os.ReadFile("../docs/dice.md")
	if err != nil {
		t.Fatal(err)
	}
	_, table, ok := strings.Cut(string(b), head+"\n| --- | --- |\n")
	if !ok {
		t.Fatalf("docs/dice.md has no table %q", head)
	}
	rows := map[string]string{}
	for line := range strings.Lines(table) {
		cells := strings.Split(strings.TrimSpace(line), " | ")
		if len(cells) != 2 {
			break
		}
		rows[strings.TrimPrefix(cells[0], "| ")] = cells[1]
	}
	return rows
}

const (
	wantedHead = "| someone wants to | what stops it |"
	gradesHead = "| grade | fair to you if |"
)

// TestEveryRowIsTried: each row of the two tables has a test that is there, and nothing
// is tried that no row promises.
func TestEveryRowIsTried(t *testing.T) {
	named := map[string]bool{}
	for _, a := range attempts {
		named["attempt: "+a.what] = true
	}
	for _, glob := range []string{"*_test.go", "proof/*_test.go", "beacon/*_test.go", "../cmd/bot/*_test.go"} {
		files, err := filepath.Glob(glob)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range files {
			code, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range regexp.MustCompile(`(?m)^func (Test\w+)\(t \*testing\.T\)`).FindAllStringSubmatch(string(code), -1) {
				named[m[1]] = true
			}
		}
	}
	rows := rowsOf(t, wantedHead)
	maps.Copy(rows, rowsOf(t, gradesHead))
	used := map[string]bool{}
	for row := range rows {
		if len(tried[row]) == 0 {
			t.Errorf("nothing tries: %s", row)
		}
	}
	for row, tests := range tried {
		if _, ok := rows[row]; !ok {
			t.Errorf("docs/dice.md has no row: %s", row)
		}
		for _, test := range tests {
			used[test] = true
			if !named[test] {
				t.Errorf("%s: there is no test %q", row, test)
			}
		}
	}
	for _, a := range attempts {
		if !used["attempt: "+a.what] {
			t.Errorf("no row promises what %q tries", a.what)
		}
	}
	if len(rows) < 29 {
		t.Errorf("%d rows only", len(rows))
	}
}

// TestNotStopped: what these dice do not stop is said, with what helps instead; and it
// is true: whoever holds the store's secret can work out sealed dice, and a standing
// order, before they are used.
func TestNotStopped(t *testing.T) {
	rows := rowsOf(t, wantedHead)
	for row, says := range map[string]string{
		"foresee sealed dice and pick what to spend them on":        "use a cut by beacon",
		"choose the dice outright, in league with the one who cuts": "use a cut by beacon",
		"read hidden intents, lists and standing orders early":      "fixed by a hash",
		"backdate the waiting post":                                 "those present see it",
	} {
		if !strings.Contains(rows[row], "**not stopped") || !strings.Contains(rows[row], says) {
			t.Errorf("%s: %s", row, rows[row])
		}
	}
	tb := newTable(t)
	tb.say("Bo", "#fen", "/tell hm")
	v := tb.view("#fen")
	draw, err := v.book.Sealed(v.keys)
	if err != nil {
		t.Fatal(err)
	}
	for range 12 {
		draw.Draw(6)
	}
	tb.say("Ann", "#fen", "/roll 12d6 4+")
	if foreseen, fell := fmt.Sprint(draw.Faces()), fmt.Sprint(tb.record("#fen", -1).Faces); foreseen != fell {
		t.Errorf("foreseen %s, fell %s: then say that a seal stops it", foreseen, fell)
	}
}

// TestGradesAreSaid: what each way to cut dice is worth is said where it is chosen, and
// the grade stands with the dice.
func TestGradesAreSaid(t *testing.T) {
	tb, _ := newBeaconTable(t)
	tb.say("Bo", "#fen", "/tell hm")
	tb.wait(12 * time.Second)
	for _, c := range []struct{ set, fair, grade string }{
		{"sealed", "Fair if whoever runs me does not use what they foresee.", "sealed)"},
		{"beacon", "Fair if whoever runs me or the beacon is honest", "cut by beacon round"},
		{"word of Bo", "Fair if you cut, or who cuts and who runs me do not plot.", "cut by Bo"},
	} {
		m := tb.message("Cy", "#fen", "/settings dice "+c.set)
		m.Source, m.Organiser = chat.Source("test:"+c.set), true
		tb.wants(tb.handle(m), c.fair)
		said := tb.say("Ann", "#fen", "/roll 2d6")
		if strings.HasPrefix(c.set, "word") {
			said += tb.say("Bo", "#fen", "/cut seven herons")
		}
		tb.wants(said+tb.wait(15*time.Second), c.grade)
	}
	if rows := rowsOf(t, gradesHead); len(rows) != 3 {
		t.Errorf("%d grades", len(rows))
	}
}

// TestAttempts tries every row.
func TestAttempts(t *testing.T) {
	for _, a := range attempts {
		t.Run(a.what, a.try)
	}
}
