package rules

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

func osier(t testing.TB) *Pack {
	t.Helper()
	p, err := LoadBuiltin("osier")
	if err != nil || p == nil {
		t.Fatalf("osier: %v", err)
	}
	return p
}

// scripted is a drawer whose faces are written down.
type scripted struct {
	t     *testing.T
	faces []int
}

func (s *scripted) Left() int { return len(s.faces) }

func (s *scripted) Draw(sides int) int {
	if len(s.faces) == 0 {
		s.t.Fatal("more dice were drawn than the example has")
	}
	face := s.faces[0]
	if face > sides {
		s.t.Fatalf("face %d on a d%d", face, sides)
	}
	s.faces = s.faces[1:]
	return face
}

func TestBuiltins(t *testing.T) {
	if !slices.Contains(Builtins(), "osier") {
		t.Fatalf("built-in packs are %v", Builtins())
	}
	for _, id := range Builtins() {
		p, err := LoadBuiltin(id)
		if err != nil {
			t.Fatalf("%v", err)
		}
		if p.ID != id || len(p.Hash) != 64 || p.Edition < 1 {
			t.Errorf("%s: id %s, hash %s, edition %d", id, p.ID, p.Hash, p.Edition)
		}
	}
	if p, err := LoadBuiltin("nothing"); p != nil || err != nil {
		t.Errorf("a pack that is not there gives %v, %v", p, err)
	}
}

// The mortar's attack of the design's story, worked by hand: 4+ to hit, a
// natural 6 is one extra hit, 3+ to wound, save 6+, damage 2.
func TestMortarAtRiders(t *testing.T) {
	p := osier(t)
	a := compiled(t, p, Group{Unit: "bell-mortar", Models: 3}, "bell-mortar", Group{Unit: "fen-riders", Models: 6}, Facts{})
	if a.Number.Most() != 4 || a.Steps[0].Need.Face != 4 || a.Steps[1].Need.Face != 3 || a.Ladder.Segments[0].Save.Need.Face != 6 {
		t.Fatalf("%+v", a)
	}
	d := &scripted{t, []int{6, 4, 3, 1, 5, 3, 2, 6, 2}}
	r := a.Roll(d)
	if r.Fell != 1 || r.Crossed != 2 || len(d.faces) != 0 {
		t.Errorf("%d fell, %d wounds, %d dice left over; want 1, 2, 0", r.Fell, r.Crossed, len(d.faces))
	}
}

// The crossbows of the same story: 4+, 4+ because strength equals toughness,
// save 5+; without the re-roll of a save three of four are lost.
func TestCrossbowsAtRiders(t *testing.T) {
	p := osier(t)
	a := compiled(t, p, Group{Unit: "ferry-crossbows", Models: 10}, "crossbow", Group{Unit: "fen-riders", Models: 6}, Facts{Distance: 225})
	d := &scripted{t, []int{6, 5, 5, 4, 4, 4, 3, 2, 2, 1, 6, 5, 4, 4, 2, 1, 6, 4, 3, 1}}
	r := a.Roll(d)
	if r.Crossed != 3 || r.Fell != 1 || r.Hurt != 1 {
		t.Errorf("%d wounds, %d fell, hurt %d; want 3, 1, 1", r.Crossed, r.Fell, r.Hurt)
	}
}

// said writes reasons so that a test can read them.
func said(r reason.Reason) string {
	var parts []string
	for _, arg := range r.Args {
		switch v := arg.Value.(type) {
		case reason.Reason:
			parts = append(parts, "("+said(v)+")")
		default:
			parts = append(parts, fmt.Sprint(v))
		}
	}
	return strings.TrimSpace(r.ID + " " + strings.Join(parts, " "))
}

// Every number of an attack has its reason, in the order that Compile states.
func TestReasons(t *testing.T) {
	p := osier(t)
	_, why, err := p.Compile(Group{Unit: "bell-mortar", Models: 3}, "bell-mortar", Group{Unit: "fen-riders", Models: 6}, Facts{Cover: true})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"why.attacks.number (why.attacks.once 1 4 bell mortar)",
		"why.step.need to hit 4+ (why.profile.name skill 4+)",
		"why.natural.extra 6 1 ringing shot",
		"why.step.need to wound 3+ (why.chart.more 3+ strength 6 toughness 4)",
		"why.step.need save 6+ (why.and (why.need 4+) (why.worse 2 piercing))",
		"why.damage 2 2",
	}
	for i, r := range why {
		if i >= len(want) || said(r) != want[i] {
			t.Errorf("reason %d is %q, want %q", i, said(r), append(want, "", "", "")[i])
		}
	}
	if len(why) != len(want) {
		t.Errorf("%d reasons, want %d", len(why), len(want))
	}
}

