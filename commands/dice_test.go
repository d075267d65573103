package commands

import (
	"encoding/json"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/engine/attack"
	"drumhead/engine/dice"
	"drumhead/engine/sentence"
	"drumhead/storage"
)

// told1 is the post of a roll as text, with faces given instead of drawn.
func told1(t *testing.T, text, label string, faces ...[]int) string {
	t.Helper()
	desk := newTable(t).desk
	s, err := sentence.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	var o sentence.Outcome
	d := dice.NewShown(faces)
	if err := dice.Try(func() error { o = s.Roll(d); return d.Done() }); err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	game := proof.NewGame(nil)
	game.Rooms[proof.Rolling{}.Name()] = proof.Rolls{{Seq: 31, Dice: s.Plain(), Carry: o.Carry}}
	v := &view{desk: desk, game: game}
	r := rolled{view: v, seq: 31, by: "p1", rec: storage.Record{Cut: uncut}, label: label, sentence: s, outcome: o}
	var b strings.Builder
	for _, l := range r.lines() {
		flat := words.Flat(l)
		if n := len([]rune(flat)); n > wide && label == "" {
			t.Errorf("%q: %d characters in %q", text, n, flat)
		}
		b.WriteString(flat + "\n")
	}
	for _, c := range r.choices() {
		b.WriteString("[" + c.Label + "]")
	}
	return b.String()
}

