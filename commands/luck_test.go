package commands

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/luck"
	"drumhead/storage"
)

// everyDieOnce holds what /luck counts against the faces that a ledger shows:
// no die is left out and none counts twice.
func everyDieOnce(files proof.Files, lines [][]byte) error {
	tallies := proof.NewTallies(files, proof.Span{})
	shown := map[int][]int{}
	for _, line := range lines {
		rec, err := storage.Parse(line)
		if err != nil {
			return err
		}
		if err := tallies.Entry(rec); err != nil {
			return fmt.Errorf("entry %d: %w", rec.Seq, err)
		}
		if rec.Again != nil {
			continue
		}
		for _, run := range rec.Faces {
			if shown[run[0]] == nil {
				shown[run[0]] = make([]int, run[0])
			}
			for _, f := range run[1:] {
				shown[run[0]][f-1]++
			}
		}
	}
	all := tallies.All()
	if len(all.Sides()) != len(shown) {
		return fmt.Errorf("dice of %v sides counted, %d kinds shown", all.Sides(), len(shown))
	}
	for sides, want := range shown {
		if got := all.Faces(sides); fmt.Sprint(got) != fmt.Sprint(want) {
			return fmt.Errorf("d%d: %v counted, %v shown", sides, got, want)
		}
	}
	return nil
}

// A battle of many dice, then bare rolls beside it: the battle's dice are those
// of its own commands, and Ann's and Bo's are all of them.
func TestLuckOfABattle(t *testing.T) {
	tb := fen(t)
	wants(t, tb.say("Ann", "#fen", "/roll 60d6 4+"), "Ann")
	for range 4 {
		mover, other := tb.moves()
		wants(t, tb.say(mover, "#fen", "/order shoot "+own[mover]+" at "+own[other]+", 12 in; done"), "turn")
	}
	wants(t, tb.say("Ann", "#fen", "/luck"), "Ann, this battle: ")
	wants(t, tb.say("Ann", "#fen", "/luck everybody battle"), "Everybody, this battle: ", "Needs: ", "d6, 1 to 6: ", "by chance")
	wants(t, tb.say("Bo", "#fen", "/luck Ann this evening"), "Ann, this evening: ", "d6, 1 to 6: ")
	wants(t, tb.say("Bo", "#fen", "/luck Cy"), "I know nobody here called \"cy\"")
	wants(t, tb.say("Cy", "#fen", "/luck"), "Cy rolled no dice this battle.", "Example: /luck season")

	v := tb.view("#fen")
	lines, err := tb.desk.lines(context.Background(), v.ledger, v.head.Size)
	if err != nil {
		t.Fatal(err)
	}
	if err := everyDieOnce(tb.desk.file, lines); err != nil {
		t.Error(err)
	}
	counted := func(s proof.Span) int {
		tallies := proof.NewTallies(tb.desk.file, s)
		for _, line := range lines {
			rec, _ := storage.Parse(line)
			if err := tallies.Entry(rec); err != nil {
				t.Fatal(err)
			}
		}
		return tallies.All().Dice()
	}
	seq, _, _ := proof.BattlesOf(v.game).Newest()
	if season, fought := counted(proof.Span{}), counted(proof.Span{Battle: seq}); season != fought+60 || fought < 40 {
		t.Errorf("%d dice in all, %d of the battle", season, fought)
	}
}

// An evening ends when the dice have lain still: what was rolled before it does
// not count, and later it is called the last one.
func TestLuckOfAnEvening(t *testing.T) {
	tb := newTable(t)
	tb.say("Flo", "#cam", "/roll 30d6 4+")
	tb.now = tb.now.Add(proof.Rest - time.Minute)
	tb.say("Flo", "#cam", "/roll 20d6 4+")
	wants(t, tb.say("Flo", "#cam", "/luck"), "Flo, this evening: ", " of 50 made, 25.0 expected")
	tb.now = tb.now.Add(proof.Rest)
	wants(t, tb.say("Flo", "#cam", "/luck"), "Flo, the last evening: ", " of 50 made")
	tb.say("Flo", "#cam", "/roll 21d6 4+")
	wants(t, tb.say("Flo", "#cam", "/luck tonight"), "Flo, this evening: ", " of 21 made, 10.5 expected")
	wants(t, tb.say("Flo", "#cam", "/luck season"), "Flo, this season: ", " of 71 made, 35.5 expected")
}

// Nobody picks where counting begins.
func TestLuckRefusesToBeginAtARoll(t *testing.T) {
	tb := newTable(t)
	tb.say("Flo", "#cam", "/roll 30d6 4+")
	for _, text := range []string{"/luck since #3", "/luck Flo since that roll", "/luck last 10", "/luck 2", "/luck Flo from 20:00", "/luck after the charge", "/luck today"} {
		wants(t, tb.say("Flo", "#cam", text), "over a whole evening, battle or season", "Example: /luck evening")
	}
}

// Every verdict fits a phone, and says what it cannot say.
func TestLuckPostsFit(t *testing.T) {
	tb := newTable(t)
	tb.say("Flo", "#cam", "/roll d6")
	a := &ask{desk: tb.desk, here: tb.view("#cam"), now: tb.now}
	for _, c := range []struct {
		n, sixes int // faces that come round evenly, and sixes besides
		want     string
	}{
		{12, 0, "Everybody, this season: 12 dice, too few to judge;"},
		{900, 0, "Everybody, this season: ordinary luck, nothing odd;"},
		{900, 60, "Everybody, this season: rare luck, as chance has too;"},
		{900, 90, "Everybody, this season: more than chance does;"},
	} {
		var tally luck.Tally
		for i := range c.n + c.sixes {
			face := 1 + i%6
			if i >= c.n {
				face = 6
			}
			tally.Face(6, face)
			if c.n > 12 {
				tally.Face(20, 1+i%20)
				tally.Face(100, 1+i%100)
				tally.Try(luck.Kind(i%4), 0.5, i%8 < 4)
			}
		}
		p := a.luckPost(lucky{over: overSeason}, tally.Look(), false)
		lines := chat.Fold(p.Lines)
		if got := flat(lines[0]); got != c.want {
			t.Errorf("%d dice, %d sixes: %q, want %q", c.n, c.sixes, got, c.want)
		}
		for _, l := range lines {
			if text := flat(l); len([]rune(text)) > chat.Width {
				t.Errorf("%d characters: %s", len([]rune(text)), text)
			}
		}
	}
	if !strings.Contains(flat(a.say("luck.odd", "who", "Flo", "over", "tonight")), "cannot say who or why") {
		t.Error("it accuses")
	}
}

// What chances are called, either side of each border.
func TestLuckChances(t *testing.T) {
	for p, want := range map[float64]string{
		1: "100 in 100", 0.1217: "12 in 100", 0.0994: "9.9 in 100", 0.0428: "4.3 in 100", 0.0099: "9.9 in 1000", 0.001: "1.0 in 1000",
		0.0005: "500 in a million", 0.000001: "1 in a million", 1e-7: "under 1 in a million", 0: "under 1 in a million",
	} {
		if got := inHundred(p); got != want {
			t.Errorf("%g: %q, want %q", p, got, want)
		}
	}
	for p, want := range map[float64]string{1: "p = 1", 0.806: "p = 0.81", 0.0428: "p = 0.043", 0.0021: "p = 0.0021", 0.0002: "p < 0.001"} {
		if got := pValue(p); got != want {
			t.Errorf("%g: %q, want %q", p, got, want)
		}
	}
}
