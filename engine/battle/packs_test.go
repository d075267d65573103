package battle

import (
	"slices"
	"strings"
	"testing"

	"drumhead/engine/rules"
)

// beginWith lays a table of another built-in game; the first side wins the
// roll-off 5 to 3. Units are u1, u2, … in the order given, of one model each.
func beginWith(t *testing.T, id, scenario string, mine, theirs []string) *table {
	t.Helper()
	p, err := rules.LoadBuiltin(id)
	if err != nil || p == nil {
		t.Fatal(err)
	}
	b := Begin{Offer: OfferRef{Ledger: "x", Seq: 2, Leaf: "y"}, Players: []string{"p1", "p2"},
		Terms: Terms{Pack: p.ID, Edition: p.Edition, SHA256: p.Hash, Scenario: scenario, Points: 150, Turns: 6, Hours: 48}}
	for _, kinds := range [][]string{mine, theirs} {
		var force []Model
		for _, kind := range kinds {
			force = append(force, Model{Kind: kind, Size: 1, Key: kind + " 1"})
		}
		b.Forces = append(b.Forces, force)
	}
	tb := &table{T: t, state: New(p)}
	tb.do("bot", b, 5, 3)
	return tb
}

func ships(t *testing.T) *table {
	return beginWith(t, "brine", "salt-road", []string{"watch-cutter", "lock-barge"}, []string{"eel-boat", "old-hulk"})
}

// A cutter's broadside, worked by hand: long nines at 7 inches need 4+, four dice
// hit three times after one miss is rolled again; timbers of 5+ stop one; two are
// crossed off a hull of 6 whose first mark is at 2: the table says fire on a 5.
// The swivels then cross off one more, and the fire one as Bo's turn ends.
func TestGunsAndFire(t *testing.T) {
	tb := ships(t)
	tb.order("shoot Cutter at Eel, 7 in",
		6, 5, 2, 2, 4, // four nines, the first miss again: three hits
		5, 1, // timbers: one
		4, 1, // the first mark: 5 is fire
		6, 2, 3, 1, // three swivels, no hit of 4+ but one, again a miss
		1, 1)
	v := of[*Volleyed](tb)
	if len(v) != 2 || v[0].Hits != 3 || v[0].Stopped != 1 || v[0].Crossed != 2 || v[1].Crossed != 1 {
		t.Fatalf("volleys %+v, %+v", v[0], v[1])
	}
	if l := of[*Looked](tb); len(l) != 1 || l[0].Mark != 2 || l[0].Total != 5 || l[0].Table != "critical" {
		t.Fatalf("looked %+v", l)
	}
	eel := tb.unit("u3")
	if eel.Hurt != 3 || !eel.Has("on fire") || !eel.Stands() {
		t.Fatalf("the eel boat is %+v", eel)
	}
	tb.order("done", 3, 5) // half her hull is gone and she was hit: 8 against a resolve of 7
	if b := of[*Broken](tb); len(b) != 1 || b[0].Unit != "u3" || b[0].How != Routed {
		t.Fatalf("broken %+v", b)
	}
	tried := of[*Tried](tb)
	if len(tried) != 1 || tried[0].Passed || tried[0].Need != 7 || tried[0].Total != 8 {
		t.Errorf("tried %+v", tried)
	}
}

// Fire burns at the end of its own owner's turn, and who holds may put it out.
func TestBurnAndMend(t *testing.T) {
	tb := ships(t)
	tb.state.unit("u3").Statuses = []string{"on fire"}
	tb.order("done")
	tb.order("hold Eel; done", 6, 1, 2) // three of the crew, one six
	if m := of[*Mended](tb); len(m) != 1 || m[0].Passed != 1 {
		t.Fatalf("mended %+v", m)
	}
	if eel := tb.unit("u3"); eel.Has("on fire") || eel.Hurt != 0 {
		t.Errorf("the eel boat is %+v", eel)
	}
	tb.order("done")
	tb.state.unit("u3").Statuses = []string{"on fire"}
	tb.refuses("hold Eel; move Eel 5 in; done", "battle.refuse.moved")
	tb.order("move Eel 5 in; hold Eel; done") // who sails cannot mend: one off the hull
	if eel := tb.unit("u3"); !eel.Has("on fire") || eel.Hurt != 1 {
		t.Errorf("the eel boat is %+v", eel)
	}
}

// A hulk rams: twelve dice of 5+ against five timbers of 4+; each that is left does
// 2 with the iron beak. Alongside, she is boarded: 2d6 and crew against crew.
func TestRamAndBoard(t *testing.T) {
	tb := ships(t)
	tb.order("done")
	tb.refuses("charge Hulk at Cutter, 7 in", "battle.refuse.range")
	tb.order("charge Hulk at Cutter, 6 in",
		5, 6, 5, 1, 1, 1, 1, 1, 1, 1, 1, 1, // three staved in
		4, 1, 1, // timbers of the cutter: one stopped; four points cross the mark at 3
		6, 1) // splinters: one of the crew for good
	cutter := tb.unit("u1")
	if cutter.Hurt != 4 || len(cutter.Lost) != 1 || !cutter.InMelee() {
		t.Fatalf("the cutter is %+v", cutter)
	}
	tb.order("fight Hulk",
		3, 3, 4, 4, // 6 and a crew of 4 against 8 and a crew of 2: a tie, rolled again
		5, 4, 1, 2) // 13 against 5
	c := of[*Contested](tb)
	if len(c) != 1 || c[0].Won != 1 || c[0].Bouts != 2 || c[0].Mine != 13 || c[0].Theirs != 5 {
		t.Fatalf("contested %+v", c[0])
	}
	if b := of[*Broken](tb); len(b) != 1 || b[0].Unit != "u1" || b[0].By != "u4" {
		t.Fatalf("broken %+v", b)
	}
}