// Posts of rolls, worded as on the evening. Who is unknown here is "a player".
func TestRollPosts(t *testing.T) {
	sixes := make([]int, 61)
	for i := range sixes {
		sixes[i] = 1 + i%6
	}
	sixes[0] = 6
	for _, c := range []struct {
		text, label string
		faces       [][]int
		want        string
	}{
		{"12d6 4+", "", [][]int{{6, 6, 3, 6, 5, 4, 4, 3, 3, 2, 1, 1, 1}},
			"a player rolls 12d6 for 4+: 5 successes.\n6 6 5 4 4 · 3 3 3 2 1 1 1 (#31, sealed, seal not cut)\nCarry 5 on:\n[2+][3+][4+][5+][6+]"},
		{"20d6 3+", "Rope Guard", [][]int{{6, 6, 6, 6, 5, 5, 5, 4, 4, 4, 3, 3, 3, 3, 2, 2, 2, 1, 1, 1, 1}},
			"Rope Guard, a player: 20d6 for 3+, 13 successes.\n6 6 6 5 5 5 4 4 4 3 3 3 3 · 2 2 2 1 1 1 1\n(#31, sealed, seal not cut)\nCarry 13 on:\n[2+][3+][4+][5+][6+]"},
		{"7d6 save 5+", "", [][]int{{6, 6, 5, 4, 3, 2, 1, 1}},
			"a player saves 7d6 for 5+: 2 saved, 5 go through.\n6 5 · 4 3 2 1 1 (#31, sealed, seal not cut)\n"},
		{"20d6 3+, 4+, save 5+", "", [][]int{{6, 6, 6, 5, 5, 5, 4, 4, 4, 4, 3, 3, 3, 3, 3, 2, 2, 2, 1, 1, 1,
			6, 5, 4, 4, 4, 3, 3, 2, 2, 2, 1, 1, 1, 4, 6, 6, 5, 4, 2, 1}},
			"a player: 20d6, 14, then 6, 3 saved: 3 go through.\n3+: 6 6 5 5 5 4 4 4 4 3 3 3 3 3 · 2 2 2 1 1 1\n4+: 6 5 4 4 4 4 · 3 3 2 2 2 1 1 1\nsave 5+: 6 6 5 · 4 2 1. Expected 4.4.\n(#31, sealed, seal not cut)\n"},
		{"2d6", "", [][]int{{6, 4, 3}}, "a player rolls 2d6: 7.\n4 3 (#31, sealed, seal not cut)\n"},
		{"2d6-d3+1", "", [][]int{{6, 4, 3}, {3, 2}}, "a player rolls 2d6-d3+1: 6.\n4 3, less 2, +1 (#31, sealed, seal not cut)\n"},
		{"d66", "", [][]int{{6, 2, 5}}, "a player rolls d66: 25.\n2 5 (#31, sealed, seal not cut)\n"},
		{"best 2 of 3d6", "", [][]int{{6, 2, 5, 4}}, "a player rolls best 2 of 3d6: 9.\n5 4 · 2 (#31, sealed, seal not cut)\n"},
		{"2 times best 2 of 3d6", "", [][]int{{6, 2, 5, 4, 1, 1, 6}},
			"a player rolls 2 times best 2 of 3d6: 9, 7.\n1) 5 4 · 2\n2) 6 1 · 1 (#31, sealed, seal not cut)\n"},
		{"2d6 total 9+", "", [][]int{{6, 5, 4}}, "a player rolls 2d6 total 9+: 9, made.\n5 4 (#31, sealed, seal not cut)\n"},
		{"2d6 total 9+", "", [][]int{{6, 4, 4}}, "a player rolls 2d6 total 9+: 8, missed.\n4 4 (#31, sealed, seal not cut)\n"},
		{"2d6 against 2d6", "", [][]int{{6, 4, 4, 5, 4}}, "a player rolls 2d6 against 2d6: 8 to 9, the second wins.\n2d6: 4 4\n2d6: 5 4 (#31, sealed, seal not cut)\n"},
		{"3d6 4+ against 2d6 5+", "", [][]int{{6, 4, 5, 6, 5, 1}},
			"a player rolls 3d6 4+ against 2d6 5+: 3 less 1, 2 are left.\n4+: 6 5 4\n5+: 5 · 1 (#31, sealed, seal not cut)\nCarry 2 on:\n[2+][3+][4+][5+][6+]"},
		{"2d6 open-ended", "", [][]int{{6, 6, 3, 6, 1}}, "a player rolls 2d6 open-ended: 16.\n6+6+1 3 (#31, sealed, seal not cut)\n"},
		{"d20 12 or less", "", [][]int{{20, 12}}, "a player rolls d20 for 12 or less: 1 success.\n12 (#31, sealed, seal not cut)\nCarry 1 on, as /roll again #31 20+\n"},
		{"3d6 4+ reroll misses", "", [][]int{{6, 4, 1, 2, 6, 3}}, "a player rolls 3d6 for 4+ reroll misses: 2 successes.\n6 4 · 3 (2 again) (#31, sealed, seal not cut)\nCarry 2 on:\n[2+][3+][4+][5+][6+]"},
		{"3d6 4+, at least 3", "", [][]int{{6, 4, 1, 2}}, "a player rolls 3d6 for 4+: 1 success, asked 3: no.\n4 · 2 1 (#31, sealed, seal not cut)\nCarry 1 on:\n[2+][3+][4+][5+][6+]"},
		{"3d6 4+, save 5+, damage d3, last save 6+, into 5 of 2", "", [][]int{{6, 6, 4, 1, 2}, {3, 3}, {6, 6, 1, 1, 5}},
			"a player: 3d6, 2, 1 saved: 1 of 5 falls.\n4+: 6 4 · 1\nsave 5+: 5 · 2\ndamage d3: 3\nlast save 6+: 6 · 1 1 (#31, sealed, seal not cut)\n"},
		{"60d6 4+", "", [][]int{sixes},
			"a player rolls 60d6 for 4+: 30 successes.\n6 ×10, 5 ×10, 4 ×10 · 3 ×10, 2 ×10, 1 ×10\n(#31, sealed, seal not cut)\nCarry 30 on:\n[2+][3+][4+][5+][6+]"},
	} {
		if got := told1(t, c.text, c.label, c.faces...); got != c.want {
			t.Errorf("%q\ngot  %q\nwant %q", c.text, got, c.want)
		}
	}
}

// A whole attack by taps: the evening's webcam table.
func TestWebcam(t *testing.T) {
	tb := newTable(t)
	tb.say("Flo", "#cam", "/roll 20d6 3+ for Rope Guard")
	got := tb.pick("Flo", "#cam", "4+")
	if !strings.Contains(got, "Rope Guard, Flo: ") || !strings.Contains(got, " for 4+, ") {
		t.Errorf("carried on:\n%s", got)
	}
	got = tb.say("Gus", "#cam", "/roll again save 5+")
	if !regexp.MustCompile(`(?s)Gus saves \d+d6 for 5\+: \d+ saved, \d+ goe?s? through\..* of 20 in three steps: \d+%`).MatchString(got) || strings.Contains(got, "Rope Guard") {
		t.Errorf("saved:\n%s", got)
	}
}

