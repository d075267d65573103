package commands

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"drumhead/commands/beacon"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
)

// published are rounds of the public beacon as it gave them out; the file names its
// sources.
type published struct {
	Rounds []struct {
		Round      uint64
		Signature  string
		Randomness string
	}
	Signatures struct {
		MustFail []struct{ What, Signature string } `json:"must_fail"`
	}
}

func publishedRounds(t *testing.T) published {
	t.Helper()
	var p published
	b, err := os.ReadFile("beacon/testdata/rounds.json")
	if err == nil {
		err = json.Unmarshal(b, &p)
	}
	if err != nil || len(p.Rounds) < 4 {
		t.Fatalf("%d published rounds, %v", len(p.Rounds), err)
	}
	return p
}

// relayed is a desk whose beacon are relays on loopback, two periods before round 1001
// is due; and how a relay answers.
type relayed struct {
	*table
	answer atomic.Pointer[http.HandlerFunc]
}

func newRelayed(t *testing.T, answer http.HandlerFunc) *relayed {
	t.Helper()
	r := &relayed{table: newTable(t)}
	r.answer.Store(&answer)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) { (*r.answer.Load())(w, q) }))
	t.Cleanup(server.Close)
	relays, err := beacon.NewRelays(beacon.Quicknet(), []string{server.URL}, beacon.Config{Patience: 50 * time.Millisecond, Stagger: 10 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	r.now = beacon.Quicknet().Due(1001).Add(-2 * beacon.Quicknet().Period)
	c := Config{Store: r.store, Now: func() time.Time { return r.now }, Entropy: newEntropy(5), Name: r.desk.name, Key: r.desk.key, Beacon: relays}
	if r.desk, err = New(c); err != nil {
		t.Fatal(err)
	}
	return r
}

// honest answers as a relay does that has the published rounds.
func (p published) honest(w http.ResponseWriter, q *http.Request) {
	n, _ := strconv.ParseUint(q.URL.Path[strings.LastIndexByte(q.URL.Path, '/')+1:], 10, 64)
	for _, r := range p.Rounds {
		if r.Round == n {
			fmt.Fprintf(w, `{"round":%d,"randomness":%q,"signature":%q}`, n, r.Randomness, r.Signature)
			return
		}
	}
	http.NotFound(w, q)
}

// TestPublishedRounds: dice that a real round of the public beacon cuts. A relay that
// lies, is late or is down delays them and can do no more: once the round is there, from
// wherever, they are the ones that an honest relay would have given.
func TestPublishedRounds(t *testing.T) {
	p := publishedRounds(t)
	right, other := p.Rounds[2], p.Rounds[3]
	if right.Round != 1001 {
		t.Fatalf("round %d", right.Round)
	}
	lie := func(text string) http.HandlerFunc {
		return func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, text) }
	}
	round := func(n uint64, signature string) http.HandlerFunc {
		return lie(fmt.Sprintf(`{"round":%d,"randomness":%q,"signature":%q}`, n, right.Randomness, signature))
	}
	flipped := "8" + right.Signature[1:]
	if flipped == right.Signature {
		flipped = "9" + right.Signature[1:]
	}
	cases := map[string]http.HandlerFunc{
		"another round under this number": round(1001, other.Signature),
		"another round":                   round(1002, other.Signature),
		"one digit changed":               round(1001, flipped),
		"no signature":                    round(1001, ""),
		"no JSON":                         lie("<html>"),
		"nothing":                         lie(""),
		"an error":                        func(w http.ResponseWriter, _ *http.Request) { http.Error(w, "down", http.StatusBadGateway) },
		"not out yet":                     http.NotFound,
		"silence":                         func(_ http.ResponseWriter, q *http.Request) { <-q.Context().Done() },
		"a cut line": func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Length", "400")
			io.WriteString(w, `{"round":1001,"sig`)
		},
		"an endless answer": func(w http.ResponseWriter, q *http.Request) {
			for q.Context().Err() == nil {
				if _, err := w.Write(make([]byte, 1<<16)); err != nil {
					return
				}
			}
		},
	}
	for i, bad := range p.Signatures.MustFail {
		cases[fmt.Sprintf("reference %d: %s", i, bad.What)] = round(1001, bad.Signature)
	}
	honest := newRelayed(t, p.honest)
	honest.say("Ann", "#fen", "/roll 12d6 4+")
	honest.wants(honest.wait(12*time.Second), "Ann rolls 12d6 for 4+", "cut by beacon round 1001")
	want := honest.newest("#fen", "cut")
	if r := honest.good("#fen"); r.Rounds != 2 || r.Chain != beacon.Quicknet().Hash {
		t.Errorf("%d rounds of chain %s", r.Rounds, r.Chain)
	}
	if want.Cut != beacon.Cut(1001, right.Randomness) {
		t.Errorf("cut %s, the published randomness is %s", want.Cut, right.Randomness)
	}
	for name, answer := range cases {
		t.Run(name, func(t *testing.T) {
			tb := newRelayed(t, answer)
			tb.say("Ann", "#fen", "/roll 12d6 4+")
			if said := tb.wait(50 * time.Second); strings.Contains(said, "12d6 for 4+") || !strings.Contains(said, "I cannot reach it") {
				t.Errorf("while the relay misbehaves:\n%s", said)
			}
			if strings.Contains(name, "reference") { // somebody hands it in instead
				tb.say("Bo", "#fen", "/cut "+right.Signature)
				tb.say("Bo", "#fen", "/cut "+right.Signature)
			} else {
				better := http.HandlerFunc(p.honest)
				tb.answer.Store(&better)
				tb.wait(2 * time.Minute)
			}
			rec := tb.newest("#fen", "cut")
			if fmt.Sprint(rec.Faces) != fmt.Sprint(want.Faces) || rec.Cut != want.Cut {
				t.Errorf("%v by %s, an honest relay gives %v by %s", rec.Faces, rec.Cut, want.Faces, want.Cut)
			}
			tb.good("#fen")
		})
	}
}

