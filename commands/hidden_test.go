package commands

import (
	"slices"
	"strings"
	"testing"

	"drumhead/commands/chat"
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

// TestHideCarriedOn: words that other posts carry on, an inherited label here, are
// hidden there too; a unit or a person that is called alike stays. An organiser who was
// seen here is told once, in private, can read them and put them back.
func TestHideCarriedOn(t *testing.T) {
	tb := newTable(t)
	tb.say("Cy", "#fen", "/roll d6") // whom the platform knows as an organiser
	tb.say("Ann", "#fen", "/roll 20d6 2+ for soggy Bo")
	seq := tb.posts[len(tb.posts)-1].Entry
	tb.say("Ann", "#fen", "/roll again 2+")
	tb.say("Ann", "#fen", "/tell soggy Bo went home")
	before := len(tb.posts)
	tb.say("Bo", "#fen", "/hide "+number64(uint64(seq)))
	var edits, told int
	for _, p := range tb.posts[before:] {
		text := flat(slices.Concat(p.Lines...))
		switch {
		case p.Edit != "":
			edits++
			if strings.Contains(text, "soggy") {
				t.Errorf("still shown:\n%s", text)
			}
		case p.To.Only == "test:cy":
			told++
			if strings.Contains(text, "soggy") || !strings.Contains(text, "Bo hid Ann's words") {
				t.Errorf("an organiser is told:\n%s", text)
			}
		}
	}
	if edits != 2 || told != 1 {
		t.Errorf("%d edits of the two rolls, an organiser was told %d times", edits, told)
	}
	show := "/hide " + number64(uint64(seq)) + " show"
	if got := tb.say("Dee", "#fen", show); strings.Contains(got, "soggy") {
		t.Errorf("anybody may look:\n%s", got)
	}
	if got := tb.say("Cy", "#fen", show); !strings.Contains(got, "soggy Bo") || tb.posts[len(tb.posts)-1].To.Only != "test:cy" {
		t.Errorf("an organiser looks:\n%s", got)
	}
	before = len(tb.posts)
	tb.say("Cy", "#fen", "/hide "+number64(uint64(seq))+" back")
	if n := len(tb.posts) - before; n != 3 || !strings.Contains(tb.text(before), "soggy Bo") {
		t.Errorf("%d posts when it is put back:\n%s", n, tb.text(before))
	}
}

// TestHideInReports: a report that hangs on an earlier post is made again without them.
func TestHideInReports(t *testing.T) {
	tb := fen(t)
	tb.say("Ann", "#fen", "/tell Bo is a soggy biscuit of a general")
	seq := tb.posts[len(tb.posts)-1].Entry
	tb.say("Bo", "#fen", "/battle concede surely")
	before := len(tb.posts)
	tb.say("Bo", "#fen", "/hide "+number64(uint64(seq)))
	reports := 0
	for _, p := range tb.posts[before:] {
		for _, f := range p.Files {
			if f.Kind == "report" && p.Edit != "" {
				reports++
				page, err := tb.desk.Make(t.Context(), f)
				if err != nil || strings.Contains(string(page), "soggy") {
					t.Errorf("%v, the page holds the words: %v", err, strings.Contains(string(page), "soggy"))
				}
			}
		}
	}
	if reports != 1 {
		t.Errorf("%d posts with a report were made again", reports)
	}
}

// TestHideAsShown: a label that could pass for the bot's own words is shown with other
// quotes, and long words are folded, perhaps with little on the last line: all of it is
// hidden.
func TestHideAsShown(t *testing.T) {
	for _, words := range []string{
		"that \"oaf\" Bo",
		"that oaf Bo who never paid a share of the boat: \"so unfair\" 5 times a day",
		"that oaf Bo who plays like a wet sock and always has old fool",
		"Oaf! that is Bo who plays like a wet sock, and always will, an oaf",
		strings.Repeat("oaf", 25),
	} {
		tb := newTable(t)
		if said := tb.say("Ann", "#fen", "/roll 2d6 for "+words); !strings.Contains(strings.ToLower(said), "oaf") {
			t.Fatalf("%s is not shown:\n%s", words, said)
		}
		seq := tb.posts[len(tb.posts)-1].Entry
		before := len(tb.posts)
		tb.say("Bo", "#fen", "/hide "+number64(uint64(seq)))
		edits := 0
		for _, p := range tb.posts[before:] {
			if p.Edit == "" {
				continue
			}
			edits++
			for _, line := range p.Lines {
				for _, s := range line {
					if s.Kind == chat.Said {
						t.Errorf("%s: %q is still shown", words, s.Text)
					}
				}
			}
		}
		if edits != 1 {
			t.Errorf("%s: %d edits", words, edits)
		}
	}
}
