package rules

import (
	"math"
	"os"
	"testing"

	"drumhead/engine/attack"
	"drumhead/engine/odds"
)

// odd is the pack of testdata/odd.toml. Its chances below are worked by hand.
func odd(t *testing.T) *Pack {
	t.Helper()
	text, err := os.ReadFile("testdata/odd.toml")
	if err != nil {
		t.Fatal(err)
	}
	p, err := Load("odd.toml", text)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-12 {
		t.Errorf("%s: %.12f, want %.12f", what, got, want)
	}
}

func crossed(t *testing.T, a attack.Attack) odds.Law {
	t.Helper()
	s, err := a.Solve()
	if err != nil {
		t.Fatal(err)
	}
	return s.Crossed(a.Ladder.Rung)
}

// The wounds of a second save, sure damage, more damage and damage that spills,
// each by one attacker at known odds.
func TestEffectsOfDamageByHand(t *testing.T) {
	p := odd(t)
	crew, skipper := Group{Unit: "crew", Models: 1, Parts: []int{1, 0, 0}}, Group{Unit: "skipper", Models: 1}
	// A bow of strength 4 at toughness 5: 4+ to hit, 5+ to wound. Save 2+ worsened
	// by 2 is 4+; the charm is 4+ as well. 1/2 * 1/3 * 1/2.
	near(t, "bow at skipper", crossed(t, compiled(t, p, crew, "bow", skipper, Facts{})).Exactly(1), 1./12)
	// Scalding: no save at all, and 2 points: 1/2 * 1/3.
	near(t, "kettle at skipper", crossed(t, compiled(t, p, crew, "kettle", skipper, Facts{})).Exactly(2), 1./6)
	// The kettle at three of the crew goes on from model to model: 1/2 * 2/3, two
	// of them fall.
	a := compiled(t, p, crew, "kettle", Group{Unit: "crew", Models: 3, Parts: []int{3, 0, 0}}, Facts{})
	near(t, "kettle at crew", crossed(t, a).Exactly(2), 1./3)
	// A maul has damage 1, and 2 more; what is beyond a model's last wound is lost:
	// one of the crew, one point, however hard.
	a = compiled(t, p, skipper, "maul", Group{Unit: "crew", Models: 1, Parts: []int{1, 0, 0}}, Facts{})
	if a.Damage.Amount != (attack.Amount{Plus: 3}) || a.Damage.Spill {
		t.Errorf("a maul does %+v", a.Damage)
	}
	// A spit does 3 from model to model; one hit in three attacks and no save
	// takes three: 2+, 3+, a save of 5+ for the first that is hit.
	if a = compiled(t, p, skipper, "spit", Group{Unit: "crew", Models: 5, Parts: []int{5, 0, 0}}, Facts{}); !a.Damage.Spill || a.Damage.Amount.Plus != 3 {
		t.Errorf("a spit does %+v", a.Damage)
	}
	// Into three to six models each attack is two, by the club alone.
	for models, want := range map[int]int{2: 1, 3: 2, 6: 2, 7: 1} {
		a = compiled(t, p, crew, "club", Group{Unit: "crew", Models: models, Parts: []int{models, 0, 0}}, Facts{})
		if a.Number.Most() != want {
			t.Errorf("a club at %d models attacks %d times, want %d", models, a.Number.Most(), want)
		}
	}
}

// A unit of unlike models: the scout falls first, then the crew, then the mates.
// Each is saved for by its own save; to wound, the toughness of most counts.
func TestMixedUnit(t *testing.T) {
	p := odd(t)
	bows := Group{Unit: "crew", Models: 4}
	a := compiled(t, p, bows, "bow", Group{Unit: "crew", Models: 6}, Facts{})
	want := []struct{ models, wounds, good int }{{1, 1, 0}, {3, 1, 0}, {2, 2, 2}} // 3+ worsened by 2 is 5+
	if len(a.Ladder.Segments) != len(want) {
		t.Fatalf("%+v", a.Ladder)
	}
	for i, w := range want {
		s := a.Ladder.Segments[i]
		if s.Models != w.models || s.Wounds != w.wounds || max(0, s.Save.Good()) != w.good && s.Save.Sides > 0 {
			t.Errorf("segment %d is %+v, want %+v", i, s, w)
		}
	}
	if a.Ladder.Segments[0].Save.Sides != 0 {
		t.Error("a scout has no save")
	}
	if got := a.Steps[1].Need.Face; got != 3 {
		t.Errorf("strength 4 wounds the crew on %d+, want 3+: most have toughness 3", got)
	}
	// With the scout and the crew gone but for one, most are mates: toughness 4.
	a = compiled(t, p, bows, "bow", Group{Unit: "crew", Size: 6, Models: 3}, Facts{})
	if got := a.Steps[1].Need.Face; got != 4 || len(a.Ladder.Segments) != 2 {
		t.Errorf("wounds on %d+ with %d kinds of model, want 4+ and 2", got, len(a.Ladder.Segments))
	}
	// Two of each: a tie goes to the higher toughness.
	a = compiled(t, p, bows, "bow", Group{Unit: "crew", Models: 4, Parts: []int{2, 0, 2}}, Facts{})
	if got := a.Steps[1].Need.Face; got != 4 {
		t.Errorf("a tie wounds on %d+, want 4+", got)
	}
}