// Who crowds on sail rolls for the wind: a six goes on, and what is more than five
// carries her off.
func TestWind(t *testing.T) {
	tb := ships(t)
	tb.order("run Cutter to North Buoy", 4, 6, 3)
	if d := of[*Drifted](tb); len(d) != 1 || d[0].Tenths != 40 {
		t.Fatalf("drifted %+v", d)
	}
	if tb.unit("u1").At != "" {
		t.Error("who drifts away holds nothing")
	}
	tb.refuses("shoot Cutter at Eel", "battle.refuse.gap_shot")
}

// A whole game of brigades is moved by its table: foot and horse together at foot
// of 5, 11 to 5, on a 5 drive it back; a brigade that is shaken rallies or not.
func TestBrigades(t *testing.T) {
	tb := beginWith(t, "column", "two-fords", []string{"weir-foot", "toll-horse", "weir-guns"}, []string{"delta-foot", "heron-horse", "delta-guns"})
	tb.state.unit("u4").At = "upper-ford"
	tb.order("charge Weir Foot and Toll Horse at Delta Foot, 5 in, flank", 6) // 2:1, the flank 3:1: swept away
	l := of[*Looked](tb)
	if len(l) != 1 || l[0].First != 11 || l[0].Second != 5 || l[0].Shift != 1 || l[0].Column != 5 || !slices.Equal(l[0].Also, []string{"u2"}) {
		t.Fatalf("looked %+v", l[0])
	}
	delta := tb.unit("u4")
	if delta.Hurt != 2 || !delta.Has("shaken") || delta.At != "" || delta.InMelee() {
		t.Errorf("the delta foot is %+v", delta)
	}
	if foot, horse := tb.unit("u1"), tb.unit("u2"); foot.At != "upper-ford" || horse.At != "upper-ford" || foot.InMelee() {
		t.Errorf("who swept them away is %+v", foot)
	}
	tb.order("done")
	if tb.state.Score[0] != 2 {
		t.Errorf("score %v", tb.state.Score)
	}
	tb.order("done", 6, 5) // 11 against a nerve of 7: one step more
	if delta = tb.unit("u4"); delta.Hurt != 3 || !delta.Has("shaken") {
		t.Errorf("the delta foot is %+v", delta)
	}
	tb.order("done")
	tb.refuses("charge Delta Foot at Weir Foot, 3 in", "battle.refuse.may_not")
	tb.order("done", 2, 3)
	if delta = tb.unit("u4"); delta.Hurt != 3 || delta.Has("shaken") {
		t.Errorf("the delta foot is %+v", delta)
	}
	tb.refuses("charge Weir Foot and Weir Guns at Heron Horse, 3 in", "battle.refuse.may_never")
}

// Who cannot retreat loses a step more, and stays where it is.
func TestNoWayBack(t *testing.T) {
	tb := beginWith(t, "column", "two-fords", []string{"weir-foot"}, []string{"delta-guns"})
	tb.state.unit("u2").At = "lower-ford"
	tb.order("charge Weir Foot at Delta Guns, 5 in, no way back", 3) // 3:1: driven back, of two steps one, and one more
	if r := of[*Retreated](tb); len(r) != 1 || !r[0].Blocked {
		t.Fatalf("retreated %+v", r)
	}
	if b := of[*Broken](tb); len(b) != 1 || b[0].Unit != "u2" || b[0].How != Fallen {
		t.Errorf("broken %+v", b)
	}
}

// Guns need 6+ at 12 inches and nothing can be shown beyond their weight.
func TestBombardment(t *testing.T) {
	tb := beginWith(t, "column", "two-fords", []string{"weir-guns"}, []string{"delta-foot"})
	tb.order("shoot Weir Guns at Delta Foot, 13 in", 5, 3) // weight 5 less 1: 5+, of two dice one
	if a := of[*Attacked](tb); len(a) != 1 || a[0].Crossed != 1 {
		t.Errorf("%+v", a)
	}
}

// Standing orders that can never act in a game are refused.
func TestIdleOrders(t *testing.T) {
	tb := ships(t)
	for text, id := range map[string]string{
		"counter any cast":            "battle.refuse.no_counter",
		"re-roll one lost save of 5+": "battle.refuse.no_reroll",
	} {
		if _, err := ParseAhead(tb.state, 0, text); err == nil || !strings.HasPrefix(spell(err), id) {
			t.Errorf("%q: %v", text, err)
		}
	}
	if _, err := ParseAhead(tb.state, 0, "casualties from the back"); err != nil {
		t.Error(err)
	}
}

// A charge of more units than a side can have, or of one twice, is refused.
func TestTogether(t *testing.T) {
	tb := beginWith(t, "column", "two-fords", []string{"weir-foot", "toll-horse"}, []string{"delta-foot"})
	line := Line{Order: Charge, Unit: "u1", Aim: Aim{At: "u3", Tenths: 30}}
	for id, also := range map[string][]string{
		"battle.refuse.together_many":  make([]string, MaxUnits),
		"battle.refuse.together_twice": {"u1"},
		"battle.refuse.theirs":         {"u3"},
		"battle.refuse.unit":           {"u9"},
	} {
		line.Also = also
		_, err := Check(tb.state, Order{Player: "p1", Do: Sheet{Battle: 1, Orders: []Line{line}}})
		if err == nil || !strings.HasPrefix(spell(err), id) {
			t.Errorf("%v: %s, want %s", also, spell(err), id)
		}
	}
	if tb := ships(t); tb != nil {
		tb.refuses("charge Cutter and Barge at Eel, 3 in", "battle.refuse.together")
	}
}
