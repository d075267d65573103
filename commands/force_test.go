package commands

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"

	"drumhead/commands/chat"
	"drumhead/engine/muster"
	"drumhead/engine/rules"
)

// hand gives a message with a file.
func (tb *table) hand(name, place, text, file string, bytes []byte) string {
	tb.t.Helper()
	tb.line++
	m := tb.message(name, place, text)
	m.Files = []chat.File{{Name: file, Bytes: bytes}}
	return tb.handle(m)
}

func wants(t *testing.T, got string, parts ...string) {
	t.Helper()
	for _, part := range parts {
		if !strings.Contains(got, part) {
			t.Errorf("no %q in\n%s", part, got)
		}
	}
}

const storyForce = "/force add\nWeir Militia, 500 points\n12 Pikes\n10 Crosbows\nMortar\nMarram\nBarge"

// The design's first force: a draft with two faults, mended by two taps. The
// sums are worked out by hand in engine/muster.
func TestForceStory(t *testing.T) {
	tb := newTable(t)
	got := tb.say("Ann", "@dm", storyForce)
	wants(t, got, "> test:ann\nDraft kept, 2 faults: one name, 18 points too many.",
		"Line 3, \"Crosbows\": Ferry Crossbows?",
		"\n12 Weir Pikes at 9          108\n10 Ferry Crossbows at 11    110\nBell Mortar                  95\n",
		"\nTotal                518 of 500\n", "Would fit: 10 Pikes (500), or no Mortar (423).",
		"[Crossbows, yes][10 Pikes][No Mortar][Edit]")
	got = tb.pick("Ann", "@dm", "Crossbows, yes")
	wants(t, got, "Draft kept, 1 fault: 18 points too many.", "[10 Pikes][No Mortar][Edit]")
	got = tb.pick("Ann", "@dm", "10 Pikes")
	wants(t, got, "Weir Militia saved: 500 of 500 points, 5 units, no fault.")
	wants(t, tb.say("Ann", "@dm", "/force show"), "You have 1 force here:", "Weir Militia: 500 of 500 points, 5 units.")
	wants(t, tb.say("Ann", "@dm", "/force show weir"), "Weir Militia:\n", "10 Weir Pikes at 9           90")
	if tb.size("@dm") != 0 || tb.size("table") != 0 {
		t.Error("a force made an entry")
	}
}

// The second: a faulty file, then the sound one.
func TestForceFiles(t *testing.T) {
	tb := newTable(t)
	bad, err := os.ReadFile("../testdata/forces/ropewalk-faulty.toml")
	if err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile("../testdata/forces/ropewalk.toml")
	if err != nil {
		t.Fatal(err)
	}
	wants(t, tb.hand("Bo", "@dm", "/force add", "ropewalk.toml", bad),
		"ropewalk.toml not saved: line 14,\n  save \"5\" is no target number.\nExpected 2+ to 6+, or \"none\". Example: save = \"5+\"")
	wants(t, tb.say("Bo", "@dm", "/force show"), "You have no force here yet.")
	wants(t, tb.hand("Bo", "@dm", "/force add", "ropewalk.toml", good), "Ropewalk Guild saved: 495 of 500 points, 4 units, no fault.")
	wants(t, tb.hand("Bo", "@dm", "/force add", "ropewalk.toml", good), "It replaces your earlier force of that name.")
	wants(t, tb.hand("Bo", "@dm", "/force add", "list.txt", []byte("Levy\n10 Pikes\nMarram")), "Levy saved: 175 points, 2 units, no fault.")
	wants(t, tb.hand("Bo", "@dm", "/force add", "big.toml", make([]byte, muster.MostBytes+1)), "big.toml not saved: it has 65 KB; at most 64 KB are read")
	wants(t, tb.hand("Bo", "@dm", "/force add", "odd.toml", []byte("name = \"\xff\"")), "odd.toml not saved: line 1, here it is no UTF-8 text")
	wants(t, tb.say("Bo", "@dm", "/force show"), "You have 2 forces here:")
}