// A tap carries on the very roll it stands under, whatever was rolled since.
func TestTapCarriesItsOwnRoll(t *testing.T) {
	tb := newTable(t)
	tb.say("Ann", "#club", "/roll 20d6 2+")
	tb.say("Bo", "#club", "/roll 2d6")
	got := tb.say("Ann", "#club", "/roll again 4+")
	if !strings.Contains(got, "no successes to carry on") {
		t.Errorf("a total was carried on:\n%s", got)
	}
	if got = tb.pick("Ann", "#club", "5+"); !strings.Contains(got, " for 5+: ") {
		t.Errorf("the tap:\n%s", got)
	}
}

// What cannot be rolled says why, what was expected, one example and that
// nothing was rolled; no entry is made.
func TestRollErrors(t *testing.T) {
	for text, want := range map[string]string{
		"/roll 0d6":             "0 dice cannot be rolled; 1 to 1000 can.\nExample: /roll 12d6 4+\nNothing was rolled.",
		"/roll 99999d6":         "99999 dice are too many; 1000 at once is the limit here.\nExample: /roll 1000d6 4+\nNothing was rolled.",
		"/roll 12d6 7+":         "7+ never comes up on a d6. Needs go from 2+ to 6+.\nExample: /roll 12d6 6+\nNothing was rolled.",
		"/roll 12d6 4":          "\"4\" could be a need or a number to add.\nSay 4+ (4 or more) or +4.\nExample: /roll 12d6 4+\nNothing was rolled.",
		"/roll again 4+":        "Your last roll here has no successes to carry on.\nRoll with a need first.\nExample: /roll 20d6 3+\nNothing was rolled.",
		"/roll again #9 4+":     "#9 has no successes to carry on,\n  or is not among the last 32 rolls here.",
		"/roll d1":              "d1 cannot be rolled; dice of 2 to 1000 sides can.\nExample: /roll 3d20\nNothing was rolled.",
		"/roll 12d6 4+ banana":  "\"banana\" (character 9) cannot stand here.\nExpected a comma and more, for and a label, or the end.",
		"/roll 12d6 4+ reroll ": "The sentence ends too early.\nExpected 1s, misses, hits or one miss.",
	} {
		tb := newTable(t)
		got := tb.say("Ann", "#club", text)
		if !strings.Contains(got, want) {
			t.Errorf("%s\ngot  %s\nwant %s", text, got, want)
		}
		if n := tb.size("#club"); n != 0 {
			t.Errorf("%s made %d entries", text, n)
		}
	}
}

// No refusal leaves a slot of its sentence open, and each example can be rolled.
func TestRefusalsAreWhole(t *testing.T) {
	bad := []string{"0d6", "9999d6", "d1", "12d6 7+", "12d6 1+", "d6 6 or less", "2d6 9+", "2d6+1 9+", "12d6 4", "2d6 total 13+", "21 times d6",
		"best 3 of 3d6", "best 2 of 41d6", "3d66", "12d6 4+ reroll 2s", "12d6 4+ 5s count twice", "12d6 4+ 6s pass next", "12d6 4+ 6s no save",
		"12d6 4+, save 4+ 6s no save", "d6 3 or less 6s count twice", "12d6 2+, 2+, 2+, 2+, 2+, 2+, 2+", "2d6 against 2d6 4+", "2d6, damage 2",
		"6d6 4+, damage 5000", "6d6 4+, damage 2, into 101 of 3", "12d6 4+, at least 0", "12d6, at least 5", "12d6 4+ !", "2d6+2000",
		"1000d6 2+ 6s count twice, 2+ 6s count twice, 2+", "400d6 2+, damage 1, into 5 of 3", "again", "for the bridge", strings.Repeat("9", 300)}
	example := regexp.MustCompile(`Example: (/roll .*)`)
	for _, text := range bad {
		tb := newTable(t)
		got := tb.say("Ann", "#club", "/roll "+text)
		if strings.Contains(got, "[[") || !strings.HasSuffix(got, "Nothing was rolled.\n") {
			t.Errorf("%s\n%s", text, got)
		}
		m := example.FindStringSubmatch(got)
		if m == nil {
			t.Errorf("%s has no example:\n%s", text, got)
			continue
		}
		if tb.say("Ann", "#club", m[1]); tb.size("#club") == 0 {
			t.Errorf("%s: the example %s rolls nothing", text, m[1])
		}
	}
}

