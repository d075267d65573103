package battle

import (
	"fmt"
	"slices"
	"testing"
)

func show(v any) string { return fmt.Sprint(v) }

// TestTurnOfTheEvening plays a whole turn worked out by hand from the pack:
// mortar, crossbows with a save rolled again by Bo's standing order, a charge,
// its melee, and morale. Needs by hand: Mortar 4+, 3+ (strength 6, toughness 4),
// save 4+ worsened by 2; Crossbows 4+, 4+ (4 against 4), save 4+ worsened by 1;
// Pikes 4+, 4+ (3 against 3), save 5+; the Guns' knives 5+, 5+ (2 against 3), save 4+.
func TestTurnOfTheEvening(t *testing.T) {
	tb := begin(t)
	value, err := Standing{Reroll: &RerollOrder{Unit: "u5", Need: 5}}.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	tb.do("p2", Ahead{Battle: 1, Said: fmt.Sprintf("%064x", 1)})
	tb.openings = []Opening{{Of: tb.seq, Salt: "00", Value: value}}
	sealed := tb.seq

	tb.order(`move Pikes 5 in
		shoot Mortar at Riders
		shoot Crossbows at Riders, 20 in, else Guns
		charge Pikes at Guns, 7,4″
		done`,
		6, 4, 3, 1, // mortar: two hit, the 6 gives one more
		5, 3, 2, // two wound
		6, 2, // one save is lost: 2 damage, a Rider falls
		6, 5, 5, 4, 4, 4, 3, 2, 2, 1, // crossbows: six hit
		6, 5, 4, 4, 2, 1, // four wound
		6, 4, 5, 3, 1, // saves: 6 stands, 4 is lost and rolled again (5 stands), two lost
		5, 4, // charge: 9, 7 was needed
		4, 5, 6, 4, 4, 3, 2, 1, 1, 3, // ten pikes: five hit
		4, 4, 5, 1, 2, // three wound
		1, 2, 3, // three saves lost
		5, 1, 2, // three knives: one hits
		5, // and wounds
		2, // a Pike falls
		3, // morale in the order of units: the Pikes lost one, 3 + 1 against 7
		3, // Riders: 3 + 2 = 5 against 7
		5, // Guns: 5 + 3 = 8 against 6, two flee
	)
	if riders := tb.unit("u5"); riders.Left != 4 || riders.Hurt != 0 {
		t.Errorf("Riders: %d left, hurt %d; want 4 and 0", riders.Left, riders.Hurt)
	}
	if guns := tb.unit("u6"); guns.Left != 1 || guns.Fell != 3 || guns.Fled != 2 {
		t.Errorf("Guns: %d left, %d fell, %d fled; want 1, 3, 2", guns.Left, guns.Fell, guns.Fled)
	}
	if pikes := tb.unit("u1"); pikes.Left != 9 || !slices.Equal(pikes.With, []string{"u6"}) {
		t.Errorf("Pikes: %d left, in melee with %v; want 9 and the Guns", pikes.Left, pikes.With)
	}
	if acted := of[*Opened](tb); len(acted) != 1 || acted[0].Of != sealed {
		t.Errorf("standing orders opened: %v, want the one of entry %d", acted, sealed)
	}
	mortar := of[*Attacked](tb)[0]
	if mortar.Extra != 1 || !slices.Equal(mortar.Steps, []int{3, 2}) || mortar.Saved != 1 || mortar.Fell != 1 {
		t.Errorf("mortar: %+v", mortar)
	}
	if tb.state.Side != 1 || tb.state.Turn != 1 || tb.state.Handovers != SetUpHandovers+1 {
		t.Errorf("side %d, turn %d, handovers %d after the turn", tb.state.Side, tb.state.Turn, tb.state.Handovers)
	}
}

