package battle

import (
	"strings"
	"testing"
)

// TestMistakes: the mistakes that a sheet can hold, each refused before any die.
func TestMistakes(t *testing.T) {
	for _, c := range []struct{ sheet, id string }{
		{"mve Pikes 5", "battle.refuse.verb"},
		{"", "battle.refuse.empty"},
		{"move Pikez 5 in", "battle.refuse.unit_near"},
		{"move Dragons 5 in", "battle.refuse.unit"},
		{"hold Riders", "battle.refuse.theirs"},
		{"shoot Crossbows at Pikes", "battle.refuse.friend"},
		{"shoot Crossbows at Ridrs", "battle.refuse.target_near"},
		{"shoot Crossbows", "battle.refuse.no_target"},
		{"shoot Crossbows at Riders, please", "battle.refuse.clause"},
		{"shoot Mortar at Riders; move Pikes 5 in", "battle.refuse.phase"},
		{"shoot Crossbows at Guns, 26.3 in", "battle.refuse.range"},
		{"shoot Crossbows at Guns, no sight", "battle.refuse.sight"},
		{"shoot Crossbows at Guns with 11", "battle.refuse.models"},
		{"shoot Crossbows at Guns with mortar", "battle.refuse.weapon"},
		{"shoot Pikes at Guns", "battle.refuse.unarmed"},
		{"shoot Crossbows at Guns; shoot Crossbows at Riders", "battle.refuse.shot"},
		{"run Pikes; charge Pikes at Guns, 5 in", "battle.refuse.may_not"},
		{"run Crossbows; shoot Crossbows at Guns", "battle.refuse.may_not"},
		{"charge Pikes at Guns", "battle.refuse.gap"},
		{"charge Pikes at Guns, 14 in", "battle.refuse.charge_far"},
		{"move Pikes 5.8 in", "battle.refuse.far"},
		{"move Pikes 4 in; move Pikes 1 in", "battle.refuse.moved"},
		{"move Pikes to 30,12", "battle.refuse.coordinates"},
		{"move Pikes to Mill", "battle.refuse.objective"},
		{"fall back Pikes", "battle.refuse.free"},
		{"fight Pikes", "battle.refuse.alone"},
		{"cast Fog on Pikes", "battle.refuse.no_power"},
		{"cast Undertow at Pikes", "battle.refuse.friend"},
		{"cast Veil on Riders", "battle.refuse.foe"},
		{"cast Undertow at Guns, 14.5 in", "battle.refuse.range"},
		{"cast Veil on Pikes; cast Veil on Mortar", "battle.refuse.cast"},
		{"done; hold Pikes", "battle.refuse.after_done"},
		{"split Crossbows: crossbow at Riders", "battle.refuse.split"},
		{"shoot Crossbows at Riders, else Guns, else Teasel, else Rope, else Guns", "battle.refuse.else"},
		{strings.Repeat("hold Pikes\n", MaxLines+1), "battle.refuse.lines"},
		{strings.Repeat("x", MaxSheet+1), "battle.refuse.sheet"},
		{"hold Pikes if Riders dance", "battle.refuse.condition"},
		{"move Pikes 500 in", "battle.refuse.inches"},
	} {
		tb := begin(t)
		tb.refuses(c.sheet, c.id)
	}
}

// TestMostLines: a sheet of the most lines there may be is played.
func TestMostLines(t *testing.T) {
	tb := begin(t)
	tb.order(strings.Repeat("hold Pikes\n", MaxLines))
	if len(of[*Held](tb)) != MaxLines {
		t.Errorf("%d lines held, want %d", len(of[*Held](tb)), MaxLines)
	}
}

// TestRefusedLine: the refusal names the line, and the example is one that works.
func TestRefusedLine(t *testing.T) {
	tb := begin(t)
	if why := tb.refuses("hold Pikes\nshoot Mortar at Riders\nmove Marram 2 in", "battle.refuse.phase"); why.Line != 3 {
		t.Errorf("line %d, want 3", why.Line)
	}
	why := tb.refuses("hold Pikes\nmove Crossbos 3 in", "battle.refuse.unit_near")
	if why.Line != 2 || why.Example != "move Crossbows 3 in" {
		t.Errorf("line %d, example %q", why.Line, why.Example)
	}
	if _, err := ParseSheet(tb.state, 0, why.Example); err != nil {
		t.Errorf("the example is refused: %s", spell(err))
	}
}

// TestTwoFit: a name that fits two units is asked about, the whole name is not.
func TestTwoFit(t *testing.T) {
	tb := begin(t)
	tb.state.Names = map[string]string{"u1": "Weir Pikes", "u2": "Pike Reserve"}
	why := tb.refuses("move Pik 5 north", "battle.refuse.several")
	if why.Example != "move Weir Pikes 5 north" {
		t.Errorf("example %q", why.Example)
	}
	tb.order("move Weir 5 north")
}

// TestNotYourTurn, and nobody else's business.
func TestNotYourTurn(t *testing.T) {
	tb := begin(t)
	for player, id := range map[string]string{"p2": "battle.refuse.turn", "p3": "battle.refuse.stranger"} {
		_, err := Check(tb.state, Order{Player: player, Do: Sheet{Orders: []Line{{Order: Done}}}})
		if got := strings.Fields(spell(err))[0]; got != id {
			t.Errorf("%s: %s, want %s", player, got, id)
		}
	}
}

// TestSorted: lines of a wrong order sort into one that is allowed.
func TestSorted(t *testing.T) {
	tb := begin(t)
	lines := tb.read("done; charge Pikes at Guns, 9 in; shoot Mortar at Riders; move Marram 2 in; shoot Crossbows at Guns; move Pikes 3 in")
	if got := show(Sorted(tb.state, lines)); got != "[3 5 2 4 1 0]" {
		t.Errorf("sorted: %s", got)
	}
}

// TestPhoneSpelling: what phones make of a sheet means the same.
func TestPhoneSpelling(t *testing.T) {
	tb := begin(t)
	want := tb.read("charge Pikes at Guns, 7.4 in, if Riders are in")
	for _, sheet := range []string{
		"Charge Pikes at Guns, 7,4 in, if Riders are in",
		"CHARGE PIKES AT GUNS 7.4in if riders are in",
		"charge pikes at guns — 7.4” — if Riders are in melee",
		"1. charge Weir Pikes at Toll Guns 7.4″, if the Riders are in.",
		"charge\u00a0Pikes at\u00a0Guns, 7.4 inches away, if Riders are in",
		"• charge Pik at Gun, 7.38 in, if Rid are in",
		"charge Pìkes at Guns, 7.4 '' if Riders are in",
	} {
		if got := tb.read(sheet); len(got) != 1 || show(got[0].Aim) != show(want[0].Aim) || got[0].Unit != want[0].Unit || *got[0].If != *want[0].If {
			t.Errorf("%q: %+v, want %+v", sheet, got, want)
		}
	}
}

func (tb *table) read(sheet string) []Line {
	tb.Helper()
	lines, err := ParseSheet(tb.state, tb.state.Side, sheet)
	if err != nil {
		tb.Fatalf("%q: %s", sheet, spell(err))
	}
	return lines
}