// The label lies beside the entry, never in it, and comes with the dice.
func TestLabelStaysOut(t *testing.T) {
	tb := newTable(t)
	if got := tb.say("Ann", "#club", "/roll 2d6 for the Weir"); !strings.Contains(got, "the Weir, Ann: 2d6: ") {
		t.Errorf("%s", got)
	}
	for _, l := range ledgerOf(t, tb, "#club") {
		if strings.Contains(l, "Weir") || strings.Contains(l, "Ann") {
			t.Errorf("an entry holds words: %s", l)
		}
	}
}

func TestExplainRoll(t *testing.T) {
	tb := newTable(t)
	tb.say("Ann", "#club", "/roll 12d6 4+ reroll 1s 6s count twice, save 5+")
	got := tb.say("Bo", "#club", "/explain")
	for _, want := range []string{"12d6 4+ reroll 1s 6s count twice, save 5+", "4+: ", " of 12 dice pass; expected 7.0.", "save 5+: ", "sealed, seal not cut"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing in\n%s", want, got)
		}
	}
	tb.say("Ann", "#club", "/roll 2d6+1 total 9+")
	if got = tb.say("Bo", "#club", "/explain"); !strings.Contains(got, "Needed 9+: ") || !strings.Contains(got, "The chance was 42%.") {
		t.Errorf("%s", got) // 2d6 at least 8: 15 of 36, dice-totals p_at_least
	}
	for _, text := range []string{"/roll 2d6 against 3d6", "/roll 8d6 4+ against 5d6 5+", "/roll 3 times d20", "/roll 20d6 3+, save 5+, damage d3, last save 6+, into 3 of 2", "/roll 9d6 2+, damage 2", "/roll 3d6 open-ended"} {
		tb.say("Ann", "#club", text)
		if got = tb.say("Bo", "#club", "/explain"); strings.Contains(got, "[[") || strings.Contains(got, "went wrong") {
			t.Errorf("%s:\n%s", text, got)
		}
	}
}

// Every refusal and expectation that the core can give has its sentence, and no
// sentence of the family is unused.
func TestDiceWords(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	used := map[string]bool{}
	id := regexp.MustCompile(`"(dice\.[a-z_.0-9]*[a-z_0-9])"`)
	for _, dir := range []string{".", "../engine/sentence", "../engine/attack", "proof"} {
		files, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			if !strings.HasSuffix(f.Name(), ".go") || strings.HasSuffix(f.Name(), "_test.go") {
				continue
			}
			b, err := os.ReadFile(dir + "/" + f.Name())
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range id.FindAllStringSubmatch(string(b), -1) {
				used[m[1]] = true
				if !catalog.Has(m[1]) {
					t.Errorf("%s/%s: %s has no sentence", dir, f.Name(), m[1])
				}
			}
		}
	}
	if len(used) < 60 {
		t.Fatalf("only %d ids were found", len(used))
	}
	made := regexp.MustCompile(`^dice\.(opposed|judged|met|steps)\.|^dice\.explain\.(first|second|tie|made|missed)$`)
	for _, id := range catalog.IDs() {
		if strings.HasPrefix(id, "dice.") && !used[id] && !made.MatchString(id) {
			t.Errorf("%s is never said", id)
		}
	}
}

func TestPercent(t *testing.T) {
	for p, want := range map[float64]string{0: "0%", 1: "100%", 0.473: "47%", 0.9999: "over 99%", 0.0123: "1%", 0.00123: "0.1%", 1e-9: "less than 0.1%", 0.005: "0.5%"} {
		if got := percent(p); got != want {
			t.Errorf("%v: %s, expected %s", p, got, want)
		}
	}
}

// ledgerOf reads the entries of a place as text.
func ledgerOf(t *testing.T, tb *table, place string) []string {
	t.Helper()
	id, err := tb.store.Of(t.Context(), "test:"+place)
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for e, err := range tb.store.Read(t.Context(), id, 0, tb.size(place)) {
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, string(e.Bytes))
	}
	return lines
}