// TestEffects holds one case, worked by hand, for every kind of effect and
// every fact that osier uses.
func TestEffects(t *testing.T) {
	p := osier(t)
	step := func(n int) func(attack.Attack) string {
		return func(a attack.Attack) string { return a.Steps[n].Need.String() }
	}
	save := func(a attack.Attack) string { return a.Ladder.Segments[0].Save.Need.String() }
	number := func(a attack.Attack) string {
		return fmt.Sprintf("%d x %s", a.Number.Times, a.Number.Per)
	}
	last := func(a attack.Attack) string { return a.Ladder.Segments[0].Last.Need.String() }
	riders, pikes, barge := Group{Unit: "fen-riders", Models: 6}, Group{Unit: "weir-pikes", Models: 10}, Group{Unit: "barge", Models: 1}
	crossbows := Group{Unit: "ferry-crossbows", Models: 10}
	with := func(g Group, status string) Group { g.Statuses = []string{status}; return g }
	for _, c := range []struct {
		name   string
		from   Group
		weapon string
		at     Group
		facts  Facts
		get    func(attack.Attack) string
		want   string
	}{
		{"full range", crossbows, "crossbow", riders, Facts{Distance: 131}, step(0), "4+"},
		{"half range, measured", crossbows, "crossbow", riders, Facts{Distance: 130}, step(0), "3+"},
		{"half range, said", crossbows, "crossbow", riders, Facts{HalfRange: true}, step(0), "3+"},
		{"cover", crossbows, "crossbow", riders, Facts{Cover: true}, save, "4+"},
		{"cover ignored", Group{Unit: "bell-mortar", Models: 3}, "bell-mortar", riders, Facts{Cover: true}, save, "6+"},
		{"cover is nothing in melee", riders, "fen-lance", crossbows, Facts{Cover: true}, save, "6+"},
		{"a status of the target", crossbows, "crossbow", with(riders, "veiled"), Facts{}, step(0), "5+"},
		{"that status does not hinder its unit", with(crossbows, "veiled"), "crossbow", riders, Facts{}, step(0), "4+"},
		{"a status of the attackers", with(riders, "mired"), "fen-lance", pikes, Facts{}, step(0), "5+"},
		{"charged", riders, "fen-lance", pikes, Facts{Charged: true}, step(1), "2+"},
		{"not charged", riders, "fen-lance", pikes, Facts{}, step(1), "3+"},
		{"target charged", pikes, "pike", riders, Facts{TargetCharged: true}, step(0), "3+"},
		{"both charged", pikes, "pike", riders, Facts{TargetCharged: true, Charged: true}, step(0), "4+"},
		{"re-roll ones", Group{Unit: "rope-guard", Models: 5}, "rope-axe", pikes, Facts{}, func(a attack.Attack) string { return fmt.Sprint(a.Steps[0].Rerolls == attack.Ones) }, "true"},
		{"re-roll misses against large", Group{Unit: "hookmen", Models: 5}, "boathook", barge, Facts{}, func(a attack.Attack) string { return fmt.Sprint(a.Steps[1].Rerolls == attack.Misses) }, "true"},
		{"no re-roll against others", Group{Unit: "hookmen", Models: 5}, "boathook", pikes, Facts{}, func(a attack.Attack) string { return fmt.Sprint(a.Steps[1].Rerolls) }, "0"},
		{"passes without a roll", Group{Unit: "toll-guns", Models: 6}, "toll-gun", barge, Facts{HalfRange: true}, func(a attack.Attack) string { return fmt.Sprint(a.Steps[0].Certain()) }, "true"},
		{"twice the attacks", Group{Unit: "withy-slingers", Models: 5}, "sling", pikes, Facts{HalfRange: true}, number, "10 x 1"},
		{"not after moving", Group{Unit: "withy-slingers", Models: 5}, "sling", pikes, Facts{HalfRange: true, Moved: true}, number, "5 x 1"},
		{"at least two attacks", Group{Unit: "hookmen", Models: 5}, "fire-pot", pikes, Facts{}, func(a attack.Attack) string { return fmt.Sprint(a.Number.Least) }, "2"},
		{"not against few", Group{Unit: "hookmen", Models: 5}, "fire-pot", riders, Facts{}, func(a attack.Attack) string { return fmt.Sprint(a.Number.Least) }, "0"},
		{"two crews", Group{Unit: "toll-guns", Models: 4}, "toll-gun", pikes, Facts{}, number, "2 x 3"},
		{"some of the models", pikes, "pike", riders, Facts{Attacking: 4}, number, "4 x 1"},
		{"attacks of the profile", riders, "fen-lance", pikes, Facts{}, number, "6 x 2"},
		{"a last save by an effect", crossbows, "crossbow", Group{Unit: "teasel", Models: 1}, Facts{}, last, "5+"},
		{"a last save of the profile", crossbows, "crossbow", Group{Unit: "lock-captain", Models: 1}, Facts{}, last, "6+"},
		{"no save", crossbows, "crossbow", Group{Unit: "teasel", Models: 1}, Facts{}, func(a attack.Attack) string { return fmt.Sprint(a.Ladder.Segments[0].Save.Sides) }, "0"},
		{"a wound lost before", crossbows, "crossbow", Group{Unit: "fen-riders", Models: 6, Hurt: 1}, Facts{}, func(a attack.Attack) string { return fmt.Sprint(a.Ladder.Rung) }, "1"},
		{"armour finder", Group{Unit: "lock-captain", Models: 1}, "long-arbalest", riders, Facts{}, func(a attack.Attack) string { return fmt.Sprint(a.Steps[1].Naturals[0].Gift == attack.NoSave) }, "true"},
		{"skip", Group{Unit: "lock-captain", Models: 1}, "long-arbalest", riders, Facts{}, func(a attack.Attack) string { return fmt.Sprint(a.Steps[0].Naturals[0].Gift == attack.Skip) }, "true"},
		{"sure damage besides", Group{Unit: "tow-oxen", Models: 2}, "horns", riders, Facts{}, func(a attack.Attack) string { return fmt.Sprint(a.Steps[1].Naturals[0].Gift == attack.AlsoSure) }, "true"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := c.get(compiled(t, p, c.from, c.weapon, c.at, c.facts)); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
		})
	}
}

