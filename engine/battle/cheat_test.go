package battle

import (
	"testing"

	"drumhead/engine/dice"
)

// TestLengthsMeanWhatTheySay: a sign is never dropped, a half is a half, and of two
// things said that cannot both be meant neither is.
func TestLengthsMeanWhatTheySay(t *testing.T) {
	for sheet, tenths := range map[string]int{
		"shoot Mortar at Riders, 7½ in": 75, "shoot Mortar at Riders, 7 ¼ in": 0, "shoot Mortar at Riders, ½ in": 5, "shoot Mortar at Riders, 7¾\"": 78,
		"shoot Mortar at Riders, -7 in": 0, "shoot Mortar at Riders −7 in": 0, "shoot Mortar at Riders, -7.4 in": 0, "shoot Mortar at Riders, 7² in": 0,
		"shoot Mortar at Riders, 7 in, 9 in": 0, "shoot Mortar at Riders, 7 in, 7 in": 70, "shoot Mortar at Riders 7-9 in": 0,
		"shoot Mortar at Riders, 120 in": 1200, "shoot Mortar at Riders, NaN in": 0, "shoot Mortar at Riders, 1e9 in": 0,
		"move Pikes -5 in": 0, "move Pikes 3 in north 2 in east": 0, "move Pikes 2-3 in": 0, "move Pikes 5 in": 50,
		"move Pikes to Bridge to Well": 0, "move Pikes to Bridge and to Well": 0, "hold Pikes at Bridge at Well": 0,
		"shoot Mortar at Riders with 1 with 2, 7 in": 0, "shoot Mortar at Riders with 1, 7 in, with 1": 70,
		"hold Pikes if Riders fell if Guns fell": 0, "charge Pikes at Riders, 7 in, flank, rear": 0,
		"charge Pikes at Riders, 7 in, if Riders are in, if Guns are in": 0, "cast Veil on Pikes, near Mortar, near Guns": 0,
	} {
		lines, err := ParseSheet(begin(t).state, 0, sheet)
		switch {
		case tenths == 0 && err == nil:
			t.Errorf("%q was read as %+v", sheet, lines)
		case tenths > 0 && err != nil:
			t.Errorf("%q: %s", sheet, spell(err))
		case tenths > 0 && lines[0].Tenths != tenths:
			t.Errorf("%q: %d tenths, want %d", sheet, lines[0].Tenths, tenths)
		}
	}
}

// TestElseOfEveryOrder: else counts also behind an order that names no target, and
// behind a split, all of which then goes to the one that is named.
func TestElseOfEveryOrder(t *testing.T) {
	tb := begin(t)
	tb.order("fight Pikes, else hold")
	if h := of[*Held](tb); len(h) != 1 || h[0].Unit != "u1" {
		t.Errorf("fight … else hold: %+v", tb.events)
	}
	tb = begin(t)
	tb.state.unit("u1").With, tb.state.unit("u5").With = []string{"u5"}, []string{"u1"}
	tb.order("move Pikes north, else hold")
	if h := of[*Held](tb); len(h) != 1 {
		t.Errorf("move … else hold: %+v", tb.events)
	}
	for _, c := range []struct{ sheet, at string }{
		{"split Shooters: s4 at Toughness 3 20 in, s6 at Toughness 4 20 in, else hold", ""},
		{"split Shooters: s4 at Toughness 3 20 in, s6 at Toughness 4 20 in, else Toughness 4 20 in", "u5"},
	} {
		tb := commonTable(t)
		tb.state.unit("u2").With, tb.state.unit("u4").With = []string{"u4"}, []string{"u2"} // nobody shoots into a melee
		if c.at == "" {
			tb.order(c.sheet)
			if h := of[*Held](tb); len(h) != 1 || h[0].Unit != "u1" {
				t.Errorf("%s: %+v", c.sheet, tb.events)
			}
			continue
		}
		tb.order(c.sheet, 1, 1, 1, 1)
		for _, a := range of[*Attacked](tb) {
			if a.At != c.at {
				t.Errorf("%s: shot at %s", c.sheet, a.At)
			}
		}
	}
}

// TestNowhereTwice: who stands among a unit is where that is, moves once and not in
// its own way and theirs, and has run when they have.
func TestNowhereTwice(t *testing.T) {
	among := func() *table {
		tb := begin(t)
		captain := tb.state.unit("u4")
		captain.Kind, captain.Joined = "lock-captain", "u1"
		return tb
	}
	tb := among()
	tb.refuses("move Pikes to Bridge; hold Captain at Well", "battle.refuse.joined_hold")
	tb.order("move Pikes to Bridge; hold Captain at Bridge")
	tb.refuses("hold Pikes at Well", "battle.refuse.moved")

	tb = among()
	tb.state.unit("u4").Joined = ""
	tb.refuses("move Captain to Pikes; move Pikes 5 in", "battle.refuse.moved_among")
	tb.order("move Captain to Pikes")
	tb.refuses("move Pikes 5 in", "battle.refuse.moved_among")

	tb = among()
	tb.order("run Pikes", 3)
	if !tb.unit("u4").Has("ran") {
		t.Error("the captain ran with them, and does not know it")
	}
	tb.refuses("move Captain 2 in", "battle.refuse.moved")
}

