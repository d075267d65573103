package commands

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/engine/battle"
	"drumhead/engine/muster"
)

// fen is a table with a battle begun in #fen: Ann's militia, Bo's guild.
func fen(t *testing.T) *table {
	t.Helper()
	tb := newTable(t)
	wants(t, tb.say("Ann", "@dm", "/force add\nWeir Militia, 500 points\n10 Pikes\n10 Crossbows\nMortar\nMarram\nBarge"), "saved")
	wants(t, tb.say("Bo", "@dm", "/force add\nRopewalk Guild, 500 points\n6 Riders\n6 Guns\n8 Rope Guard\nTeasel"), "saved")
	wants(t, tb.say("Ann", "#fen", "/battle open Bo 500 Drowned Bridge"), "Ann offers Bo Drowned Bridge, 500 points", "[Accept][Not now]")
	wants(t, tb.pick("Bo", "#fen", "Accept"), "Drowned Bridge begins", "moves first", "to move until")
	return tb
}

// moves says who has the move, and who waits.
func (tb *table) moves() (mover, other string) {
	tb.t.Helper()
	if strings.Contains(tb.say("Ann", "#fen", "/battle status"), "Ann to move") {
		return "Ann", "Bo"
	}
	return "Bo", "Ann"
}

// own and foe are units of a player, as orders name them.
var own = map[string]string{"Ann": "Crossbows", "Bo": "Guns"}

// Nothing that is refused leaves an entry, costs a die, or changes whose move it is.
func TestBattleRefusalsLeaveNoTrace(t *testing.T) {
	tb := fen(t)
	mover, other := tb.moves()
	mine, theirs := own[mover], own[other]
	before := tb.size("#fen")
	for _, text := range []string{
		"/order", "/order mve " + mine, "/order hold " + theirs, "/order hold Dragons", "/order done; hold " + mine,
		"/order shoot " + mine + " at " + theirs + ", 90 in", "/order charge " + mine + " at " + theirs,
		"/order shoot " + mine + " at " + theirs + "; move " + mine + " 3 in", "/order fight " + mine,
		"/order run " + mine + " 5 in; shoot " + mine + " at " + theirs, "/battle agree", "/battle dispute no", "/battle concede",
		"/battle pass", "/battle more 5", "/battle ahead", "/battle ahead win", "/battle open " + other + " 500", "/battle join",
		"/battle decline", "/battle status", "/unit " + mine, "/unit Dragons", "/explain 99",
		"/order " + strings.Repeat("hold "+mine+"; ", battle.MaxLines+1), "/order shoot " + mine + " at " + theirs + " \u0007",
	} {
		got := tb.say(mover, "#fen", text)
		if got == "" {
			t.Errorf("%s: no answer", text)
		}
		if strings.Contains(got, "[[") || strings.Contains(got, "Something went wrong") {
			t.Errorf("%s:\n%s", text, got)
		}
		if n := tb.size("#fen"); n != before {
			t.Fatalf("%s: %d entries, want %d", text, n, before)
		}
	}
	wants(t, tb.say(other, "#fen", "/order done"), "It is "+mover+"'s turn 1", "Nothing was rolled.")
	wants(t, tb.say("Dee", "#fen", "/order done"), "Only the two who play")
	if tb.size("#fen") != before {
		t.Error("orders out of turn made an entry")
	}
}

// A sheet is one entry and one post, with one mention; delivered twice it acts once.
func TestOrderOnce(t *testing.T) {
	tb := fen(t)
	mover, other := tb.moves()
	sheet := "/order move " + own[mover] + " 3 in to Bridge\nshoot " + own[mover] + " at " + own[other] + ", 12 in\ndone"
	before, posts := tb.size("#fen"), len(tb.posts)
	got := tb.say(mover, "#fen", sheet)
	wants(t, got, mover+"'s turn 1:", own[mover]+" moved 3 in to the Bridge.", "Score:", other+" to move until")
	if n := tb.size("#fen"); n != before+1 {
		t.Fatalf("%d entries for one sheet", n-before)
	}
	public, mentions := 0, 0
	for _, p := range tb.posts[posts:] {
		if p.Edit == "" {
			public++
		}
		mentions += len(p.Notify)
		if len(p.Lines) > 14 {
			t.Errorf("a post of %d lines", len(p.Lines))
		}
	}
	if public != 1 || mentions != 1 {
		t.Errorf("%d new posts and %d mentions, want one of each:\n%s", public, mentions, got)
	}
	if again := tb.handle(tb.message(mover, "#fen", sheet)); again != "" || tb.size("#fen") != before+1 {
		t.Errorf("delivered twice:\n%s", again)
	}
}