// Grades change nerve from seasoned on.
func TestGrades(t *testing.T) {
	p := osier(t)
	for grade, nerve := range map[string]int{"": 7, "green": 7, "steady": 7, "seasoned": 8, "storied": 8, "unheard of": 7} {
		m, _, err := p.Morale(Group{Unit: "fen-riders", Models: 4, Grade: grade}, 2)
		if err != nil {
			t.Fatal(err)
		}
		if m.Total.Value != nerve {
			t.Errorf("%s Riders have nerve %d, want %d", grade, m.Total.Value, nerve)
		}
	}
}

// Modifiers are capped, piercing is not.
func TestCap(t *testing.T) {
	text, _ := Builtin("osier")
	changed := strings.Replace(string(text), "kind = \"modify\"\nstep = \"hit by shooting\"\nby = -1", "kind = \"modify\"\nstep = \"hit by shooting\"\nby = -5", 1)
	p, err := Load("osier.toml", []byte(changed))
	if err != nil {
		t.Fatal(err)
	}
	veiled := Group{Unit: "fen-riders", Models: 6, Statuses: []string{"veiled"}}
	a := compiled(t, p, Group{Unit: "ferry-crossbows", Models: 10}, "crossbow", veiled, Facts{})
	if got := a.Steps[0].Need.Face; got != 6 {
		t.Errorf("worse by 5, capped at 2: needs %d+, want 6+", got)
	}
}

func TestCompileRefuses(t *testing.T) {
	p := osier(t)
	pikes, riders := Group{Unit: "weir-pikes", Models: 10}, Group{Unit: "fen-riders", Models: 6}
	for _, c := range []struct {
		id     string
		from   Group
		weapon string
		at     Group
		facts  Facts
	}{
		{"rules.refuse.unit", Group{Unit: "nobody", Models: 1}, "pike", riders, Facts{}},
		{"rules.refuse.unit", pikes, "pike", Group{}, Facts{}},
		{"rules.refuse.models", Group{Unit: "weir-pikes"}, "pike", riders, Facts{}},
		{"rules.refuse.models", Group{Unit: "weir-pikes", Models: MostModels + 1}, "pike", riders, Facts{}},
		{"rules.refuse.weapon", pikes, "crossbow", riders, Facts{}},
		{"rules.refuse.weapon", pikes, "", riders, Facts{}},
		{"rules.refuse.range", Group{Unit: "ferry-crossbows", Models: 5}, "crossbow", riders, Facts{Distance: 263}},
	} {
		_, _, err := p.Compile(c.from, c.weapon, c.at, c.facts)
		if refusal, ok := err.(*reason.Refusal); !ok || refusal.Reason.ID != c.id {
			t.Errorf("%+v with %q: %v, want %s", c.from, c.weapon, err, c.id)
		}
	}
	if _, _, err := p.Casting(pikes, "veil"); err == nil {
		t.Error("Pikes know no powers")
	}
}
