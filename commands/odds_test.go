package commands

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"drumhead/commands/chat"
	"drumhead/engine/muster"
)

// TestOddsRollNothing: whatever is asked, no entry is made, no die is rolled, and
// only the asker sees it; what cannot be read has an example that can.
func TestOddsRollNothing(t *testing.T) {
	tb := fen(t)
	tb.say("Ann", "#fen", "/roll 12d6 4+")
	before := tb.size("#fen")
	for _, text := range []string{"12d6 4+", "best 2 of 3d6", "2d6 against 2d6", "again 4+", "shoot Mortar at Riders, 20 in", "Mortar at Riders", "best Crossbows",
		"charge Pikes at Guns, 7 in", "4", "#4", "99", "1", "", "nonsense", "99999d6", "d1", "best", "best Nobody", "shoot", "shoot Mortar at", "Riders at Riders",
		"move Pikes", "done", "12d6 4+; done", strings.Repeat("9", 300), "shoot Mortar at Riders\nshoot Crossbows at Riders, 20 in"} {
		said := tb.say("Ann", "#fen", "/odds "+text)
		p := tb.posts[len(tb.posts)-1]
		if p.To.Only != "test:ann" {
			t.Errorf("%q is told to %v", text, p.To)
		}
		if p.Error == "broken" || len(p.Lines) == 0 {
			t.Errorf("%q:\n%s", text, said)
		}
		if p.Error == "" && len(p.Law) == 0 {
			t.Errorf("%q has no law:\n%s", text, said)
		}
		sum := 0.0
		for _, chance := range p.Law {
			sum += chance
		}
		if p.Law != nil && math.Abs(sum-1) > 1e-12 {
			t.Errorf("%q: the chances add up to %v", text, sum)
		}
		if m := regexp.MustCompile(`(?m)^Example: (/odds .*)$`).FindStringSubmatch(said); m != nil {
			if again := tb.say("Ann", "#fen", m[1]); tb.posts[len(tb.posts)-1].Error != "" {
				t.Errorf("%q: its example %q is refused:\n%s", text, m[1], again)
			}
		}
	}
	if after := tb.size("#fen"); after != before {
		t.Errorf("%d entries before, %d after", before, after)
	}
}

// One step is worth saying: that a single die shows a 6 has one chance in six,
// 17%, by arithmetic.
func TestOddsOfOneStep(t *testing.T) {
	tb := newTable(t)
	wants(t, tb.say("Ann", "#fen", "/odds 1d6 6+"), "0: 83%.", "At least 1: 17%.")
}

// The example that is shown to who has no force can be typed as it stands.
func TestExampleOfAForce(t *testing.T) {
	tb := newTable(t)
	wants(t, tb.say("Ann", "#fen", "/battle open 500 Drowned Bridge"), "You have no saved force yet.\nExample: "+muster.Example)
	wants(t, tb.say("Ann", "@dm", muster.Example), "saved")
}

// What a roll that came to nothing would have taken: by hand, one 6 among three
// dice has 1 − (5/6)³ = 42 %.
func TestWhatItWouldHaveTaken(t *testing.T) {
	tb := newTable(t)
	for range 40 {
		got := tb.say("Ann", "#fen", "/roll 3d6 6+")
		if !strings.Contains(got, ": 0 successes") {
			continue
		}
		entry := got[strings.Index(got, "(#")+2:]
		entry, _, _ = strings.Cut(entry, ",")
		wants(t, tb.say("Ann", "#fen", "/odds "+entry), "It was 0", "What it would have taken: one 6+ among those 3 dice; 42%.")
		return
	}
	t.Fatal("forty rolls of three dice, and none without a 6")
}

// TestOddsOfWhatStandsOnNoLine: rolls that come of themselves, as when a move is passed,
// have no number of their own, and none is offered.
func TestOddsOfWhatStandsOnNoLine(t *testing.T) {
	tb := fen(t)
	a := tb.desk.ask(chat.Message{Person: "test:Ann", Place: "test:#fen"})
	a.here = tb.view("#fen")
	for line, offered := range map[int]bool{0: false, 2: true} {
		one := likelihood{brief: a.say("odds.answer", "what", "A", "answer", "B"), line: line}
		got, err := looker{field{ask: a, view: a.here}, 9}.post([]likelihood{one, one, one}, false)
		if err != nil {
			t.Fatal(err)
		}
		text := ""
		for _, l := range got.posts[0].Lines {
			text += flat(l) + "\n"
		}
		if strings.Contains(text, "/odds 9") != offered {
			t.Errorf("of line %d:\n%s", line, text)
		}
	}
}

// TestOddsOfOneDie: of one die it is not said that it is one among those.
func TestOddsOfOneDie(t *testing.T) {
	tb := newTable(t)
	for range 40 {
		tb.say("Ann", "#fen", "/roll 1d6 6+")
		entry := number64(uint64(tb.posts[len(tb.posts)-1].Entry))
		if got := tb.say("Ann", "#fen", "/odds "+entry); strings.Contains(got, "It was 0") {
			wants(t, got, "one 6+ on the 1 die; 17%")
			return
		}
	}
	t.Fatal("forty rolls of one die, and nothing but a 6")
}