// TestAnswerOfTheEvening: fall back frees both, a charge falls short, and a line
// whose condition does not hold is left out.
func TestAnswerOfTheEvening(t *testing.T) {
	tb := begin(t)
	tb.order("charge Pikes at Guns, 3 in; done",
		6, 6, // there
		1, 1, 1, 1, 1, 1, 1, 1, 1, 1, // ten pikes miss
		1, 1, 1, 1, 1, 1) // six knives miss
	tb.order("fall back Guns toward South; charge Riders at Crossbows, 9 in; charge Rope Guard at Crossbows, 8 in, if Riders are in; done",
		4, 2) // 6, 8 was needed
	if moved := of[*Moved](tb); len(moved) != 1 || moved[0].How != FallBack || moved[0].Way != "south" {
		t.Errorf("moved: %v", moved)
	}
	if tb.unit("u1").InMelee() || tb.unit("u6").InMelee() {
		t.Error("Pikes and Guns are still in melee")
	}
	if c := of[*Charged](tb); len(c) != 1 || c[0].In || c[0].Need != 8 || c[0].Total != 6 {
		t.Errorf("charges: %+v", c[0])
	}
	if s := of[*Skipped](tb); len(s) != 1 || s[0].Line != 3 {
		t.Errorf("skipped: %v", s)
	}
	tb.order("done")
	tb.refuses("move Guns 2 in; move Guns 1 in", "battle.refuse.moved")
	if tb.unit("u6").Has("fell back") {
		t.Error("the Guns' status outlived their own turn's begin")
	}
}

// TestCastCounterMishap: the three castings of the evening.
func TestCastCounterMishap(t *testing.T) {
	tb := begin(t)
	tb.order("cast Veil on Pikes", 5, 3, 4, 3) // 8, needed 6; counter 7 had to beat 8
	if !tb.unit("u1").Has("veiled") || !tb.unit("u8").Turn.Countered {
		t.Error("Veil does not stand on the Pikes, or Teasel's counter was not used")
	}
	tb.order("cast Undertow at Rope Guard, 9 in, near Pikes and Crossbows",
		6, 6, // double 6: no counter can beat 12, none is rolled
		3,    // d3 of a d3: 3 Rope Guard? 3 wounds, 3 fall
		3,    // Marram suffers 3, no save: falls
		2, 5) // blast: Pikes 2, Crossbows 5
	if rope := tb.unit("u7"); rope.Fell != 3 || rope.By != "u4" {
		t.Errorf("Rope Guard: %d fell by %s, want 3 by Marram", rope.Fell, rope.By)
	}
	if m := tb.unit("u4"); m.Gone != Fallen || m.By != "" {
		t.Errorf("Marram: %q by %q, want fallen by nobody", m.Gone, m.By)
	}
	if p, c := tb.unit("u1"), tb.unit("u2"); p.Left != 8 || c.Left != 5 {
		t.Errorf("near the caster: %d Pikes, %d Crossbows; want 8 and 5", p.Left, c.Left)
	}
}

// TestDoubleOne: the power fails and the caster suffers d3. Common practice, no source.
func TestDoubleOne(t *testing.T) {
	tb := begin(t)
	tb.order("cast Veil on Pikes", 1, 1, 2)
	if tb.unit("u1").Has("veiled") || tb.unit("u4").Hurt != 2 {
		t.Errorf("veiled %v, Marram hurt %d; want no veil and 2", tb.unit("u1").Has("veiled"), tb.unit("u4").Hurt)
	}
}

// TestCounterMustBeMore: equal does not cancel, one more does. Common practice, no source.
func TestCounterMustBeMore(t *testing.T) {
	tb := begin(t)
	tb.order("cast Veil on Pikes", 4, 4, 4, 4)
	if !tb.unit("u1").Has("veiled") {
		t.Error("an equal counter cancelled the power")
	}
	tb = begin(t)
	tb.order("cast Veil on Pikes", 4, 4, 4, 5)
	if tb.unit("u1").Has("veiled") {
		t.Error("a higher counter did not cancel the power")
	}
}

// TestCounterNever: a sealed order acts by keeping the dice in the bag, and is opened.
func TestCounterNever(t *testing.T) {
	tb := begin(t)
	value, _ := Standing{Counter: &CounterOrder{Never: true}}.Marshal()
	tb.do("p2", Ahead{Battle: 1, Said: fmt.Sprintf("%064x", 1)})
	tb.openings = []Opening{{Of: tb.seq, Salt: "00", Value: value}}
	tb.order("cast Veil on Pikes", 4, 4)
	if len(of[*Opened](tb)) != 1 || !tb.unit("u1").Has("veiled") {
		t.Error("never was not opened, or a counter was rolled")
	}
}
