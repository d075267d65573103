package commands

import (
	"strings"
	"testing"
)

// TestHide: hidden words are shown nowhere any more, in no later post, gazette or
// report, whoever asks; the ledger is what it was, and only an organiser puts them
// back. Nothing that binds is ever edited.
func TestHide(t *testing.T) {
	tb := fen(t)
	insult := "Bo is a soggy biscuit of a general"
	tb.say("Ann", "#fen", "/tell "+insult)
	seq := tb.posts[len(tb.posts)-1].Entry
	size := tb.size("#fen")
	before := len(tb.posts)
	said := tb.say("Bo", "#fen", "/hide "+number64(uint64(seq)))
	edits := 0
	for _, p := range tb.posts[before:] {
		if p.Edit != "" {
			edits++
			if p.Binds {
				t.Error("a post that binds was edited")
			}
		}
	}
	if edits != 1 || strings.Contains(said, "soggy") {
		t.Errorf("%d edits:\n%s", edits, said)
	}
	for _, text := range []string{"/explain " + number64(uint64(seq)), "/proof " + number64(uint64(seq)), "/battle report", "/battle status", "/hide " + number64(uint64(seq))} {
		if said := tb.say("Ann", "#fen", text); strings.Contains(said, "soggy") {
			t.Errorf("%s:\n%s", text, said)
		}
	}
	if page := tb.report("#fen"); strings.Contains(page, "soggy") {
		t.Errorf("the report:\n%s", page)
	}
	if tb.say("Bo", "#fen", "/hide "+number64(uint64(seq))+" back"); tb.posts[len(tb.posts)-1].Error == "" {
		t.Error("anybody may put words back")
	}
	if said := tb.say("Cy", "#fen", "/hide "+number64(uint64(seq))+" back"); !strings.Contains(said, insult) {
		t.Errorf("put back:\n%s", said)
	}
	if page := tb.report("#fen"); !strings.Contains(page, "soggy") {
		t.Errorf("the report after it was put back:\n%s", page)
	}
	if now := tb.size("#fen"); now != size {
		t.Errorf("%d entries, then %d: hiding is none", size, now)
	}
}

// TestHideWhatWasCut: a roll that waited tells its label with its dice, in the post of
// its cut: there it is hidden too.
func TestHideWhatWasCut(t *testing.T) {
	tb := newTable(t)
	tb.say("Bo", "#fen", "/tell hm")
	tb.say("Ann", "#fen", "/roll 12d6 4+ for that soggy biscuit, cut by Bo")
	seq := tb.posts[len(tb.posts)-1].Entry
	if said := tb.say("Bo", "#fen", "/cut seven herons"); !strings.Contains(said, "soggy") {
		t.Fatalf("the label is not told:\n%s", said)
	}
	before := len(tb.posts)
	said := tb.say("Bo", "#fen", "/hide "+number64(uint64(seq)))
	if len(tb.posts) != before+2 || tb.posts[before+1].Edit == "" || strings.Contains(said, "soggy") || !strings.Contains(said, "(words hidden)") {
		t.Errorf("hidden:\n%s", said)
	}
}
