package attack

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
)

// sixes makes a step 4+ on a d6 whose naturals of 6 give something.
func sixes(gifts ...Natural) Each {
	return Each{Sides: 6, Need: AtLeast(4), OneFails: true, TopPasses: true, Naturals: gifts}
}

func gift(g Gift, n int) Natural { return Natural{From: 6, Gift: g, Amount: n} }

var (
	fourUp = Each{Sides: 6, Need: AtLeast(4), OneFails: true}
	save4  = Each{Sides: 6, Need: AtLeast(4), OneFails: true, On: FailsGoOn}
	last5  = Each{Sides: 6, Need: AtLeast(5)}
)

// three is three models of two wounds, and one a single point of damage.
func three(save Each) Ladder {
	return Ladder{Segments: []Segment{{Models: 3, Wounds: 2, Save: save}}}
}

var one = Damage{Amount: Amount{Plus: 1}}

// byHand are cases worked by hand. Faces are what the dice show in the order
// drawn; no other die may be asked for.
var byHand = []struct {
	name    string
	attack  Attack
	faces   []int
	through int // tokens that came out of the steps
	crossed int // wounds
	fell    int
}{
	// Seven one-die cases: plain, and one for each thing that a natural gives.
	{"plain: 5 hits, save 3 fails, one wound",
		Attack{Number: Exactly(1), Steps: []Each{sixes()}, Damage: one, Ladder: three(save4)},
		[]int{5, 3}, 1, 1, 0},
	{"extra: a 6 is two hits, each with a save of its own",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(Extra, 1))}, Damage: one, Ladder: three(save4)},
		[]int{6, 3, 2}, 2, 2, 1},
	{"skip: a 6 wounds without a die, then is saved against",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(Skip, 1)), fourUp}, Damage: one, Ladder: three(save4)},
		[]int{6, 3}, 1, 1, 0},
	{"no save: a 6 is not saved against, a last save is rolled",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(NoSave, 1))}, Damage: one,
			Ladder: Ladder{Segments: []Segment{{Models: 3, Wounds: 2, Save: save4, Last: last5}}}},
		[]int{6, 4}, 1, 1, 0},
	{"damage: a 6 does two points more",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(MoreDamage, 2))}, Damage: one,
			Ladder: Ladder{Segments: []Segment{{Models: 2, Wounds: 4, Save: save4}}}},
		[]int{6, 1}, 1, 3, 0},
	{"pierce: a 6 makes the save of 4+ one of 6+",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(MorePiercing, 2))}, Damage: one, Ladder: three(save4)},
		[]int{6, 5}, 1, 1, 0},
	{"sure: a 6 ends here and crosses off three, past a model, no save",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(Sure, 3)), fourUp}, Damage: one, Ladder: three(save4)},
		[]int{6}, 1, 3, 1},
	{"also sure: a 6 goes on and is saved; two points besides are not",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(AlsoSure, 2)), fourUp}, Damage: one, Ladder: three(save4)},
		[]int{6, 4, 4}, 2, 2, 1},
	{"also sure stands although its token misses the next step",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(AlsoSure, 2)), fourUp}, Damage: one, Ladder: three(save4)},
		[]int{6, 3}, 1, 2, 1},
	{"a 5 gives nothing",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(Extra, 1), gift(NoSave, 1))}, Damage: one, Ladder: three(save4)},
		[]int{5, 4}, 1, 0, 0},
	{"two gifts at once; the extra token has only what its parent had before",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(Extra, 1), gift(Skip, 1)), fourUp}, Damage: one, Ladder: three(save4)},
		[]int{6, 2, 3}, 1, 1, 0},

	{"skip that reaches the models: the save is the step that is passed",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(Skip, 1))}, Damage: one, Ladder: three(save4)},
		[]int{6}, 1, 1, 0},
	{"no save does not spare the die to wound",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(NoSave, 1)), fourUp}, Damage: one, Ladder: three(save4)},
		[]int{6, 3}, 0, 0, 0},

	// Order 1: the natural face is the one after its re-roll; no die is rolled
	// twice more; a miss is judged after modifiers.
	{"ones again: 1 becomes 6 and gives its extra",
		Attack{Number: Exactly(1), Steps: []Each{{Sides: 6, Need: AtLeast(4), Rerolls: Ones, Naturals: []Natural{gift(Extra, 1)}}}},
		[]int{1, 6}, 2, 0, 0},
	{"passes again: a 6 that becomes 2 gives nothing",
		Attack{Number: Exactly(1), Steps: []Each{{Sides: 6, Need: AtLeast(4), Rerolls: Passes, Naturals: []Natural{gift(Extra, 1)}}}},
		[]int{6, 2}, 0, 0, 0},
	{"a 1 that shows 1 again stays, also where a miss may be re-rolled",
		Attack{Number: Exactly(1), Steps: []Each{{Sides: 6, Need: AtLeast(4), Rerolls: Ones | Misses | OneMiss}}},
		[]int{1, 1}, 0, 0, 0},
	{"a 3 is no miss when the need is better by one",
		Attack{Number: Exactly(1), Steps: []Each{{Sides: 6, Need: AtLeast(4).Better(1), Rerolls: Misses}}},
		[]int{3}, 1, 0, 0},
	{"one miss: the first that was not re-rolled as a 1",
		Attack{Number: Exactly(3), Steps: []Each{{Sides: 6, Need: AtLeast(4), Rerolls: Ones | OneMiss}}},
		[]int{1, 2, 3, 2, 5}, 1, 0, 0},

	// Order 3: needs beyond the die.
	{"7+ with a natural maximum that passes", Attack{Number: Exactly(2), Steps: []Each{{Sides: 6, Need: AtLeast(7), TopPasses: true}}}, []int{6, 5}, 1, 0, 0},
	{"7+ without: no die, nobody goes on", Attack{Number: Exactly(2), Steps: []Each{{Sides: 6, Need: AtLeast(7)}}}, nil, 0, 0, 0},
	{"save 7+: no die, all go on",
		Attack{Number: Exactly(2), Damage: one, Ladder: three(Each{Sides: 6, Need: AtLeast(7), OneFails: true})}, nil, 2, 2, 1},
	{"1+ where a natural 1 fails is 2+", Attack{Number: Exactly(2), Steps: []Each{{Sides: 6, Need: AtLeast(1), OneFails: true}}}, []int{1, 2}, 1, 0, 0},
	{"1+ where it does not: no die, all pass", Attack{Number: Exactly(2), Steps: []Each{{Sides: 6, Need: AtLeast(0)}}}, nil, 2, 0, 0},
	{"a save of 1+ where a 1 does not fail stops everything without a die",
		Attack{Number: Exactly(2), Damage: one, Ladder: three(Each{Sides: 6, Need: AtLeast(1)})}, nil, 2, 0, 0},

	// Order 4: damage as rolled, an extra token right after its parent.
	{"the token of the first die does 3 to the first model, its extra 1, the second die's 1 the rest",
		Attack{Number: Exactly(2), Steps: []Each{sixes(gift(Extra, 1), gift(MoreDamage, 2))}, Damage: one, Ladder: three(Each{})},
		[]int{6, 5}, 3, 4, 2},
	{"two damage of two wounds, then one left over is lost",
		Attack{Number: Exactly(2), Damage: Damage{Amount: Amount{Dice: 1, Sides: 3}}, Ladder: three(Each{})},
		[]int{1, 3}, 2, 2, 1},
	{"the same with spill",
		Attack{Number: Exactly(2), Damage: Damage{Amount: Amount{Dice: 1, Sides: 3}, Spill: true}, Ladder: three(Each{})},
		[]int{1, 3}, 2, 4, 2},

	// Order 5: saves stop when nobody is left.
	{"the third token finds nobody and rolls no save",
		Attack{Number: Exactly(3), Damage: Damage{Amount: Amount{Plus: 2}}, Ladder: Ladder{Segments: []Segment{{Models: 1, Wounds: 2, Save: save4}}}},
		[]int{5, 3}, 3, 2, 1},
	{"one missed save again, once in the attack",
		Attack{Number: Exactly(3), Damage: one, Ladder: three(Each{Sides: 6, Need: AtLeast(4), Rerolls: OneMiss})},
		[]int{2, 5, 3, 1}, 3, 2, 1},

	// Order 6: the last save is that of the model hit first, for all points.
	{"three points that spill from a plain model to a captain: the plain model's last save for all",
		Attack{Number: Exactly(1), Damage: Damage{Amount: Amount{Plus: 3}, Spill: true}, Ladder: Ladder{Segments: []Segment{
			{Models: 1, Wounds: 1, Last: last5}, {Models: 1, Wounds: 4, Last: Each{Sides: 6, Need: AtLeast(2)}}}}},
		[]int{4, 5, 4}, 1, 2, 1},

	// Ladder: segments, wounds already lost, the better of two saves.
	{"the captain falls last and has his own save",
		Attack{Number: Exactly(3), Damage: one, Ladder: Ladder{Rung: 1, Segments: []Segment{
			{Models: 2, Wounds: 1, Save: save4}, {Models: 1, Wounds: 4, Save: Each{Sides: 6, Need: AtLeast(3)}}}}},
		[]int{1, 3, 2}, 3, 2, 1},
	{"the second save is better once piercing has worsened the first",
		Attack{Number: Exactly(1), Steps: []Each{sixes(gift(MorePiercing, 2))}, Damage: one, Ladder: Ladder{Segments: []Segment{
			{Models: 1, Wounds: 1, Save: save4, Other: Each{Sides: 6, Need: AtLeast(5)}}}}},
		[]int{6, 5}, 1, 0, 0},
	{"a save among the steps lets its failures go on; no save passes it by",
		Attack{Number: Exactly(3), Steps: []Each{sixes(gift(NoSave, 1)), save4}},
		[]int{6, 5, 4, 4, 3}, 2, 0, 0},
	{"piercing worsens a save among the steps for its own token only",
		Attack{Number: Exactly(2), Steps: []Each{sixes(gift(MorePiercing, 1)), save4}},
		[]int{6, 5, 4, 4}, 1, 0, 0},
	{"2 models with d3 attacks each, at least 2 each",
		Attack{Number: Number{Per: Amount{Dice: 1, Sides: 3}, Times: 2, Least: 2}, Steps: []Each{fourUp}},
		[]int{1, 3, 4, 4, 1, 1, 4}, 3, 0, 0},
	{"'or less' on one die", Attack{Number: Exactly(2), Steps: []Each{{Sides: 20, Need: AtMost(12)}}}, []int{12, 13}, 1, 0, 0},
}