// TestPerhaps: what a line with a condition would change is left open: a sheet is
// neither refused nor promised for its sake.
func TestPerhaps(t *testing.T) {
	tb := begin(t)
	tb.state.unit("u1").With, tb.state.unit("u5").With = []string{"u5"}, []string{"u1"}
	tb.order("fall back Pikes, if Guns fell; fight Pikes",
		1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1)
	if len(of[*Skipped](tb)) != 1 || len(of[*Attacked](tb)) == 0 {
		t.Errorf("%+v", tb.events)
	}
	tb = begin(t)
	tb.order("run Crossbows, if Guns fell; shoot Crossbows at Guns, 20 in", 1, 1, 1, 1, 1, 1, 1, 1, 1, 1)
	if len(of[*Attacked](tb)) != 1 {
		t.Errorf("%+v", tb.events)
	}
}

// TestTogetherMeansAll: where both strike at the same time, a leader strikes even
// though the first blows fell them.
func TestTogetherMeansAll(t *testing.T) {
	crew := []Model{{Kind: "crew", Size: 4}, {Kind: "skipper", Size: 1}}
	tb := beginFile(t, "odd.toml", crew, crew)
	mine, theirs, leader := tb.state.unit("u1"), tb.state.unit("u3"), tb.state.unit("u4")
	mine.Left, mine.Fell, mine.Parts = 2, 2, []int{0, 0, 2}
	theirs.Left, theirs.Fell, theirs.Parts = 1, 3, []int{1, 0, 0}
	leader.Hurt, leader.Joined = 2, "u3"
	mine.With, theirs.With = []string{"u3"}, []string{"u1"}
	tb.order("fight Crew",
		3, 3, 3, 3, // two mates, two attacks each: all hit
		5, 5, 5, 5, // toughness 3 and 5 are as many: the higher, so 5+
		1, 1, // the last of the crew and the skipper lose their saves
		1,       // the crew that fell strikes all the same
		1, 1, 1) // and so does the skipper
	if b := of[*Broken](tb); len(b) != 2 {
		t.Errorf("broken: %+v", b)
	}
}

// TestAnsweredDead: who strikes first and is felled by the answer is off the table.
func TestAnsweredDead(t *testing.T) {
	tb := beginFile(t, "odd.toml", []Model{{Kind: "crew", Size: 4}}, []Model{{Kind: "skipper", Size: 1}})
	crew, skipper := tb.state.unit("u1"), tb.state.unit("u2")
	crew.Left, crew.Fell, crew.Parts = 1, 3, []int{0, 0, 1} // a mate, with two attacks
	crew.With, skipper.With, skipper.Hurt = []string{"u2"}, []string{"u1"}, 2
	tb.order("fight Crew",
		1, 1, 1, // the skipper is quicker and misses
		3, 3, 5, 5, 1) // both blows come through, and the first is enough
	if b := of[*Broken](tb); len(b) != 1 || b[0].Unit != "u2" || len(tb.unit("u1").With) != 0 {
		t.Errorf("broken %+v, the crew is in melee with %v", b, tb.unit("u1").With)
	}
}

// TestBearerFell: a weapon whose bearers all fell is not there, and one of a part of
// the unit is.
func TestBearerFell(t *testing.T) {
	tb := beginFile(t, "odd.toml", []Model{{Kind: "crew", Size: 4}}, []Model{{Kind: "crew", Size: 4}})
	crew := tb.state.unit("u1")
	crew.Left, crew.Fell, crew.Parts = 1, 3, []int{0, 1, 0} // the scout, who has no kettle
	tb.refuses("shoot Crew at Crew, 10 in, with kettle", "battle.refuse.weapon")
	tb.order("shoot Crew at Crew, 10 in", 1)
	tb.refuses("shoot Crew at Crew, 10 in", "battle.refuse.shot")
}

// few has so many dice and shows a one on each.
type few struct{ left int }

func (f *few) Draw(int) int { f.left--; return 1 }
func (f *few) Left() int    { return f.left }

// TestBurnOnce: what lies on units happens once a turn, however few dice were left.
func TestBurnOnce(t *testing.T) {
	tb := beginWith(t, "brine", "salt-road", []string{"watch-cutter", "watch-cutter", "watch-cutter"}, []string{"eel-boat"})
	for _, id := range []string{"u1", "u2", "u3"} {
		u := tb.state.unit(id)
		u.Statuses = []string{"on fire"}
		hull, _ := tb.state.Pack.Hull(tb.state.group(*u))
		u.Hurt = hull.Marks[0] - 1 // so that dice fall
	}
	if len(tb.state.eachTurn(tb.unit("u1"))) == 0 {
		t.Fatalf("fire does nothing in this pack: %+v", tb.unit("u1"))
	}
	done := Order{Player: tb.state.Players[tb.state.Side], Do: Sheet{Battle: 1, Orders: []Line{{Order: Done}}}}
	for left := range 200 {
		events, err := Decide(tb.state, done, &few{left})
		if err != nil {
			t.Fatal(err)
		}
		burnt := 0
		for _, e := range events {
			if s, ok := e.(*Suffered); ok && s.Why == ByStatus {
				burnt++
			}
		}
		if burnt != 0 && burnt != 3 {
			t.Fatalf("with %d dice %d of three ships burn, and would again", left, burnt)
		}
	}
	if events, _ := Decide(tb.state, done, &few{dice.MostDice}); len(events) < 3 {
		t.Error("nothing burns")
	}
}
