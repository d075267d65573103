package rules

import (
	"os"
	"testing"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// common is the pack of testdata/common.toml: the facts that a player's tables
// take as given. Every check in this file is common practice, no source.
func common(t *testing.T) *Pack {
	t.Helper()
	text, err := os.ReadFile("testdata/common.toml")
	if err != nil {
		t.Fatal(err)
	}
	p, err := Load("common.toml", text)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func compiled(t *testing.T, p *Pack, from Group, weapon string, at Group, facts Facts) attack.Attack {
	t.Helper()
	a, _, err := p.Compile(from, weapon, at, facts)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// A skill of 3+ succeeds on four faces of six (common practice, no source).
func TestSkill(t *testing.T) {
	a := compiled(t, common(t), Group{Unit: "t3", Models: 1}, "s3", Group{Unit: "t3", Models: 1}, Facts{})
	if got := a.Steps[0].Good(); got != 4 {
		t.Errorf("3+ succeeds on %d faces, want 4", got)
	}
}

// To wound: twice or more 2+, greater 3+, equal 4+, less 5+, half or less 6+
// (common practice, no source).
func TestWounding(t *testing.T) {
	p := common(t)
	for _, c := range []struct {
		weapon, target, need string
	}{
		{"s4", "t2", "2+"}, {"s8", "t3", "2+"}, {"s4", "t3", "3+"}, {"s3", "t2", "3+"},
		{"s3", "t3", "4+"}, {"s6", "t6", "4+"}, {"s3", "t4", "5+"}, {"s4", "t6", "5+"},
		{"s3", "t6", "6+"}, {"s2", "t4", "6+"}, {"s1", "t6", "6+"},
	} {
		a := compiled(t, p, Group{Unit: "t3", Models: 1}, c.weapon, Group{Unit: c.target, Models: 1}, Facts{})
		if got := a.Steps[1].Need.String(); got != c.need {
			t.Errorf("%s against %s wounds on %s, want %s", c.weapon, c.target, got, c.need)
		}
	}
}

// Save 5+ at piercing 1 is 6+, at piercing 2 no save is possible (common
// practice, no source).
func TestPiercing(t *testing.T) {
	p := common(t)
	for _, c := range []struct {
		weapon string
		good   int
	}{{"s3", 2}, {"s6", 1}, {"s8", 0}} {
		a := compiled(t, p, Group{Unit: "t3", Models: 1}, c.weapon, Group{Unit: "t3", Models: 1}, Facts{})
		if got := a.Ladder.Segments[0].Save.Good(); got != c.good {
			t.Errorf("a save of 5+ against %s holds on %d faces, want %d", c.weapon, got, c.good)
		}
	}
}

// Running adds a d6 and gives up shooting and charging, as falling back does;
// 1 inch of spacing, 2 of cohesion; a flier moves over units; a large vehicle
// fires everything; a sidearm is used instead (common practice, no source).
func TestMovementFacts(t *testing.T) {
	p := common(t)
	if m := p.Movement; m.RunAdds.String() != "d6" || m.Spacing != 10 || m.Cohesion != 20 {
		t.Errorf("movement is %+v", m)
	}
	for _, status := range []string{p.Movement.RunStatus, p.Movement.FallBackStatus} {
		g := Group{Unit: "t3", Models: 5, Statuses: []string{status}}
		if len(p.Forbids(g, "shoot")) != 1 || len(p.Forbids(g, "charge")) != 1 || len(p.Forbids(g, "move")) != 0 {
			t.Errorf("%q forbids: shoot %v, charge %v, move %v", status, p.Forbids(g, "shoot"), p.Forbids(g, "charge"), p.Forbids(g, "move"))
		}
	}
	wagon, foot := Group{Unit: "wagon", Models: 1}, Group{Unit: "t3", Models: 5}
	for _, what := range []string{"move over", "shoot every weapon"} {
		if !p.May(wagon, what) || p.May(foot, what) {
			t.Errorf("%s: wagon %v, foot %v", what, p.May(wagon, what), p.May(foot, what))
		}
	}
	if !p.Weapon("sidearm").Light() || p.Weapon("s3").Light() {
		t.Error("only a sidearm is used instead of the others")
	}
}

// A charge is 2d6 inches to within 1 inch of the target (common practice, no
// source).
func TestCharge(t *testing.T) {
	p := common(t)
	for _, c := range []struct {
		gap  reason.Inches
		need int
	}{{74, 7}, {80, 7}, {81, 8}, {10, 0}, {5, 0}, {130, 12}} {
		total, _, err := p.Charge(Group{Unit: "t3", Models: 5}, c.gap)
		if err != nil {
			t.Fatal(err)
		}
		if total.Value != c.need || total.Judge != attack.TotalAtLeast || total.Terms[0] != (attack.Term{Dice: 2, Sides: 6}) {
			t.Errorf("gap %d: %+v, want at least %d on 2d6", c.gap, total, c.need)
		}
	}
}

// A unit that lost models rolls a d6 and adds the losses; each point above its
// nerve is a model that flees (common practice, no source).
func TestMorale(t *testing.T) {
	m, _, err := common(t).Morale(Group{Unit: "t3", Models: 3}, 3)
	if err != nil {
		t.Fatal(err)
	}
	if m.Total.Plus != 3 || m.Total.Value != 6 || m.Total.Judge != attack.TotalAtMost {
		t.Errorf("morale is %+v", m)
	}
	for total, flee := range map[int]int{4: 0, 6: 0, 7: 1, 8: 2, 9: 3} {
		if got := m.Flee(total); got != flee {
			t.Errorf("at %d %d flee, want %d", total, got, flee)
		}
	}
}

// Casting: 2d6, at least the value; double 1 fails and hurts, double 6 hurts;
// within 24 inches strictly more cancels; a caster killed by it hurts every unit
// within 6 inches by d6 (common practice, no source).
func TestCasting(t *testing.T) {
	c, _, err := common(t).Casting(Group{Unit: "t3", Models: 1}, "spark")
	if err != nil {
		t.Fatal(err)
	}
	if c.Cast.Value != 7 || c.Cast.Judge != attack.TotalAtLeast || c.Within != 240 {
		t.Errorf("casting is %+v", c)
	}
	for _, roll := range []struct {
		faces []int
		fails bool
		hurts int
	}{{[]int{1, 1}, true, 1}, {[]int{6, 6}, false, 1}, {[]int{1, 6}, false, 0}, {[]int{4, 4}, false, 0}} {
		fails, then := c.Shows(roll.faces)
		if fails != roll.fails || len(then) != roll.hurts {
			t.Errorf("%v: fails %v, %d consequences", roll.faces, fails, len(then))
		}
		for _, does := range then {
			if does.Do != "sure" || does.Amount.String() != "d3" || does.Who != "caster" {
				t.Errorf("%v does %+v", roll.faces, does)
			}
		}
	}
	if counter, possible := c.Against(11); !possible || counter.Judge != attack.TotalMoreThan || counter.Value != 11 {
		t.Errorf("a counter to 11 is %+v, %v", counter, possible)
	}
	if _, possible := c.Against(12); possible {
		t.Error("no 2d6 is more than 12")
	}
	if len(c.Dies) != 1 || c.Dies[0].Amount.String() != "d6" || c.Dies[0].Within != 60 || c.Dies[0].Who != "every unit" {
		t.Errorf("the caster's death does %+v", c.Dies)
	}
}
