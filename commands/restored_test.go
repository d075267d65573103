package commands

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
)

// again opens a desk on the store of a table, as a process does that starts on a
// data directory which was put back or copied.
func (tb *table) again(reread chat.Rereader) *table {
	tb.t.Helper()
	d, err := New(Config{Store: tb.store, Now: tb.desk.now, Entropy: newEntropy(9), Name: tb.desk.name, Key: tb.desk.key, Reread: reread})
	if err != nil {
		tb.t.Fatal(err)
	}
	tb.line += 1000
	return &table{t: tb.t, desk: d, store: tb.store, now: tb.now, line: tb.line}
}

func (tb *table) verified(place string) proof.Report {
	tb.t.Helper()
	r := proof.Check(tb.entries(place), proof.Options{Replay: proof.NewReplay(tb.desk.file)})
	if r.Fault != nil {
		tb.t.Errorf("%s: %+v", place, r.Fault)
	}
	return r
}

// TestRestored: a store that was put back adds nothing to a ledger and rolls nothing
// before an organiser has said what the chat knows. If nothing is missing a new seal
// takes over, and no key of the old one is ever shown again.
func TestRestored(t *testing.T) {
	old := newTable(t)
	old.say("Ann", "#fen", "/roll 12d6 4+")
	old.say("Bo", "#fen", "/tell hm")
	if err := MarkRestored(t.Context(), old.store); err != nil {
		t.Fatal(err)
	}
	tb := old.again(nil)
	size := tb.size("#fen")
	for _, text := range []string{"/roll 2d6", "/tell once more", "/roll 2d6, cut by Bo"} {
		if said := tb.say("Ann", "#fen", text); !strings.Contains(said, "put back or copied") || tb.size("#fen") != size {
			t.Errorf("%s:\n%s", text, said)
		}
	}
	if said := tb.say("Ann", "#other", "/roll 2d6"); !strings.Contains(said, "Ann rolls") {
		t.Errorf("a place that has no ledger yet:\n%s", said)
	}
	for _, c := range []struct{ who, text string }{{"Ann", "/settings restored 3"}, {"Cy", "/settings restored -1"}} {
		if said := tb.say(c.who, "#fen", c.text); tb.posts[len(tb.posts)-1].Error == "" || tb.size("#fen") != size {
			t.Errorf("%s by %s:\n%s", c.text, c.who, said)
		}
	}
	said := tb.say("Cy", "#fen", "/settings restored "+number64(size-1))
	if !strings.Contains(said, "goes on under a new seal") || !strings.Contains(said, "old keys are given up") {
		t.Errorf("settled:\n%s", said)
	}
	if said := tb.say("Ann", "#fen", "/roll 2d6"); !strings.Contains(said, "Ann rolls 2d6") {
		t.Errorf("rolled again:\n%s", said)
	}
	r := tb.verified("#fen")
	if len(r.Remarks) != 2 || r.Remarks[1].Kind != proof.RemarkGivenUp || r.Remarks[1].Why != proof.Restored || r.Seals != 2 {
		t.Errorf("remarks %+v, %d seals", r.Remarks, r.Seals)
	}
	if said := tb.say("Cy", "#fen", "/settings restored 3"); !strings.Contains(said, "Nothing here was restored") {
		t.Errorf("settled twice:\n%s", said)
	}
}

// TestRestoredBehind: if the chat knows more, the old ledger ends as it is and a new
// one names it, so that no second history is made.
func TestRestoredBehind(t *testing.T) {
	old := newTable(t)
	old.say("Ann", "#fen", "/roll 12d6 4+")
	before := old.entries("#fen")
	id, err := old.store.Of(t.Context(), "test:#fen")
	if err != nil {
		t.Fatal(err)
	}
	if err := MarkRestored(t.Context(), old.store); err != nil {
		t.Fatal(err)
	}
	tb := old.again(nil)
	said := tb.say("Cy", "#fen", fmt.Sprintf("/settings restored %d", len(before)+5))
	if !strings.Contains(said, "a new one begins") {
		t.Fatalf("settled:\n%s", said)
	}
	tb.say("Ann", "#fen", "/roll 2d6")
	r := tb.verified("#fen")
	if r.From == nil || r.From.Ledger != id.String() || r.From.Size != uint64(len(before)) || r.From.Why != proof.Restored {
		t.Errorf("the new ledger goes on from %+v", r.From)
	}
	if head, err := tb.store.Head(t.Context(), id); err != nil || head.Size != uint64(len(before)) {
		t.Errorf("the old ledger has %d entries now, %d before, %v", head.Size, len(before), err)
	}
}

// TestRestoredWaiting: what waits for a word when the store is put back is ended,
// since the chat may have seen its key; what was ordered can be said anew.
func TestRestoredWaiting(t *testing.T) {
	old := newTable(t)
	old.say("Bo", "#fen", "/tell hm")
	old.say("Ann", "#fen", "/roll 12d6 4+, cut by Bo")
	if err := MarkRestored(t.Context(), old.store); err != nil {
		t.Fatal(err)
	}
	tb := old.again(nil)
	if said := tb.say("Bo", "#fen", "/cut seven herons"); !strings.Contains(said, "put back or copied") {
		t.Errorf("a word for an old key:\n%s", said)
	}
	said := tb.say("Cy", "#fen", "/settings restored "+number64(tb.size("#fen")-1))
	if !strings.Contains(said, "its key is lost") {
		t.Errorf("settled:\n%s", said)
	}
	if said := tb.say("Bo", "#fen", "/cut seven herons"); !strings.Contains(said, "Nothing here waits") {
		t.Errorf("a word too late:\n%s", said)
	}
	r := tb.verified("#fen")
	if r.Waiting != 0 || r.Draws != 1 {
		t.Errorf("%d wait, %d draws", r.Waiting, r.Draws)
	}
}

// shown is a chat that shows our own posts.
type shownPosts []chat.Seen

func (s shownPosts) Own(context.Context, chat.Place, int) ([]chat.Seen, error) { return s, nil }

// TestRunningCopy: a copy of a data directory that runs beside the original is told
// by the posts that it has not made: it adds nothing from then on. Where every post
// is known nothing is doubted.
func TestRunningCopy(t *testing.T) {
	old := newTable(t)
	old.say("Ann", "#fen", "/roll 12d6 4+")
	known := shownPosts{{Ref: "7", Post: "free/an answer"}}
	for _, p := range old.posts {
		known = append(known, chat.Seen{Post: p.ID, Ref: "1"})
	}
	if said := old.again(known).say("Ann", "#fen", "/roll 2d6"); !strings.Contains(said, "Ann rolls 2d6") {
		t.Errorf("every post is known:\n%s", said)
	}
	id, err := old.store.Of(t.Context(), "test:#fen")
	if err != nil {
		t.Fatal(err)
	}
	foreign := append(shownPosts{{Post: StoredID(storage.PostID{Ledger: id, Seq: old.size("#fen") + 2}), Ref: "of the other process"}}, known...)
	tb := old.again(foreign)
	size := tb.size("#fen")
	if said := tb.say("Ann", "#fen", "/roll 2d6"); !strings.Contains(said, "put back or copied") || tb.size("#fen") != size {
		t.Errorf("a post that is not ours:\n%s", said)
	}
	if said := old.again(nil).say("Ann", "#fen", "/roll 2d6"); !strings.Contains(said, "put back or copied") {
		t.Errorf("the doubt is forgotten by the next start:\n%s", said)
	}
}