// Who falls: the scout, then the crew, then the mates; the owner may keep the
// scout for last. Whoever joined falls after all, and a leader's own wounds count.
func TestWhoFalls(t *testing.T) {
	p := odd(t)
	for _, c := range []struct {
		g    Group
		gone int
		want []int
	}{
		{Group{Unit: "crew", Models: 6}, 1, []int{3, 0, 2}},
		{Group{Unit: "crew", Models: 6}, 4, []int{0, 0, 2}},
		{Group{Unit: "crew", Models: 6}, 5, []int{0, 0, 1}},
		{Group{Unit: "crew", Models: 6, Keep: "scout"}, 3, []int{0, 1, 2}},
		{Group{Unit: "crew", Models: 6, Keep: "scout"}, 5, []int{0, 1, 0}},
	} {
		if got := p.After(c.g, c.gone); len(got) != 3 || got[0] != c.want[0] || got[1] != c.want[1] || got[2] != c.want[2] {
			t.Errorf("%+v less %d is %v, want %v", c.g, c.gone, got, c.want)
		}
	}
	led := Group{Unit: "crew", Models: 2, Parts: []int{2, 0, 0}, With: []Group{{Unit: "skipper", Models: 1, Hurt: 2}}}
	a := compiled(t, p, Group{Unit: "crew", Models: 4}, "bow", led, Facts{})
	if n := len(a.Ladder.Segments); n != 2 || a.Ladder.Segments[1].Wounds != 1 || a.Ladder.Segments[1].Save.Good() != 3 {
		t.Errorf("a led crew is %+v", a.Ladder)
	}
	if a.Steps[1].Need.Face != 3 {
		t.Errorf("a led crew is wounded on %+v", a.Steps[1].Need)
	}
}

// Parts attack with their own skill and weapons: two mates club on 3+, twice each.
func TestPartsAttack(t *testing.T) {
	p := odd(t)
	g := Group{Unit: "crew", Models: 6}
	a := compiled(t, p, g, "club", Group{Unit: "skipper", Models: 1}, Facts{Part: 2})
	if a.Number.Most() != 4 || a.Steps[0].Need.Face != 3 {
		t.Errorf("mates attack %d times on %v", a.Number.Most(), a.Steps[0].Need)
	}
	if _, _, err := p.Compile(g, "club", Group{Unit: "skipper", Models: 1}, Facts{Part: 1}); err == nil {
		t.Error("a scout has a bow and no club")
	}
}