// A wrong order of phases is offered sorted, and what is offered works.
func TestSortedSheet(t *testing.T) {
	tb := fen(t)
	mover, other := tb.moves()
	got := tb.say(mover, "#fen", "/order shoot "+own[mover]+" at "+own[other]+", 12 in; move "+own[mover]+" 3 in; done")
	wants(t, got, "Line 2:", "Sorted it works.", "Nothing was rolled.")
	_, example, ok := strings.Cut(got, "Example: ")
	if !ok {
		t.Fatal("no example:\n" + got)
	}
	example, _, _ = strings.Cut(example, "\n")
	wants(t, tb.say(mover, "#fen", example), mover+"'s turn 1")
}

// What a sheet came to is folded from the store as it was live, checks out, and
// is explained from the dice that it shows.
func TestBattleReplays(t *testing.T) {
	tb := fen(t)
	for range 4 {
		mover, other := tb.moves()
		tb.say(mover, "@dm", "/battle ahead re-roll one lost save; counter at least 7")
		got := tb.say(mover, "#fen", "/order shoot "+own[mover]+" at "+own[other]+", 8 in; done")
		wants(t, got, "to move until")
		explained := tb.say("Dee", "#fen", "/explain")
		if strings.Contains(explained, "[[") || !strings.Contains(explained, "To hit") {
			t.Errorf("explained:\n%s", explained)
		}
	}
	live := proof.BattlesOf(tb.view("#fen").game)
	tb.desk.live.drop("test:#fen")
	folded := proof.BattlesOf(tb.view("#fen").game)
	_, a, _ := live.Newest()
	_, b, _ := folded.Newest()
	for i := range a.Units {
		if a.Units[i].Left != b.Units[i].Left || a.Units[i].Hurt != b.Units[i].Hurt {
			t.Errorf("%s: %d left live, %d folded", a.Units[i].ID, a.Units[i].Left, b.Units[i].Left)
		}
	}
	wants(t, tb.say("Bo", "#fen", "/proof"), "entries here hold", "lead to the same events")
}

func (tb *table) view(place string) *view {
	tb.t.Helper()
	v, err := tb.desk.view(context.Background(), chat.Place("test:"+place))
	if err != nil {
		tb.t.Fatal(err)
	}
	return v
}

// Who waits may end it with who moves; the report tells it all, and the board
// is edited, never repeated.
func TestBattleEnds(t *testing.T) {
	tb := fen(t)
	mover, other := tb.moves()
	tb.say(mover, "#fen", "/order hold "+own[mover]+" at Well; done")
	wants(t, tb.say(mover, "#fen", "/battle finish"), "proposes to end it", other)
	got := tb.say(other, "#fen", "/battle agree")
	wants(t, got, "ends as it stands in turn 1", mover+" wins Drowned Bridge.", "A line for the story?")
	wants(t, tb.pick(other, "#fen", "Write"), "") // a form without words is refused, not told
	report := tb.report("#fen")
	for _, part := range []string{"# Drowned Bridge: Ann against Bo", "| Ann | Pikes | 90 | 10 | 10 |",
		"Played from 24 Oct 2026, 18:00 to 24 Oct 2026, 18:00 (UTC).", "500 points a side; Ann 500, Bo 495. 6 turns of Osier, edition 1.", "at the Well", mover + " wins Drowned Bridge.", "Ledger "} {
		if !strings.Contains(report, part) {
			t.Errorf("the report lacks %q:\n%s", part, report)
		}
	}
	boards := 0
	for _, p := range tb.posts {
		if p.Edit != "" {
			boards++
		} else if strings.HasPrefix(words.Flat(p.Lines[0]), "Drowned Bridge, turn") && p.To.Only == "" {
			boards += 100
		}
	}
	if boards/100 != 1 || boards%100 < 2 {
		t.Errorf("%d boards put up and %d edits, want one and some", boards/100, boards%100)
	}
	wants(t, tb.say("Ann", "#fen", "/battle open Bo 500"), "Ann offers Bo")
}