// newest is the newest entry of a command.
func (tb *table) newest(place, command string) storage.Record {
	tb.t.Helper()
	for n := int(tb.size(place)) - 1; n >= 0; n-- {
		if rec := tb.record(place, n); rec.Command == command {
			return rec
		}
	}
	tb.t.Fatalf("no %s in %s", command, place)
	return storage.Record{}
}

// tardy is a platform on which posts arrive late, by its own time.
type tardy struct {
	*table
	by time.Duration
}

func (s tardy) Send(ctx context.Context, p chat.Post) (chat.Receipt, error) {
	r, err := s.table.Send(ctx, p)
	r.Time = r.Time.Add(s.by)
	return r, err
}

// TestPostTooLate: a pending post counts only if it stood in its place a period before
// its round is due, by the platform's own time; at that moment it is too late already.
// Then the entry is moved to another round, openly, and what the first one would have
// given is never rolled.
func TestPostTooLate(t *testing.T) {
	for _, c := range []struct {
		by   time.Duration
		late bool
	}{{0, false}, {2 * time.Second, false}, {3*time.Second + time.Millisecond, true}, {10 * time.Second, true}, {time.Hour, true}} {
		tb, b := newBeaconTable(t)
		tb.say("Bo", "#fen", "/tell hm")
		tb.wait(12 * time.Second)
		tb.now = b.Chain().Due(b.Chain().Next(tb.now, 0)).Add(-2 * b.Chain().Period) // just the lead that there must be
		tb.line++
		if _, err := tb.desk.Handle(t.Context(), tb.message("Ann", "#fen", "/roll 12d6 4+, cut by beacon")); err != nil {
			t.Fatal(err)
		}
		waits := tb.record("#fen", -1)
		if lead := b.Chain().Due(waits.Wait.Round).Sub(waits.Time); lead != 2*b.Chain().Period {
			t.Fatalf("a lead of %v", lead)
		}
		if err := NewPump(tb.desk, map[string]chat.Adapter{"test": tardy{tb, c.by}}).Drain(t.Context()); err != nil {
			t.Fatal(err)
		}
		moved := tb.record("#fen", -1)
		if got := moved.Command == "wait"; got != c.late {
			t.Errorf("%v late: the last entry is %s", c.by, moved.Command)
		}
		if c.late && (moved.Wait.Round <= waits.Wait.Round || !strings.Contains(tb.text(0), "came too late")) {
			t.Errorf("%v late: moved from round %d to %d", c.by, waits.Wait.Round, moved.Wait.Round)
		}
		tb.wait(20 * time.Second)
		if !strings.Contains(tb.text(0), "12d6 for 4+") {
			t.Errorf("%v late: never rolled:\n%s", c.by, tb.text(0))
		}
		r := tb.good("#fen", b.Chain())
		listed := 0
		for _, m := range r.Remarks {
			if m.Kind == proof.RemarkWait {
				listed++
			}
		}
		if listed > 0 != c.late {
			t.Errorf("%v late: a verifier lists %+v", c.by, r.Remarks)
		}
	}
}

// TestClocksThatDoNotFit: on a platform whose clock is hours ahead every post comes too
// late. An entry is moved a few times and not for ever, and the place is told why.
func TestClocksThatDoNotFit(t *testing.T) {
	tb, b := newBeaconTable(t)
	tb.say("Bo", "#fen", "/tell hm")
	tb.wait(12 * time.Second)
	tb.line++
	if _, err := tb.desk.Handle(t.Context(), tb.message("Ann", "#fen", "/roll 12d6 4+, cut by beacon")); err != nil {
		t.Fatal(err)
	}
	for range 120 {
		tb.now = tb.now.Add(time.Second)
		if err := NewPump(tb.desk, map[string]chat.Adapter{"test": tardy{tb, 5 * time.Hour}}).Drain(t.Context()); err != nil {
			t.Fatal(err)
		}
		if _, err := tb.desk.Tick(t.Context()); err != nil {
			t.Fatal(err)
		}
		tb.desk.Fetch(t.Context())
	}
	waits := 0
	for n := range int(tb.size("#fen")) {
		if tb.record("#fen", n).Command == "wait" {
			waits++
		}
	}
	if said := tb.text(0); waits != mostMoves || strings.Count(said, "moved again and again") != 1 || strings.Contains(said, "12d6 for 4+") {
		t.Errorf("moved %d times:\n%s", waits, said)
	}
	tb.say("Cy", "#fen", "/cut end")
	tb.good("#fen", b.Chain())
}