func TestForceChangeAndDrop(t *testing.T) {
	tb := newTable(t)
	wants(t, tb.say("Ann", "@dm", "/force change 10 Pikes"), "You have no draft and no force here to change.")
	tb.say("Ann", "@dm", storyForce)
	wants(t, tb.say("Ann", "@dm", "/force change"), "Copy this, change it, send it:\n/force add\nWeir Militia, 500 points\n12 Weir Pikes\n10 Crosbows\n")
	wants(t, tb.say("Ann", "@dm", "/force change no Dragon"), "Your draft has no unit called \"Dragon\".")
	wants(t, tb.say("Ann", "@dm", "/force show draft"), "Your draft has 2 faults", "518 of 500")
	wants(t, tb.say("Ann", "@dm", "/force change Crossbows, yes; no Mortar"), "Weir Militia saved: 423 of 500 points, 4 units, no fault.")
	wants(t, tb.say("Ann", "@dm", "/force change yes"), "You have no draft here to change.")
	wants(t, tb.say("Ann", "@dm", "/force change no Barge"), "A saved force is changed by its name: Weir Militia.",
		"Example: /force change Weir Militia; 12 Weir Pikes") // as a choice of the old draft would
	wants(t, tb.say("Ann", "@dm", "/force change Weir Militia; no Barge"), "Weir Militia saved: 303 of 500 points, 3 units, no fault.")
	wants(t, tb.say("Ann", "@dm", "/force drop Weir"), "[Drop Weir Militia]")
	wants(t, tb.say("Ann", "@dm", "/force drop Nobody"), "You have no force called \"Nobody\" here.\nYou have: Weir Militia.")
	wants(t, tb.pick("Ann", "@dm", "Drop Weir Militia"), "Weir Militia is deleted.")
	wants(t, tb.say("Ann", "@dm", "/force drop Weir Militia"), "and no other")
	tb.say("Ann", "@dm", storyForce)
	wants(t, tb.say("Ann", "@dm", "/force drop draft"), "Your draft is deleted.")
	wants(t, tb.say("Ann", "@dm", "/force change yes"), "You have no draft and no force here to change.")
}

// What one person keeps is nobody else's, and has a limit.
func TestForcesApart(t *testing.T) {
	tb := newTable(t)
	tb.say("Ann", "@dm", "/force add\nFens, 500 points\nMarram")
	wants(t, tb.say("Bo", "@dm", "/force show"), "You have no force here yet.")
	for i := range MostForces - 1 {
		wants(t, tb.say("Ann", "@dm", fmt.Sprintf("/force add\nNumber %dx, 500 points\nMarram", i)), "saved")
	}
	wants(t, tb.say("Ann", "@dm", "/force add\nOne more, 500 points\nMarram"), "You have 40 forces here")
	wants(t, tb.say("Ann", "@dm", "/force add\nFens, 500 points\nMarram\n5 Pikes"), "It replaces your earlier force")
}

// No sentence of the force family is missing or has an empty slot.
func TestForceWords(t *testing.T) {
	tb := newTable(t)
	for _, list := range []string{
		"6 Dragons", "4 Pikes\nMarram", "Pikes\nMarram", "2 Mortar\nMarram", "10 Pikes", "Marram\nMarram",
		"10 Pikes\n5 Slingers\nTeasel", "Captain\nCaptain\nCaptain\nMarram", "Marram\n5 Pikes as A\n5 Pikes as A",
		"Marram\nMortar\nMortar\nMortar", "20 Pikes\n15 Crossbows\n12 Slingers\nMarram\nBarge\nBarge\nBarge\nBarge",
	} {
		if got := tb.say("Ann", "@dm", "/force add\nX, 500 points\n"+list); strings.Contains(got, "[[") || !strings.Contains(got, "Draft kept") {
			t.Errorf("%s: %s", list, got)
		}
	}
	for _, file := range []string{"pack = 'x'", "name = 3", "[[unit]]\nunit = 'Dragon'\n[[unit]]\nunit='Pikes'\nprofile = { save = 3, nerve = 'x', attacks = 'x', move = 9, z = 1 }", "x", "[[unit]]\n" + strings.Repeat("y = 1\n", 3), strings.Repeat("[[unit]]\n", 30)} {
		if got := tb.hand("Ann", "@dm", "/force add", "f.toml", []byte(file)); strings.Contains(got, "[[") || !strings.Contains(got, "not saved") {
			t.Errorf("%s: %s", file, got)
		}
	}
}

// BenchmarkForceAdd takes a force through the desk; the floor is reading and
// judging it.
func BenchmarkForceAdd(b *testing.B) {
	tb := newTable(b)
	p, err := rules.LoadBuiltin("osier")
	if err != nil {
		b.Fatal(err)
	}
	_, list, _ := strings.Cut(storyForce, "\n")
	b.Run("floor", func(b *testing.B) {
		for b.Loop() {
			d, err := muster.ReadSaid(p, list)
			if err != nil {
				b.Fatal(err)
			}
			d.Judge(p)
		}
	})
	b.Run("desk", func(b *testing.B) {
		for b.Loop() {
			tb.line++
			if _, err := tb.desk.Handle(context.Background(), tb.message("Ann", "@dm", storyForce)); err != nil {
				b.Fatal(err)
			}
		}
	})
}
