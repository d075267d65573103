package commands

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"fmt"
	"strings"
	"testing"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/words"
	"drumhead/engine/dice"
	"drumhead/storage"
	"drumhead/storage/mem"
)

// entropy is a practice generator: blocks of the dice stream under a fixed key.
type entropy struct{ s *dice.Stream }

func newEntropy(seed byte) *entropy {
	return &entropy{dice.NewStream("practice", 1, "none", dice.Key{seed})}
}

func (e *entropy) Read(p []byte) (int, error) {
	for i := range p {
		if e.s.Left() == 0 {
			e.s = dice.NewStream("practice", e.s.At(), "none", dice.Key{byte(e.s.At())})
		}
		p[i] = byte(e.s.Draw(256) - 1)
	}
	return len(p), nil
}

// table is a desk with a store in memory, where posts are written down as text.
type table struct {
	t     testing.TB
	desk  *Desk
	store storage.Store
	now   time.Time
	posts []chat.Post
	line  int
}

func newTable(t testing.TB) *table { return newTableOn(t, mem.New()) }

func newTableOn(t testing.TB, store storage.Store) *table {
	tb := &table{t: t, store: store, now: time.Date(2026, 10, 24, 18, 0, 0, 0, time.UTC)}
	d, err := New(Config{Store: store, Now: func() time.Time { return tb.now }, Entropy: newEntropy(1),
		Name: "practice.drumhead.local", Key: ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, 32))})
	if err != nil {
		t.Fatal(err)
	}
	tb.desk = d
	return tb
}

// Run is never called: the test itself says everything.
func (tb *table) Run(context.Context, chat.Desk) error { return nil }

// Send writes a post down.
func (tb *table) Send(_ context.Context, p chat.Post) (chat.Receipt, error) {
	tb.posts = append(tb.posts, p)
	return chat.Receipt{Ref: fmt.Sprint(len(tb.posts)), Time: tb.now}, nil
}

// Limits are those of no platform.
func (tb *table) Limits() chat.Limits { return chat.Limits{Characters: 1 << 16, Choices: 100} }

// say gives a message and returns the posts that came of it, as text.
func (tb *table) say(name, place, text string) string {
	tb.t.Helper()
	tb.line++
	return tb.handle(tb.message(name, place, text))
}

func (tb *table) message(name, place, text string) chat.Message {
	m := chat.Message{Source: chat.Source(fmt.Sprintf("test:1:%d", tb.line)), Community: "test:club",
		Place: chat.Place("test:" + place), Person: chat.Person("test:" + strings.ToLower(name)), Name: name, Text: text, Time: tb.now}
	m.Private = strings.HasPrefix(place, "@dm")
	m.Organiser = name == "Cy"
	return m
}

// pick taps a choice of the last post that has it.
func (tb *table) pick(name, place, label string) string {
	tb.t.Helper()
	for i := len(tb.posts) - 1; i >= 0; i-- {
		for _, c := range tb.posts[i].Choices {
			if c.Label == label {
				tb.line++
				m := tb.message(name, place, "")
				m.Tap = &chat.Tap{Post: tb.posts[i].ID, Number: c.Number}
				return tb.handle(m)
			}
		}
	}
	tb.t.Fatalf("no post has the choice %q", label)
	return ""
}

func (tb *table) handle(m chat.Message) string {
	tb.t.Helper()
	before := len(tb.posts)
	posts, err := tb.desk.Handle(context.Background(), m)
	if err != nil {
		tb.t.Fatalf("%s: %v", m.Text, err)
	}
	tb.posts = append(tb.posts, posts...)
	if err := NewPump(tb.desk, map[string]chat.Adapter{"test": tb}).Drain(context.Background()); err != nil {
		tb.t.Fatal(err)
	}
	return tb.text(before)
}

// text is what was posted since the n-th post.
func (tb *table) text(n int) string {
	var b strings.Builder
	for _, p := range tb.posts[n:] {
		fmt.Fprintf(&b, "> %s%s\n", p.To.Place, p.To.Only)
		for _, l := range p.Lines {
			b.WriteString(words.Flat(l) + "\n")
		}
		for _, c := range p.Choices {
			fmt.Fprintf(&b, "[%s]", c.Label)
		}
	}
	return b.String()
}

// size counts the entries of a place.
func (tb *table) size(place string) uint64 {
	id, err := tb.store.Of(context.Background(), "test:"+place)
	if err != nil {
		return 0
	}
	h, err := tb.store.Head(context.Background(), id)
	if err != nil {
		tb.t.Fatal(err)
	}
	return h.Size
}

func TestTellOpensLedgerOnce(t *testing.T) {
	tb := newTable(t)
	got := tb.say("Ann", "#fen", "/tell We hold the weir.")
	if !strings.Contains(got, "Seal #1") || !strings.Contains(got, "We hold the weir.") {
		t.Errorf("posts:\n%s", got)
	}
	if n := tb.size("#fen"); n != 3 {
		t.Errorf("%d entries, want ledger.open, seal.open, tell", n)
	}
	again := tb.handle(tb.message("Ann", "#fen", "/tell We hold the weir."))
	if again != "" || tb.size("#fen") != 3 {
		t.Errorf("a message delivered twice: %d entries, posts:\n%s", tb.size("#fen"), again)
	}
	tb.desk.live.drop("test:#fen")
	if got := tb.say("Bo", "#fen", "/tell So do we."); !strings.Contains(got, "So do we") {
		t.Errorf("after folding from the store:\n%s", got)
	}
}

func TestTalkStaysTalk(t *testing.T) {
	tb := newTable(t)
	if got := tb.say("Ann", "#fen", "lovely weather, roll on spring"); got != "" {
		t.Errorf("answered talk:\n%s", got)
	}
	if got := tb.say("Ann", "#fen", "/batle open Bo"); !strings.Contains(got, "Nothing was rolled.") {
		t.Errorf("an unknown command:\n%s", got)
	}
	if tb.size("#fen") != 0 {
		t.Error("a mistake opened a ledger")
	}
}

func TestZone(t *testing.T) {
	tb := newTable(t)
	for _, c := range []struct{ typed, want string }{
		{"europe/paris", "Europe/Paris"}, {"America/new york", "America/New_York"}, {"EST", "no place whose clocks"},
		{"Europe/Atlantis", "no place whose clocks"}, {"utc", "UTC"},
		{"los angeles", "America/Los_Angeles"}, {"Paris", "Europe/Paris"}, {"Atlantis", "\"Atlantis\" is no place whose clocks"},
	} {
		if got := tb.say("Ann", "#fen", "/me zone "+c.typed); !strings.Contains(got, c.want) {
			t.Errorf("/me zone %s:\n%swant %s", c.typed, got, c.want)
		}
	}
}

// Invited into a place, the bot says one post with one question; its choices
// are picked like any other (evening 2.1).
func TestInvited(t *testing.T) {
	tb := newTable(t)
	m := tb.message("Cy", "#club", "")
	m.Joined = true
	got := tb.handle(m)
	for _, want := range []string{"Drumhead is here", "What first?", "[Just dice][A battle][Campaign]"} {
		if !strings.Contains(got, want) {
			t.Errorf("nothing of %q in\n%s", want, got)
		}
	}
	if got := tb.pick("Cy", "#club", "A battle"); !strings.Contains(got, "/force add") {
		t.Errorf("the first steps of a battle:\n%s", got)
	}
	if tb.size("#club") != 0 {
		t.Error("a greeting made an entry")
	}
}
