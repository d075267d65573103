package commands

import (
	"os"
	"strings"
	"testing"

	"drumhead/commands/chat"
)

// atBattle is a table with a campaign and a battle, Ann to move.
func atBattle(t testing.TB) *table {
	t.Helper()
	tb := newTable(t)
	tb.say("Cy", "#osier", "/campaign start osier")
	tb.say("Ann", "#osier", "/campaign join Withy Lock")
	tb.say("Bo", "#osier", "/campaign join Lock Hill")
	for who, file := range map[string]string{"Ann": "weir.toml", "Bo": "ropewalk.toml"} {
		b, err := os.ReadFile("../testdata/forces/" + file)
		if err != nil {
			t.Fatal(err)
		}
		tb.line++
		m := tb.message(who, "#fen", "/force add")
		m.Files = []chat.File{{Name: file, Bytes: b}}
		tb.handle(m)
	}
	tb.say("Ann", "#fen", "/battle open Bo 500 Last Ferry")
	if got := tb.pick("Bo", "#fen", "Accept"); !strings.Contains(got, "roll-off") {
		t.Fatalf("the battle did not begin:\n%s", got)
	}
	return tb
}

// mover is whose move it is, by what the board says.
func (tb *table) mover() (who, other string) {
	if strings.Contains(tb.say("Cy", "#fen", "/battle status"), "Ann to move") {
		return "Ann", "Bo"
	}
	return "Bo", "Ann"
}

// TestMistakes gives what people get wrong. Each is answered with what was wrong
// and an example, makes no entry anywhere, and rolls nothing.
func TestMistakes(t *testing.T) {
	tb := atBattle(t)
	mover, waits := tb.mover()
	unit, other := "Pikes", "Riders"
	if mover == "Bo" {
		unit, other = "Riders", "Pikes"
	}
	for _, c := range []struct{ name, who, text, says string }{
		{"unknown command", mover, "/batle open Bo", "battle"},
		{"unknown subcommand", mover, "/battle opem Bo", "open"},
		{"no dice", mover, "/roll 0d6", "1 to 1000"},
		{"one side", mover, "/roll d1", "2 to 1000"},
		{"too many dice", mover, "/roll 99999d6", "1000"},
		{"a need beyond the die", mover, "/roll 12d6 7+", "6+"},
		{"nothing to carry", mover, "/roll again 4+", "no successes"},
		{"not dice at all", mover, "/roll the dice", "Example: /roll"},
		{"unknown unit", mover, "/order hold Dragoons", "dragoons"},
		{"the other's unit", mover, "/order hold " + other, "Your units"},
		{"not your turn", waits, "/order done", "turn"},
		{"wrong phase", mover, "/order shoot " + unit + " at " + other + "; move " + unit + " 3 in", ""},
		{"a charge without its distance", mover, "/order charge " + unit + " at " + other, "Example"},
		{"control characters", mover, "/order hold \x1b[31mPikes", "control"},
		{"not UTF-8", mover, "/roll 12d6 \xff\xfe", "UTF-8"},
		{"too long", mover, "/tell " + strings.Repeat("mud ", 4000), "characters"},
		{"no battle to agree to", mover, "/battle agree", ""},
		{"an entry that is not there", mover, "/explain 4711", "4711"},
		{"a zone that stands still", mover, "/me zone EST", "zone"},
		{"no such region", mover, "/result Ann beat Bo 7 to 5 at Atlantis", "Atlantis"},
		{"a result that is none", mover, "/result we had fun", "Example"},
		{"a campaign twice", "Cy", "/campaign start osier", ""},
		{"no such scenario", mover, "/battle open " + waits + " 500 Battle of Nowhere", "Example"},
		{"no points", mover, "/battle open " + waits + " 0 Last Ferry", "1 to"},
		{"no turns", mover, "/battle open " + waits + " 500 Last Ferry, 0 turns", "1 to 20"},
		{"too few points", mover, "/battle open " + waits + " 3 Last Ferry", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			fen, osier := tb.size("#fen"), tb.size("#osier")
			place := "#fen"
			if strings.HasPrefix(c.text, "/campaign") {
				place = "#osier"
			}
			before := len(tb.posts)
			got := tb.say(c.who, place, c.text)
			if tb.size("#fen") != fen || tb.size("#osier") != osier {
				t.Errorf("%q made an entry:\n%s", c.text, got)
			}
			posts := tb.posts[before:]
			if len(posts) != 1 || posts[0].Error == "" || posts[0].Error == "broken" {
				t.Fatalf("%q: one error was expected, with its code:\n%s", c.text, got)
			}
			if !strings.Contains(got, c.says) {
				t.Errorf("%q: nothing of %q in\n%s", c.text, c.says, got)
			}
			if !strings.Contains(got, "Example: ") {
				t.Errorf("%q: no example:\n%s", c.text, got)
			}
			if strings.Contains(got, "[[") {
				t.Errorf("%q: a sentence is missing:\n%s", c.text, got)
			}
		})
	}
}

// TestFilesHandedIn refuses what is no force, and keeps what was there.
func TestFilesHandedIn(t *testing.T) {
	tb := newTable(t)
	for name, b := range map[string][]byte{
		"too large": []byte(strings.Repeat("x", 3<<20)), "not UTF-8": {0xff, 0xfe, 0x00}, "empty": {}, "not TOML": []byte("name = ="),
		"control": []byte("name = \"a\x1bb\"\n"),
	} {
		tb.line++
		m := tb.message("Ann", "@dm", "/force add")
		m.Files = []chat.File{{Name: "f.toml", Bytes: b}}
		if got := tb.handle(m); got == "" || strings.Contains(got, "no fault") || strings.Contains(got, "Something went wrong") {
			t.Errorf("%s:\n%s", name, got)
		}
	}
	if got := tb.say("Ann", "@dm", "/force show"); strings.Contains(got, "f.toml") {
		t.Errorf("something was kept:\n%s", got)
	}
}
