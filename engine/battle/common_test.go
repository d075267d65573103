package battle

import (
	"os"
	"slices"
	"testing"

	"drumhead/engine/rules"
)

// beginFile lays a table of a pack in the testdata of the rules; sizes are models.
func beginFile(t *testing.T, file string, mine, theirs []Model) *table {
	t.Helper()
	text, err := os.ReadFile("../rules/testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	p, err := rules.Load(file, text)
	if err != nil {
		t.Fatal(err)
	}
	b := Begin{Offer: OfferRef{Ledger: "x", Seq: 2, Leaf: "y"}, Players: []string{"p1", "p2"}, Forces: [][]Model{mine, theirs},
		Terms: Terms{Pack: p.ID, Edition: p.Edition, SHA256: p.Hash, Scenario: "field", Points: 150, Turns: 4, Hours: 48}}
	tb := &table{T: t, state: New(p)}
	tb.do("bot", b, 5, 3)
	return tb
}

func commonTable(t *testing.T) *table {
	return beginFile(t, "common.toml",
		[]Model{{Kind: "shooters", Size: 2}, {Kind: "throwers", Size: 1}, {Kind: "wagon", Size: 1}},
		[]Model{{Kind: "t3", Size: 3}, {Kind: "t4", Size: 3}})
}

func weaponsOf(shots []*Attacked) []string {
	var out []string
	for _, a := range shots {
		out = append(out, a.Weapon)
	}
	return out
}

// Each weapon picks its target and a unit may split fire by weapon (common
// practice, no source).
func TestSplitFire(t *testing.T) {
	tb := commonTable(t)
	tb.order("split Shooters: s4 at Toughness 3 20 in, s6 at Toughness 4 20 in", 1, 1, 1, 1)
	shots := of[*Attacked](tb)
	if !slices.Equal(weaponsOf(shots), []string{"s4", "s6"}) || shots[0].At != "u4" || shots[1].At != "u5" {
		t.Errorf("%v at %s and %s", weaponsOf(shots), shots[0].At, shots[1].At)
	}
}

// A sidearm or a thrown weapon is used instead of the others, not as well; large
// vehicles fire everything (common practice, no source).
func TestInsteadOfTheOthers(t *testing.T) {
	tb := commonTable(t)
	tb.order("shoot Shooters at Toughness 3, 5 in", 1, 1, 1, 1)
	if got := weaponsOf(of[*Attacked](tb)); !slices.Equal(got, []string{"s4", "s6"}) {
		t.Errorf("shooters use %v", got)
	}
	tb = commonTable(t)
	tb.order("shoot Shooters at Toughness 3, 5 in, with sidearm", 1, 1)
	if got := weaponsOf(of[*Attacked](tb)); !slices.Equal(got, []string{"sidearm"}) {
		t.Errorf("shooters use %v instead", got)
	}
	tb.refuses("split Wagon: s4 at Toughness 3 5 in", "battle.refuse.split")
	tb.order("shoot Throwers at Toughness 3, 5 in", 1, 1)
	if got := weaponsOf(of[*Attacked](tb)); !slices.Equal(got, []string{"pot"}) {
		t.Errorf("throwers use %v", got)
	}
	tb.order("shoot Wagon at Toughness 3, 11 in", 1, 1, 1)
	if got := weaponsOf(of[*Attacked](tb)); !slices.Equal(got, []string{"s4", "s6", "sidearm"}) {
		t.Errorf("a wagon uses %v", got)
	}
	tb = commonTable(t)
	tb.refuses("split Shooters: s4 at Toughness 3 5 in, sidearm at Toughness 4 5 in", "battle.refuse.instead")
}

// No shooting into a melee, no line of sight, no shot; sight is what the players
// say (common practice, no source).
func TestNoShot(t *testing.T) {
	tb := commonTable(t)
	tb.refuses("shoot Shooters at Toughness 3, 5 in, no sight", "battle.refuse.sight")
	tb.state.unit("u2").With, tb.state.unit("u4").With = []string{"u4"}, []string{"u2"}
	tb.refuses("shoot Shooters at Toughness 3, 5 in", "battle.refuse.melee")
	tb.refuses("shoot Throwers at Toughness 4, 5 in", "battle.refuse.shoots_engaged")
}

// To hit, to wound, the owner saves; models fall also where the attacker cannot
// see them: how many see is said, and more may fall (common practice, no source).
func TestOrderOfAShot(t *testing.T) {
	tb := commonTable(t)
	tb.order("shoot Shooters at Toughness 3, 20 in, with 1 models",
		3, 3, 4, // s4: one shooter hits on 3, wounds on 3+, the save of 5+ is lost
		2) // s6 misses
	a := of[*Attacked](tb)
	if len(a) != 2 || a[0].Fell != 1 || a[0].Models != 1 || a[1].Fell != 0 {
		t.Errorf("%+v, %+v", a[0], a[1])
	}
}

// oddTable is six of the crew (a scout, three crew, two mates) against six.
func oddTable(t *testing.T) *table {
	return beginFile(t, "odd.toml", []Model{{Kind: "crew", Size: 6}}, []Model{{Kind: "crew", Size: 6}, {Kind: "skipper", Size: 1}})
}

// Weapons go in the order of the profile, and each part of a unit shoots by
// itself: crew and mates with bow and kettle, the scout with its bow. Their scout
// falls first, and nothing is rolled against who is not hit.
func TestPartsShoot(t *testing.T) {
	tb := oddTable(t)
	tb.order("shoot Crew at Crew, 10 in",
		4, 1, 1, 3, // crew of three with bows: one hits on 4, wounds on 3; the scout has no save and falls
		3, 2, // the scout hits on 3, does not wound
		1, 1, // mates
		1, 1, 1, 1, 1) // kettles: three crew, two mates
	a := of[*Attacked](tb)
	if len(a) != 5 {
		t.Fatalf("%d attacks", len(a))
	}
	for i, want := range []struct{ part, models int }{{0, 3}, {1, 1}, {2, 2}, {0, 3}, {2, 2}} {
		if a[i].Part != want.part || a[i].Models != want.models {
			t.Errorf("attack %d is by %d of part %d, want %+v", i, a[i].Models, a[i].Part, want)
		}
	}
	if u := tb.unit("u2"); !slices.Equal(u.Parts, []int{3, 0, 2}) || u.Left != 5 {
		t.Errorf("the crew has %v", u.Parts)
	}
}

// The owner's standing order keeps the scout for last; who has lost wounds falls
// first all the same.
func TestKeepAndWorn(t *testing.T) {
	tb := oddTable(t)
	tb.ahead(1, "casualties plainest first, keep Scout")
	tb.order("shoot Crew at Crew, 10 in, with 1 models",
		4, 3, // a bow; no save of 7+: one of the crew falls, not the scout
		1)
	if u := tb.unit("u2"); !slices.Equal(u.Parts, []int{2, 1, 2}) {
		t.Errorf("the crew has %v, want the scout kept", u.Parts)
	}
	if len(of[*Opened](tb)) != 1 {
		t.Error("the standing order was not opened")
	}
	mates := tb.state.unit("u2")
	mates.Parts, mates.Left, mates.Hurt, mates.Worn = []int{2, 1, 2}, 5, 1, 2
	tb.order("done")
	tb.order("done")
	tb.order("shoot Crew at Crew, 10 in, with 1 models",
		4, 5, 4, // the mate that has lost a wound saves on 5+ and is lost; toughness of most is 3
		1)
	if u := tb.unit("u2"); !slices.Equal(u.Parts, []int{2, 1, 1}) || u.Hurt != 0 {
		t.Errorf("the crew has %v, hurt %d, want a mate less", u.Parts, u.Hurt)
	}
}

// The quicker strikes first: a skipper of 6 before a crew of 3, whoever charged.
func TestQuickFirst(t *testing.T) {
	tb := oddTable(t)
	tb.state.unit("u1").With, tb.state.unit("u3").With = []string{"u3"}, []string{"u1"}
	lines, err := ParseSheet(tb.state, 0, "fight Crew")
	if err != nil {
		t.Fatal(err)
	}
	box := &ones{}
	events, err := Decide(tb.state, Order{Player: "p1", Do: Sheet{Battle: 1, Orders: lines}}, box)
	if err != nil {
		t.Fatal(err)
	}
	if a := events[0].(*Attacked); a.Unit != "u3" {
		t.Errorf("%s strikes first", a.Unit)
	}
}

// ones shows a one on every die.
type ones struct{}

func (*ones) Draw(int) int { return 1 }
func (*ones) Left() int    { return 1000 }

// ahead seals standing orders of a side, as people type them.
func (tb *table) ahead(side int, text string) {
	tb.Helper()
	orders, err := ParseAhead(tb.state, side, text)
	if err != nil {
		tb.Fatalf("%q cannot be read: %s", text, spell(err))
	}
	for i, o := range orders {
		value, err := o.Marshal()
		if err != nil {
			tb.Fatal(err)
		}
		tb.do(tb.state.Players[side], Ahead{Battle: 1, Said: hash(i + 1)})
		tb.openings = append(tb.openings, Opening{Of: tb.seq, Salt: "00", Value: value})
	}
}

// A table may look up another, and models may flee by what a table says.
func TestLookUp(t *testing.T) {
	tb := oddTable(t)
	tb.order("charge Crew at Skipper, 4 in", 5, 4) // wet; how wet: a downpour, they are slower for good
	l := of[*Looked](tb)
	if len(l) != 2 || l[0].Table != "weather" || l[1].Table != "how wet" || l[1].Total != 4 {
		t.Fatalf("looked %+v", l)
	}
	if w := of[*Weakened](tb); len(w) != 1 || w[0].Characteristic != "quick" || tb.state.Pack.Number(tb.state.group(tb.unit("u1")), "quick") != 2 {
		t.Errorf("weakened %+v", w)
	}
}

// A leader joins a unit, goes with it and strikes with it; nobody can aim at the
// leader alone, who falls after all others; it leaves by moving away.
func TestLeaderJoins(t *testing.T) {
	tb := beginFile(t, "odd.toml", []Model{{Kind: "crew", Size: 4}, {Kind: "skipper", Size: 1}}, []Model{{Kind: "crew", Size: 4}, {Kind: "skipper", Size: 1}})
	tb.refuses("move Crew to Skipper", "battle.refuse.join")
	tb.refuses("move Skipper to Skipper", "battle.refuse.join_whom")
	tb.order("move Skipper to Crew; done")
	if u := tb.unit("u2"); u.Joined != "u1" {
		t.Fatalf("the skipper has joined %q", u.Joined)
	}
	tb.refuses("shoot Crew at Skipper, 5 in", "battle.refuse.joined")
	// One mate that has lost a wound and the skipper stand, two enemy mates shoot:
	// both bows hit and wound; the first takes the mate, the second comes to him.
	crew, foes := tb.state.unit("u1"), tb.state.unit("u3")
	crew.Left, crew.Fell, crew.Parts, crew.Hurt, crew.Worn = 1, 3, []int{0, 0, 1}, 1, 2
	foes.Left, foes.Fell, foes.Parts = 2, 2, []int{0, 0, 2}
	tb.order("shoot Crew at Crew, 10 in",
		3, 3, // skill 3+
		5, 6, // toughness 4 and 5 are as many: the higher, so 5+
		1, 1) // the mate's save of 5+ and the skipper's of 4+ are lost
	if gone := tb.unit("u1"); gone.Gone != Fallen {
		t.Fatalf("the crew is %+v", gone)
	}
	if s := of[*Suffered](tb); len(s) != 1 || s[0].Unit != "u2" || s[0].Why != Beside || s[0].Crossed != 1 {
		t.Errorf("suffered %+v", s)
	}
	if u := tb.unit("u2"); u.Joined != "" || !u.Stands() || u.Hurt != 1 {
		t.Errorf("the skipper is %+v", u)
	}
}

// Who has joined strikes with the unit, and goes where it goes.
func TestLeaderFights(t *testing.T) {
	tb := beginFile(t, "odd.toml", []Model{{Kind: "crew", Size: 4}, {Kind: "skipper", Size: 1}}, []Model{{Kind: "crew", Size: 4}})
	tb.order("move Skipper to Crew; done")
	tb.order("done")
	tb.order("move Crew 4 in; done")
	if !tb.unit("u1").Stands() || tb.unit("u2").Joined != "u1" {
		t.Fatal("they have parted")
	}
	tb.order("done")
	tb.state.unit("u1").With, tb.state.unit("u3").With = []string{"u3"}, []string{"u1"}
	tb.refuses("move Skipper 3 in", "battle.refuse.joined_engaged")
	box := &ones{}
	lines, err := ParseSheet(tb.state, 0, "fight Crew")
	if err != nil {
		t.Fatal(err)
	}
	events, err := Decide(tb.state, Order{Player: "p1", Do: Sheet{Battle: 1, Orders: lines}}, box)
	if err != nil {
		t.Fatal(err)
	}
	var who []string
	for _, e := range events {
		if a, ok := e.(*Attacked); ok {
			who = append(who, a.Unit)
		}
	}
	if !slices.Contains(who, "u2") {
		t.Errorf("%v strike, not the skipper", who)
	}
	tb.state.unit("u1").With, tb.state.unit("u3").With = nil, nil
	tb.order("move Skipper 3 in")
	if tb.unit("u2").Joined != "" {
		t.Error("the skipper has not left")
	}
}

// Shots of a split whose target is gone go on to who was named next, where the
// pack says so.
func TestSplitGoesOn(t *testing.T) {
	tb := beginFile(t, "common.toml", []Model{{Kind: "t2", Size: 1}}, []Model{{Kind: "t3", Size: 1}, {Kind: "t4", Size: 3}})
	tb.order("split Toughness 2: s8 at Toughness 3 20 in, s6 at Toughness 3 20 in, s4 at Toughness 4 20 in",
		3, 2, // strength 8 at 3: 2+ to wound, no save of 7+: the one of them falls
		3, 6, 1, // the next shot goes on to the others: strength 6 at 4, save 6+
		1)
	shots := of[*Attacked](tb)
	if len(shots) != 3 || shots[1].At != "u3" || shots[1].Weapon != "s6" || shots[1].Fell != 1 {
		t.Fatalf("%+v", shots)
	}
}

// With several enemies in contact a unit strikes at the dearest, where the pack
// says so; else at the one longest in contact.
func TestWhomToFight(t *testing.T) {
	tb := beginFile(t, "common.toml", []Model{{Kind: "shooters", Size: 1}}, []Model{{Kind: "t3", Size: 1}, {Kind: "wagon", Size: 1}})
	r := &run{state: tb.state.own()}
	r.state.unit("u1").With = []string{"u2", "u3"}
	if at := r.enemyOf("u1"); at != "u3" {
		t.Errorf("they fight %s, the wagon is dearer", at)
	}
	r.state.Pack.Standing.Fight = "longest in contact"
	if at := r.enemyOf("u1"); at != "u2" {
		t.Errorf("they fight %s", at)
	}
}