func TestByHand(t *testing.T) {
	for _, c := range byHand {
		s := rolls(t, c.faces...)
		r := c.attack.Roll(s)
		if len(s.faces) > 0 {
			t.Errorf("%s: not drawn: %v", c.name, s.faces)
		}
		if r.Through != c.through || r.Crossed != c.crossed || r.Fell != c.fell {
			t.Errorf("%s: %d through, %d crossed off, %d fell; by hand %d, %d, %d",
				c.name, r.Through, r.Crossed, r.Fell, c.through, c.crossed, c.fell)
		}
		if len(s.sides) > c.attack.Most() {
			t.Errorf("%s: %d dice, at most %d were foretold", c.name, len(s.sides), c.attack.Most())
		}
	}
}

// The trace holds every die where it was rolled.
func TestTrace(t *testing.T) {
	a := Attack{
		Number: Number{Per: Amount{Dice: 1, Sides: 3}, Times: 1},
		Steps:  []Each{{Sides: 6, Need: AtLeast(4), Rerolls: Misses, Naturals: []Natural{gift(Skip, 1), gift(Extra, 1)}}, fourUp},
		Damage: Damage{Amount: Amount{Dice: 1, Sides: 3}},
		Ladder: Ladder{Rung: 1, Segments: []Segment{{Models: 2, Wounds: 2, Save: Each{Sides: 6, Need: AtLeast(5), OneFails: true, Rerolls: Ones}, Last: last5}}},
	}
	// number d3 = 3; hits 6 2 4, the 2 again: 3; wounds: the 6 is free, its extra
	// 4, the 4: 1; saves: 1 again 4, damage 2, last saves 5 1: one point; then 5: saved.
	s := rolls(t, 3, 6, 2, 4, 3, 4, 1, 1, 4, 2, 5, 1, 5)
	got := a.Roll(s)
	s.spent()
	want := Result{
		NumberDice: []int{3}, Attacks: 3,
		Steps: []Rolled{
			{Dice: []int{6, 2, 4}, Again: []Redone{{1, 3}}, Passed: 2, On: 3, Extra: 1},
			{Dice: []int{4, 1}, Free: 1, Passed: 1, On: 2},
		},
		Through: 2,
		Packets: []Packet{
			{Need: AtLeast(5), Save: 1, SaveAgain: 4, Damage: []int{2}, Points: 2, Last: []int{5, 1}, Stopped: 1, Crossed: 1, Fell: 1},
			{Need: AtLeast(5), Save: 5, Saved: true},
		},
		Rung: 2, Crossed: 1, Fell: 1,
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	if f := got.Steps[0].Faces(); !reflect.DeepEqual(f, []int{6, 3, 4}) {
		t.Errorf("faces that count: %v", f)
	}
	b, err := json.Marshal(got)
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{"null", ".", `\`, "Die"} {
		if strings.Contains(string(b), bad) {
			t.Errorf("the trace as JSON holds %q: %s", bad, b)
		}
	}
	var back Result
	if err := json.Unmarshal(b, &back); err != nil || !reflect.DeepEqual(back, want) {
		t.Errorf("read back: %v, %+v", err, back)
	}
}

// Every row of the registries has a name and does something.
func TestRegistries(t *testing.T) {
	for g, k := range giftKinds {
		if found, ok := GiftNamed(k.id); !ok || found != Gift(g) || k.give == nil {
			t.Errorf("gift %d, %q", g, k.id)
			continue
		}
		f := family{}
		if k.give(&f, 1); reflect.DeepEqual(f, family{}) {
			t.Errorf("gift %q gives nothing", k.id)
		}
	}
	for i, k := range rerollKinds {
		if found, ok := RerollNamed(k.id); !ok || found != k.kind || k.kind != 1<<i || k.picks == nil {
			t.Errorf("re-roll %d, %q", i, k.id)
		}
		if !k.kind.FitsEach() && !k.kind.FitsTotal() {
			t.Errorf("re-roll %q fits nowhere", k.id)
		}
	}
	if _, ok := GiftNamed("none"); ok {
		t.Error("an unknown gift was found")
	}
	if _, ok := RerollNamed(""); ok {
		t.Error("an unknown re-roll was found")
	}
}

func TestTieRollsAgain(t *testing.T) {
	o := Opposed{Mine: Total{Terms: []Term{{Dice: 1, Sides: 6}}}, Theirs: Total{Terms: []Term{{Dice: 1, Sides: 6}}}, Tie: TieRollAgain}
	s := rolls(t, 3, 3, 2, 5)
	if r := o.Roll(s); r.Winner != -1 || len(r.Bouts) != 2 {
		t.Errorf("%+v", r)
	}
	s.spent()
	ties := make([]int, 2*(1+MostTies))
	for i := range ties {
		ties[i] = 4
	}
	s = rolls(t, ties...)
	if r := o.Roll(s); r.Winner != 0 {
		t.Errorf("a tie for ever: %d", r.Winner)
	}
	s.spent()
	if o.Most() != len(ties) {
		t.Errorf("at most %d dice were foretold", o.Most())
	}
	for tie, want := range map[Tie]int{TieStands: 0, TieToMine: 1, TieToTheirs: -1} {
		o.Tie = tie
		if r := o.Roll(rolls(t, 4, 4)); r.Winner != want {
			t.Errorf("tie %d: winner %d", tie, r.Winner)
		}
	}
}

func TestPools(t *testing.T) {
	p := Pools{Mine: Pool{3, Each{Sides: 6, Need: AtLeast(4), Naturals: []Natural{gift(Extra, 1)}}}, Theirs: Pool{2, Each{Sides: 6, Need: AtLeast(5)}}}
	s := rolls(t, 6, 4, 1, 5, 4)
	if r := p.Roll(s); r.Left != 2 || r.Mine.On != 3 || r.Theirs.On != 1 {
		t.Errorf("%+v", r)
	}
	s.spent()
	if r := p.Roll(rolls(t, 1, 4, 1, 5, 6)); r.Left != 0 {
		t.Errorf("cancelled below nothing: %d", r.Left)
	}
	if p.Most() != 5 {
		t.Errorf("at most %d", p.Most())
	}
}

// A d66 is tens and ones, tens first; a term may be subtracted.
func TestTerms(t *testing.T) {
	d66 := Total{Terms: []Term{{Dice: 1, Sides: 6, Times: 10}, {Dice: 1, Sides: 6}}}
	if s := d66.Roll(rolls(t, 4, 2)); s.Total != 42 {
		t.Errorf("d66 of 4 and 2: %d", s.Total)
	}
	less := Total{Terms: []Term{{Dice: 2, Sides: 6}, {Dice: 1, Sides: 3, Times: -1}}, Plus: 1, Judge: TotalMoreThan, Value: 9}
	if s := less.Roll(rolls(t, 6, 5, 2)); s.Total != 10 || !s.Passed {
		t.Errorf("2d6-d3+1: %+v", s)
	}
	if s := less.Roll(rolls(t, 6, 4, 2)); s.Total != 9 || s.Passed {
		t.Errorf("nine is not more than nine: %+v", s)
	}
	open := Total{Terms: []Term{{Dice: 2, Sides: 6, Open: 2}}, Judge: TotalAtMost, Value: 21}
	s := rolls(t, 6, 3, 6, 6)
	if r := open.Roll(s); r.Total != 21 || !r.Passed || len(r.Terms[0].More) != 2 {
		t.Errorf("open-ended: %+v", r)
	}
	s.spent()
}

func TestAmount(t *testing.T) {
	for text, want := range map[string]Amount{"2": {Plus: 2}, "0": {}, "d3": {Dice: 1, Sides: 3}, "2d6+1": {2, 6, 1}, "100d1000": {Dice: 100, Sides: 1000}} {
		got, err := ParseAmount(text)
		if err != nil || got != want || got.String() != text {
			t.Errorf("%q: %+v, %v, written %q", text, got, err, got)
		}
	}
	for _, bad := range []string{"", "6d", "d", "2d1", "d0", "0d6", "101d6", "2d6+", "2+1", "-1", "2d6-1", "d6 ", "02", "2d6+1+1", "d1001", "1001", "2d6+99999999999"} {
		if a, err := ParseAmount(bad); err == nil {
			t.Errorf("%q was read as %+v", bad, a)
		}
	}
	if faces, sum := (Amount{2, 6, 1}).Roll(rolls(t, 3, 4)); sum != 8 || len(faces) != 2 {
		t.Errorf("2d6+1 of 3 and 4: %d", sum)
	}
}

func TestNeed(t *testing.T) {
	for text, want := range map[string]Need{"4+": AtLeast(4), "12 or less": AtMost(12)} {
		if got, err := ParseNeed(text); err != nil || got != want || got.String() != text {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	for _, bad := range []string{"", "4", "+", "+4", "4 +", "or less", "four+", "-1+", "1001+"} {
		if n, err := ParseNeed(bad); err == nil {
			t.Errorf("%q was read as %+v", bad, n)
		}
	}
	if AtMost(7).Better(1) != AtMost(8) || AtLeast(4).Better(-2) != AtLeast(6) {
		t.Error("better and worse")
	}
}

// Common practice, no source: armour piercing worsens a save of 5+ to 6+, and
// to none.
func TestPiercing(t *testing.T) {
	s := Each{Sides: 6, Need: AtLeast(5).Better(-1), OneFails: true}
	if s.Good() != 1 {
		t.Errorf("5+ at piercing 1 saves on %d faces", s.Good())
	}
	s.Need = AtLeast(5).Better(-2)
	if !s.Impossible() {
		t.Error("5+ at piercing 2 can be saved")
	}
}

func TestLadder(t *testing.T) {
	l := Ladder{Segments: []Segment{{Models: 2, Wounds: 3}, {Models: 1, Wounds: 4}}}
	for rung, want := range map[int][4]int{ // segment, left, fallen, hurt
		0: {0, 3, 0, 0}, 1: {0, 2, 0, 1}, 3: {0, 3, 1, 0}, 5: {0, 1, 1, 2}, 6: {1, 4, 2, 0}, 9: {1, 1, 2, 3}, 10: {2, 0, 3, 0},
	} {
		seg, left := l.At(rung)
		if got := [4]int{seg, left, l.Fallen(rung), l.Hurt(rung)}; got != want {
			t.Errorf("rung %d: %v, by hand %v", rung, got, want)
		}
	}
	if l.Top() != 10 || l.Models() != 3 {
		t.Errorf("top %d, models %d", l.Top(), l.Models())
	}
}

func BenchmarkRoll60(b *testing.B) {
	a := Attack{
		Number: Exactly(60),
		Steps: []Each{
			{Sides: 6, Need: AtLeast(3), OneFails: true, TopPasses: true, Rerolls: Ones, Naturals: []Natural{gift(Extra, 1)}},
			{Sides: 6, Need: AtLeast(4), OneFails: true, TopPasses: true, Rerolls: Misses},
		},
		Damage: Damage{Amount: Amount{Dice: 1, Sides: 3}},
		Ladder: Ladder{Segments: []Segment{{Models: 10, Wounds: 3, Save: Each{Sides: 6, Need: AtLeast(5), OneFails: true}, Last: last5}}},
	}
	d := &turning{}
	b.ReportAllocs()
	for b.Loop() {
		a.Roll(d)
	}
}

// turning shows 1, 2, 3, … around; only for benchmarks.
type turning struct{ n int }

func (d *turning) Draw(sides int) int { d.n += 7; return d.n%sides + 1 }
func (d *turning) Left() int          { return 10_000 }
