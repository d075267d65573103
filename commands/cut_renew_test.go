package commands

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/storage"
)

// TestRenewedWithoutAGap: a seal that nears its end is followed by one that was opened
// and cut before its last key is taken: every roll is answered, each takes the next
// key, and no key is left over.
func TestRenewedWithoutAGap(t *testing.T) {
	tb, b := newBeaconTable(t)
	tb.desk.length = 20
	tb.say("Ann", "#fen", "/roll d6")
	tb.wait(12 * time.Second)
	for range 60 {
		if got := tb.say("Ann", "#fen", "/roll d6"); !strings.Contains(got, "Ann rolls d6") && !strings.Contains(got, "waits for its cut") {
			t.Fatalf("a roll is refused:\n%s", got)
		}
		tb.wait(2 * time.Second)
	}
	tb.wait(12 * time.Second)
	var seal string
	var draw uint64
	spent := 0
	for _, line := range tb.entries("#fen") {
		rec, err := storage.Parse(line)
		if err != nil {
			t.Fatal(err)
		}
		if rec.Draw == 0 {
			continue
		}
		if rec.Seal != seal {
			if seal != "" && draw != 20 {
				t.Errorf("%d of 20 keys were taken when the next seal took over", draw)
			}
			seal, draw = rec.Seal, 0
			spent++
		}
		if draw++; rec.Draw != draw {
			t.Fatalf("draw %d, want %d", rec.Draw, draw)
		}
		if rec.Wait != nil && rec.Seq > 3 {
			t.Errorf("#%d waits: its seal was not cut when it took over", rec.Seq)
		}
	}
	r := tb.good("#fen", b.Chain())
	if spent < 3 || r.Draws != 61 || len(r.Remarks) != 1 {
		t.Errorf("%d seals drawn from, %d draws, remarks %+v", spent, r.Draws, r.Remarks)
	}
	if got := tb.text(0); strings.Count(got, "nearly used up") != r.Seals-1 {
		t.Errorf("%d seals, and posts tell otherwise:\n%s", r.Seals, got)
	}
}

// TestRenewAsked: anybody may ask for a new seal. It takes over at once, what was left
// of the old one is said and listed by every verifier, and nobody turns over seals until
// one pleases. Asked twice by one message it is opened once.
func TestRenewAsked(t *testing.T) {
	tb, b := newBeaconTable(t)
	tb.wants(tb.say("Bo", "#fen", "/cut renew"), "Nothing")
	tb.say("Ann", "#fen", "/roll d6")
	tb.wants(tb.say("Bo", "#fen", "/cut renew"), "waits for beacon round")
	tb.wait(12 * time.Second)
	tb.say("Ann", "#fen", "/roll d6")
	tb.line++
	m := tb.message("Bo", "#fen", "/cut Renew")
	tb.wants(tb.handle(m), "Bo asked for a new seal; 4094 rolls of the old one are given up", "Beacon round")
	opened := tb.record("#fen", -1)
	size := tb.size("#fen")
	if tb.handle(m); tb.size("#fen") != size || opened.Command != "seal.open" {
		t.Errorf("%s, and %d entries more by the same message", opened.Command, tb.size("#fen")-size)
	}
	tb.wants(tb.say("Ann", "#fen", "/roll 2d6"), "waits for its cut") // the new seal is not cut yet
	tb.wants(tb.wait(12*time.Second), "Ann rolls 2d6")
	tb.say("Ann", "#fen", "/roll 3d6")
	tb.say("Bo", "#fen", "/cut renew")
	tb.wait(12 * time.Second)
	tb.wants(tb.say("Bo", "#fen", "/cut renew"), "Nothing was rolled from this seal yet")
	r := tb.good("#fen", b.Chain())
	given := 0
	for _, m := range r.Remarks {
		if m.Kind == proof.RemarkGivenUp && m.Why == proof.Asked {
			given++
		}
	}
	if given != 2 || r.Seals != 3 {
		t.Errorf("%d seals, remarks %+v", r.Seals, r.Remarks)
	}
}

// While a word is awaited no seal is renewed: the key that waits would be lost.
func TestRenewWhileAWordIsAwaited(t *testing.T) {
	tb := newTable(t)
	tb.say("Bo", "#fen", "/roll d6")
	tb.say("Ann", "#fen", "/roll 2d6, cut by Bo")
	size := tb.size("#fen")
	if got := tb.say("Ann", "#fen", "/cut renew"); tb.size("#fen") != size || !strings.Contains(got, "waits for a word of Bo") {
		t.Errorf("it was:\n%s", got)
	}
}