// A cutter's long nines at an eel boat 10 inches off, worked by hand: 4 dice, 4+
// for the distance, one harder because the boat lies low beyond 9 inches: 5+.
// Against them 2 timbers of 5+. The hull has 6, marks at 2 and 4.
func TestBroadside(t *testing.T) {
	p, err := LoadBuiltin("brine")
	if err != nil {
		t.Fatal(err)
	}
	cutter, eel := Group{Unit: "watch-cutter", Models: 1}, Group{Unit: "eel-boat", Models: 1}
	v, why, err := p.Volley("shoot", cutter, "long-nines", eel, Facts{Distance: 100})
	if err != nil {
		t.Fatal(err)
	}
	if v.Pools.Mine.Number != 4 || v.Pools.Mine.Step.Need.Face != 5 || v.Pools.Theirs.Number != 2 || v.Pools.Theirs.Step.Need.Face != 5 {
		t.Errorf("pools are %+v", v.Pools)
	}
	if v.Pools.Mine.Step.Rerolls != attack.OneMiss || v.Hull.Left != 6 || v.Table != "critical" || len(v.Hull.Marks) != 2 {
		t.Errorf("%+v", v)
	}
	if len(why) < 5 {
		t.Errorf("%d reasons", len(why))
	}
	// From the stern two dice more; grape within 6 inches takes a timber away.
	if v, _, _ = p.Volley("shoot", cutter, "long-nines", eel, Facts{Distance: 50, Arc: "stern"}); v.Pools.Mine.Number != 6 || v.Pools.Mine.Step.Need.Face != 3 {
		t.Errorf("raking: %+v", v.Pools.Mine)
	}
	if v, _, _ = p.Volley("shoot", cutter, "swivels", eel, Facts{Distance: 60}); v.Pools.Theirs.Number != 1 {
		t.Errorf("grape: %+v", v.Pools.Theirs)
	}
	// Crew and timbers that were lost for good are missing.
	eel.Lost = []Loss{{"timbers", 1}}
	if v, _, _ = p.Volley("shoot", cutter, "long-nines", eel, Facts{Distance: 100}); v.Pools.Theirs.Number != 1 {
		t.Errorf("opened seams: %+v", v.Pools.Theirs)
	}
	// A boat that has lost 3 of 6 has 3 left and one mark ahead, at its next.
	if h, _ := p.Hull(Group{Unit: "eel-boat", Models: 1, Hurt: 3}); h.Left != 3 || len(h.Marks) != 1 || h.Marks[0] != 1 {
		t.Errorf("hull is %+v", h)
	}
	// The mark that is crossed off is behind.
	if h, _ := p.Hull(Group{Unit: "eel-boat", Models: 1, Hurt: 2}); len(h.Marks) != 1 || h.Marks[0] != 2 {
		t.Errorf("hull is %+v", h)
	}
	// A mast down halves the speed: 11 is 5.
	if pace := p.Pace(Group{Unit: "eel-boat", Models: 1, Statuses: []string{"mast down"}}); pace != 50 {
		t.Errorf("pace %d", pace)
	}
}

// Swivels at a hull of 1, worked by hand: three dice of 4+ at 6 inches, against
// two of 5+. The hull is gone unless as many were cancelled as hit.
func TestVolleyByHand(t *testing.T) {
	p, err := LoadBuiltin("brine")
	if err != nil {
		t.Fatal(err)
	}
	v, _, err := p.Volley("shoot", Group{Unit: "lock-barge", Models: 1}, "swivels", Group{Unit: "eel-boat", Models: 1, Hurt: 5}, Facts{Distance: 70})
	if err != nil {
		t.Fatal(err)
	}
	law, err := v.Law()
	if err != nil {
		t.Fatal(err)
	}
	// Hits of three at 1/2: 1, 3, 3, 1 of 8; timbers of two at 1/3: 4, 4, 1 of 9.
	// More hits than timbers: 1 hit and 0: 3*4; 2 and 0 or 1: 3*8; 3: 1*9 of 72.
	near(t, "gone", law.Exactly(1), 45./72)
}

// Foot of weight 6 with horse of 5 at foot of 5: 11 to 5 is the column 2:1, and
// the flank makes it 3:1. A 3 there drives the defence back, with the column two
// worse it would be costly.
func TestAssault(t *testing.T) {
	p, err := LoadBuiltin("column")
	if err != nil {
		t.Fatal(err)
	}
	foot, horse, delta := Group{Unit: "weir-foot", Models: 1}, Group{Unit: "toll-horse", Models: 1}, Group{Unit: "delta-foot", Models: 1}
	for _, c := range []struct {
		all   []Group
		at    Group
		facts Facts
		odds  string
		three string
	}{
		{[]Group{foot, horse}, delta, Facts{}, "2:1", "costly"},
		{[]Group{foot, horse}, delta, Facts{Arc: "flank"}, "3:1", "driven back"},
		{[]Group{foot}, delta, Facts{}, "1:1", "thrown back"},
		{[]Group{foot}, delta, Facts{Cover: true}, "1:2", "thrown back"},
		{[]Group{foot}, delta, Facts{Cover: true, Across: "water"}, "1:3", "attack broken"},
		{[]Group{horse}, Group{Unit: "delta-foot", Models: 1, Statuses: []string{"shaken"}}, Facts{}, "2:1", "costly"},
		{[]Group{foot, horse}, Group{Unit: "delta-guns", Models: 1}, Facts{}, "4:1", "driven back"},
	} {
		looked, _, err := p.Assault("charge", c.all, c.at, c.facts)
		if err != nil {
			t.Fatal(err)
		}
		if looked.Odds() != c.odds {
			t.Errorf("%+v: column %s, want %s", c, looked.Odds(), c.odds)
		}
		words, then := looked.Result(looked.Roll.Find(3))
		if r := p.Result(c.three); words != r.Words || len(then) != len(r.Then) {
			t.Errorf("a 3 at %s is %q, want %q", c.odds, words, r.Words)
		}
	}
}