// The event of a roll reads back as it was rolled.
func TestRollEventReadsBack(t *testing.T) {
	tb := newTable(t)
	tb.say("Ann", "#club", "/roll 12d6 4+")
	lines := ledgerOf(t, tb, "#club")
	var entry struct {
		Events []json.RawMessage `json:"events"`
	}
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &entry); err != nil {
		t.Fatal(err)
	}
	e, err := proof.RollOf(entry.Events)
	if err != nil || e.Dice != "12d6 4+" || len(e.Rounds[0].Chain.Steps[0].Dice) != 12 {
		t.Errorf("%v, %+v", err, e)
	}
	if e.Carry != (sentence.Carry{Dice: e.Rounds[0].Chain.Through, Sides: 6}) || e.Rounds[0].Chain.Steps[0].Passed != e.Carry.Dice {
		t.Errorf("%+v", e.Carry)
	}
	if attack.AtLeast(4).Met(3) {
		t.Error("3 meets 4+")
	}
}

func BenchmarkRollToPosts(b *testing.B) {
	tb := newTable(b)
	tb.say("Ann", "#club", "/roll 12d6 4+")
	b.ReportAllocs()
	for b.Loop() {
		tb.posts = tb.posts[:0]
		tb.say("Ann", "#club", "/roll 12d6 4+")
	}
}

// TestLongRoll: the file beside a roll whose dice are too many for a post holds every
// one of them, in the order of the rounds; a shorter roll has none.
func TestLongRoll(t *testing.T) {
	tb := newTable(t)
	tb.say("Ann", "#fen", "/roll 20 times 50d1000")
	post := tb.posts[len(tb.posts)-1]
	if len(post.Files) != 1 || len(post.Lines) > 5 {
		t.Fatalf("%d files, %d lines", len(post.Files), len(post.Lines))
	}
	file, err := tb.desk.Make(t.Context(), post.Files[0])
	if err != nil {
		t.Fatal(err)
	}
	rec := tb.record("#fen", 2)
	sum, want := 0, 0
	for _, m := range regexp.MustCompile(`(\d+) ×(\d+)`).FindAllStringSubmatch(string(file), -1) {
		face, _ := strconv.Atoi(m[1])
		n, _ := strconv.Atoi(m[2])
		sum += face * n
	}
	for _, face := range rec.Faces[0][1:] {
		want += face
	}
	if sum != want || strings.Count(string(file), ") ") != 20 {
		t.Errorf("the dice in the file add up to %d, those of the entry to %d", sum, want)
	}
	tb.say("Ann", "#fen", "/roll 20 times best 3 of 4d6")
	if post := tb.posts[len(tb.posts)-1]; len(post.Files) != 0 {
		t.Errorf("a roll of 80 dice has %d files", len(post.Files))
	}
}

// TestLongRollAgain: dice that were rolled again are in the file too, as they fell first;
// and an explanation that says that the dice are in the file brings the file with it.
func TestLongRollAgain(t *testing.T) {
	for _, text := range []string{"/roll 700d1000 500+ reroll misses", "/roll 450d150 130+ reroll misses"} {
		tb := newTable(t)
		tb.say("Ann", "#fen", text)
		rec := tb.record("#fen", 2)
		said := tb.say("Ann", "#fen", "/explain 2")
		post := tb.posts[len(tb.posts)-1]
		if len(post.Files) != 1 || !strings.Contains(said, "in the file") {
			t.Fatalf("%s: %d files:\n%s", text, len(post.Files), said)
		}
		file, err := tb.desk.Make(t.Context(), post.Files[0])
		if err != nil {
			t.Fatal(err)
		}
		shown, _, again := strings.Cut(string(file), "they became")
		sum, want := 0, 0
		for _, m := range regexp.MustCompile(`(\d+) ×(\d+)`).FindAllStringSubmatch(shown, -1) {
			face, _ := strconv.Atoi(m[1])
			n, _ := strconv.Atoi(m[2])
			sum += face * n
		}
		for _, face := range rec.Faces[0][1:] {
			want += face
		}
		if sum != want || !again {
			t.Errorf("%s: the dice in the file add up to %d, those of the entry to %d", text, sum, want)
		}
	}
}