// A word that is owed shows in /due wherever it is owed, with its deadline and what it
// is worth; who asks for it may say how long it is waited for.
func TestWordOwed(t *testing.T) {
	tb := newTable(t)
	tb.say("Bo", "#fen", "/roll d6")
	for _, c := range []struct {
		text string
		wait time.Duration
	}{{"/roll 2d6, cut by Bo within 2 hours", 2 * time.Hour}, {"/roll 2d6, cut by Bo in 45 min", 45 * time.Minute}, {"/roll 2d6 cut by Bo 1h", time.Hour}, {"/roll 2d6, cut by Bo", wordWait}} {
		tb.say("Ann", "#fen", c.text)
		rec := tb.record("#fen", -1)
		if rec.Wait == nil || rec.Wait.Until.Sub(rec.Time) != c.wait {
			t.Errorf("%s: %+v", c.text, rec.Wait)
			continue
		}
		got := tb.say("Bo", "@dm", "/due")
		tb.wants(got, fmt.Sprintf("Ann waits for a word of yours at #%d; fair to you, since you cut", rec.Seq), "[Cut]")
		tb.pickForm("Bo", "@dm", "Cut", "word of "+c.text)
		tb.wants(tb.say("Bo", "@dm", "/due"), "Nothing waits")
	}
	size := tb.size("#fen")
	for _, text := range []string{"/roll 2d6, cut by Bo within 0 minutes", "/roll 2d6, cut by Bo within 25 hours", "/roll 2d6, cut by Bo within 999999 hours"} {
		tb.wants(tb.say("Ann", "#fen", text), "at least a minute and at most 24 hours")
	}
	if tb.size("#fen") != size {
		t.Error("a refusal made an entry")
	}
	tb.line++
	m := tb.message("Cy", "#fen", "/settings dice word of Ann and Bo within 3 hours")
	m.Organiser = true
	tb.wants(tb.handle(m), "A word is waited for 180 minutes.")
	tb.say("Ann", "#fen", "/roll 2d6")
	if rec := tb.record("#fen", -1); rec.Wait == nil || rec.Wait.Until.Sub(rec.Time) != 3*time.Hour {
		t.Errorf("by the setting: %+v", rec.Wait)
	}
	tb.say("Bo", "#fen", "/cut seven herons")
	tb.good("#fen")
}

// TestBeaconGone: a place where something waits is told once that the beacon cannot be
// reached, what that means and what anybody can do; and again only after it was back.
func TestBeaconGone(t *testing.T) {
	tb, b := newBeaconTable(t)
	b.Down(true)
	tb.say("Ann", "#fen", "/roll 2d6")
	early := tb.wait(25 * time.Second)
	if strings.Contains(early, "cannot reach it") {
		t.Errorf("told at once:\n%s", early)
	}
	got := tb.wait(10 * time.Minute)
	tb.wants(got, "is out, and I cannot reach it", "No die changes by it", "hand it in: /cut")
	if n := strings.Count(got, "I cannot reach it"); n != 1 {
		t.Errorf("told %d times", n)
	}
	b.Down(false)
	tb.wants(tb.wait(3*time.Minute), "Ann rolls 2d6:")
	b.Down(true)
	tb.say("Ann", "#fen", "/roll 3d6, cut by beacon")
	tb.wants(tb.wait(2*time.Minute), "I cannot reach it")
	b.Down(false)
	tb.wait(2 * time.Minute)
	tb.good("#fen", b.Chain())
}

// TestDayEndsWithACheckpoint: whatever was added in a day is bound by its end, also
// where nobody says anything any more; a day of nothing brings nothing. 64 draws of a
// seal bring one too, and what a post has bound already needs no more.
func TestDayEndsWithACheckpoint(t *testing.T) {
	tb := newTable(t)
	tb.say("Ann", "#fen", "/tell One line, and then silence.")
	bound := func() (sizes []string) {
		for _, p := range tb.posts {
			for _, f := range p.Files {
				if f.Kind == "checkpoint" {
					if !p.Binds || p.Edit != "" {
						t.Errorf("a checkpoint that does not bind: %v", p.Lines)
					}
					sizes = append(sizes, fmt.Sprint(f.Last))
				}
			}
		}
		return sizes
	}
	tb.turns()
	if got := fmt.Sprint(bound()); got != "[]" {
		t.Errorf("before the day is over: checkpoints over %s", got)
	}
	tb.now = tb.now.Add(24 * time.Hour)
	again := tb.again(nil) // a process that starts anew knows what was left unbound
	again.turns()
	if n := len(again.posts); n != 1 || again.posts[0].Files[0].Last != 3 || !again.posts[0].Binds || again.size("#fen") != 3 {
		t.Errorf("%d posts at the end of the day, %d entries", n, again.size("#fen"))
	}
	tb.now = tb.now.Add(4 * 24 * time.Hour)
	tb.desk, tb.posts = again.desk, nil
	tb.turns()
	tb.again(nil).turns()
	if len(tb.posts) != 0 {
		t.Errorf("a day of nothing brings %v", tb.posts[0].Lines)
	}
	for range 70 {
		tb.say("Ann", "#fen", "/roll d6")
	}
	if got := fmt.Sprint(bound()); got != "[67]" {
		t.Errorf("after 70 draws: checkpoints over %s", got)
	}
	tb.now = tb.now.Add(24 * time.Hour)
	tb.turns()
	if got := fmt.Sprint(bound()); got != "[67 73]" {
		t.Errorf("after that day: checkpoints over %s", got)
	}
	tb.good("#fen")
	posts := len(tb.posts)
	tb.say("Bo", "#fen", "/proof")
	if p := tb.posts[posts]; !p.Binds {
		t.Error("a checkpoint on request does not bind")
	}
	tb.say("Bo", "#fen", "/proof 4")
	if p := tb.posts[len(tb.posts)-1]; !p.Binds || p.To.Only != chat.Person("") {
		t.Error("the proof of a roll, with its checkpoint, does not bind")
	}
}