// A turn of several sheets stands in the report under one headline, which counts
// all of them, as the post that handed it over did.
func TestReportTellsWholeTurns(t *testing.T) {
	tb := fen(t)
	var headlines []string
	fell := false
	for range 6 {
		mover, other := tb.moves()
		tb.say(mover, "#fen", "/order shoot "+own[mover]+" at "+own[other]+", 8 in")
		got := tb.say(mover, "#fen", "/order done")
		at := strings.Index(got, mover+"'s turn ")
		if at < 0 {
			break // one side is gone
		}
		headline := strings.TrimSuffix(strings.SplitN(got[at:], "\n", 2)[0], ".")
		headlines = append(headlines, "### "+headline+"\n")
		fell = fell || !strings.Contains(headline, "nobody fell")
	}
	mover, other := tb.moves()
	tb.say(mover, "#fen", "/battle finish")
	tb.say(other, "#fen", "/battle agree")
	wants(t, tb.report("#fen"), headlines...)
	if !fell {
		t.Error("nobody fell in any turn: the test says nothing")
	}
}

func (tb *table) report(place string) string {
	tb.t.Helper()
	for i := len(tb.posts) - 1; i >= 0; i-- {
		for _, f := range tb.posts[i].Files {
			if f.Kind != "report" {
				continue
			}
			b, err := tb.desk.Make(context.Background(), f)
			if err != nil {
				tb.t.Fatal(err)
			}
			again, err := tb.desk.Make(context.Background(), f)
			if err != nil || string(again) != string(b) {
				tb.t.Error("the report made again is another")
			}
			return string(b)
		}
	}
	tb.t.Fatal("no report was posted")
	return ""
}

// spokenID is the id of a sentence in the code of battles.
var spokenID = regexp.MustCompile(`"(battle\.[a-z_]+(?:\.[a-z_]+)*)"`)

// Every sentence that the core and the family ask for is in the catalogue.
func TestBattleSentences(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	commands := map[string]bool{}
	for _, c := range append(battleCommands(), undoCommands()...) {
		commands[strings.ReplaceAll(c.Name, " ", ".")] = true
	}
	commands["battle.begin"], commands["battle.late"] = true, true
	found := 0
	for _, glob := range []string{"battle*.go", "orders.go", "unit.go", "report.go", "../engine/battle/*.go", "proof/battling.go"} {
		files, err := filepath.Glob(glob)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			code, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range spokenID.FindAllStringSubmatch(string(code), -1) {
				id := m[1]
				whole := catalog.Has(id) || commands[id] || catalog.Has(id+"_near")
				for _, begun := range catalog.IDs() { // "battle.told.gone_" goes on with a value
					whole = whole || (strings.HasSuffix(id, "_") || strings.HasSuffix(id, ".")) && strings.HasPrefix(begun, id)
				}
				if !whole {
					t.Errorf("%s: no sentence %s", name, id)
				}
				found++
			}
		}
	}
	if found < 150 {
		t.Errorf("only %d sentences were found in the code", found)
	}
}

// A report says until when was played, and not when the result came to stand.
func TestReportSaysWhen(t *testing.T) {
	tb := fen(t)
	began := tb.now
	for range 12 {
		tb.now = tb.now.Add(time.Hour)
		mover, _ := tb.moves()
		tb.say(mover, "#fen", "/order hold "+own[mover]+"; done")
	}
	const written = "2 Jan 2006, 15:04"
	want := "Played from " + began.UTC().Format(written) + " to " + tb.now.UTC().Format(written) + " (UTC)."
	wants(t, tb.say("Ann", "#fen", "/battle report"), "Both look at the result")
	wants(t, tb.report("#fen"), want)
	tb.now = tb.now.Add(49 * time.Hour)
	if _, err := tb.desk.Tick(t.Context()); err != nil {
		t.Fatal(err)
	}
	tb.say("Ann", "#fen", "/battle report")
	wants(t, tb.report("#fen"), "Ledger ", want)
}

// An offer can be taken back or turned down, and then begins nothing.
func TestOffers(t *testing.T) {
	tb := newTable(t)
	tb.say("Bo", "#fen", "hello")
	wants(t, tb.say("Ann", "#fen", "/battle open Bo 500"), "You have no saved force", "/force add")
	wants(t, tb.say("Ann", "@dm", "/force add\nWeir Militia, 500 points\n10 Pikes\n10 Crossbows\nMortar\nBarge"), "Draft kept, 1 fault")
	wants(t, tb.say("Ann", "#fen", "/battle open Bo 500"), "only a draft with 1 fault", "/force show draft")
	wants(t, tb.say("Ann", "@dm", "/force change Marram"), "saved")
	wants(t, tb.say("Ann", "#fen", "/battle open Bo 500 Last Ferry, 3 turns, 12 hours, with Weir Militia"), "Last Ferry, 500 points", "3 turns", "12 hours")
	wants(t, tb.pick("Bo", "#fen", "Accept"), "no saved force")
	wants(t, tb.pick("Bo", "#fen", "Not now"), "does not take up")
	wants(t, tb.say("Bo", "#fen", "/battle join"), "no such offer")
	wants(t, tb.say("Ann", "#fen", "/battle open"), "offers anybody")
	wants(t, tb.say("Ann", "#fen", "/battle decline"), "takes the offer")
	if offers := proof.BattlesOf(tb.view("#fen").game).Offers; len(offers) != 0 {
		t.Errorf("%d offers still stand", len(offers))
	}
}

// What waits for somebody shows in /due from the offer on: an offer waits for
// who it was made to, and a move out of time for the one who decides.
func TestDueFromTheOfferOn(t *testing.T) {
	tb := atBattle(t)
	wants(t, tb.say("Bo", "#fen", "/battle join"), "is being played here", "/battle status")
	mover, waits := tb.mover()
	if got := tb.say(waits, "@dm", "/due"); !strings.Contains(got, "Nothing waits") {
		t.Errorf("%s waits for nobody:\n%s", waits, got)
	}
	tb.now = tb.now.Add(49 * time.Hour)
	if _, err := tb.desk.Tick(context.Background()); err != nil {
		t.Fatal(err)
	}
	if got := tb.say(waits, "@dm", "/due"); !strings.Contains(got, "you decide") {
		t.Errorf("%s decides what comes of it:\n%s", waits, got)
	}
	if got := tb.say(mover, "@dm", "/due"); !strings.Contains(got, "out of time") {
		t.Errorf("%s is out of time:\n%s", mover, got)
	}
	tb.say("Cy", "#hill", "/roll d6")
	tb.say("Ann", "#hill", "/battle open Cy 500 Last Ferry")
	if got := tb.say("Cy", "@dm", "/due"); !strings.Contains(got, "offers you a battle") {
		t.Errorf("an offer waits for Cy:\n%s", got)
	}
}

// TestNobodyFillsThePlace: who offers without end is stopped before others are.
func TestNobodyFillsThePlace(t *testing.T) {
	tb := atBattle(t)
	b, err := os.ReadFile("../testdata/forces/weir.toml")
	if err != nil {
		t.Fatal(err)
	}
	for _, who := range []string{"Mo", "Zoe"} {
		tb.line++
		m := tb.message(who, "#bog", "/force add")
		m.Files = []chat.File{{Name: "weir.toml", Bytes: b}}
		tb.handle(m)
	}
	for n := range proof.MostOffers { // no two are alike
		tb.say("Mo", "#bog", fmt.Sprintf("/battle open 500 Drowned Bridge, %d hours", n+24))
	}
	if got := tb.say("Mo", "#bog", "/battle open 500 Drowned Bridge"); !strings.Contains(got, "of yours") {
		t.Errorf("Mo offers on:\n%s", got)
	}
	if got := tb.say("Zoe", "#bog", "/battle open 500 Drowned Bridge"); !strings.Contains(got, "Zoe offers anybody") {
		t.Errorf("Zoe cannot:\n%s", got)
	}
}

// TestOfferedTwice: the same offer is made once; another one, or the same once it was
// taken back, can be made.
func TestOfferedTwice(t *testing.T) {
	tb := newTable(t)
	tb.say("Bo", "#fen", "/help")
	tb.say("Ann", "@dm", muster.Example)
	for _, c := range []struct {
		text, want string
		adds       uint64
	}{
		{"/battle open Bo 500 Drowned Bridge", "offers", 3}, // with the ledger and its seal
		{"/battle open Bo 500 Drowned Bridge", "You offer just that already, as #2", 0},
		{"/battle open Bo 500 Drowned Bridge, 24 hours", "offers", 1},
		{"/battle open 500 Drowned Bridge", "offers anybody", 1},
		{"/battle open 500 Drowned Bridge", "You offer just that already, as #4", 0},
		{"/battle decline 2", "", 1},
		{"/battle open Bo 500 Drowned Bridge", "offers", 1},
	} {
		before := tb.size("#fen")
		wants(t, tb.say("Ann", "#fen", c.text), c.want)
		if added := tb.size("#fen") - before; added != c.adds {
			t.Errorf("%s added %d entries", c.text, added)
		}
	}
}
