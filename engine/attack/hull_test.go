package attack

import (
	"math"
	"testing"

	"drumhead/engine/dice"
	"drumhead/engine/odds"
)

// A hull of 4 with a mark at 2, worked by hand: one point leaves the mark alone;
// two cross it, and a die of 1 or 2 on a d6 crosses off one more. With two points:
// 2 in 3 end at 2, 1 in 3 at 3. With four nothing is left whatever the table says,
// and a mark that is the last of all is never looked at.
func TestHullByHand(t *testing.T) {
	table := Table{Dice: Total{Terms: []Term{{Dice: 1, Sides: 6}}}, Rows: []Row{{1, 0}, {3, 1}}}
	h := Hull{Left: 4, Marks: []int{2, 4}, Table: table, More: [][]Amount{{{Plus: 1}}}}
	for points, want := range map[int]map[int]float64{
		0: {0: 1}, 1: {1: 1}, 2: {2: 2. / 3, 3: 1. / 3}, 3: {3: 2. / 3, 4: 1. / 3}, 4: {4: 1}, 9: {4: 1},
	} {
		law, err := h.Law(odds.Always(points))
		if err != nil {
			t.Fatal(err)
		}
		for end, chance := range want {
			if d := law.Exactly(end) - chance; d > 1e-15 || d < -1e-15 {
				t.Errorf("%d points end at %d with %v, want %v", points, end, law.Exactly(end), chance)
			}
		}
	}
	d := rolls(t, 2)
	if r := h.Roll(d, 2); r.Crossed != 3 || len(r.Criticals) != 1 || r.Criticals[0].Mark != 2 || r.Criticals[0].More != 1 {
		t.Errorf("%+v", r)
	}
	d.spent()
	// Four points: the mark at 2 does nothing, and at the last of all nothing is
	// looked up any more.
	d = rolls(t, 5)
	if r := h.Roll(d, 4); r.Crossed != 4 || len(r.Criticals) != 1 {
		t.Errorf("%+v", r)
	}
	d.spent()
}

// TestVolleyByEnumeration: what a volley crosses off, how likely that many or more
// and that few or fewer were, and what it would have taken, against every way in
// which its dice can fall, worked out by loops that share nothing with the roller or
// the solver: three dice of 4+, of which each natural 6 is two hits, against two of
// 5+; a hull of four whose mark at 2 crosses off one more on a d6 of 1 or 2.
func TestVolleyByEnumeration(t *testing.T) {
	v := Volley{
		Pools: Pools{
			Mine:   Pool{3, Each{Sides: 6, Need: AtLeast(4), Naturals: []Natural{{From: 6, Gift: Extra, Amount: 1}}}},
			Theirs: Pool{2, Each{Sides: 6, Need: AtLeast(5)}},
		},
		Damage: Amount{Plus: 1},
		Hull:   Hull{Left: 4, Marks: []int{2}, Table: Table{Dice: Total{Terms: []Term{{Dice: 1, Sides: 6}}}, Rows: []Row{{1, 0}, {3, 1}}}, More: [][]Amount{{{Plus: 1}}}},
	}
	want, hits := map[int]float64{}, map[int]float64{}
	worth := [7]int{0, 0, 0, 0, 1, 1, 2}
	for n := range 6 * 6 * 6 * 6 * 6 * 6 {
		f := [6]int{}
		for i, rest := 0, n; i < 6; i, rest = i+1, rest/6 {
			f[i] = rest%6 + 1
		}
		mine, theirs := worth[f[0]]+worth[f[1]]+worth[f[2]], f[3]/5+f[4]/5
		off := min(4, max(0, mine-theirs))
		if off >= 2 && f[5] <= 2 {
			off = min(4, off+1)
		}
		want[off] += 1. / 46656
		hits[mine] += 1. / 46656
	}
	solved, err := v.Law()
	if err != nil {
		t.Fatal(err)
	}
	rolled, _ := law(func(e *every) int { return v.Count(e) })
	for n := range 5 {
		share, _ := rolled[n].Float64()
		if math.Abs(solved.Exactly(n)-want[n]) > 1e-12 || math.Abs(share-want[n]) > 1e-12 {
			t.Errorf("%d off: %v solved, %v in all rolls, %v by enumeration", n, solved.Exactly(n), share, want[n])
		}
	}
	for _, c := range []struct {
		faces []int
		hits  int // 0: it did something
	}{
		{[]int{1, 2, 3, 1, 2}, 1},       // nothing hit, nothing was cancelled
		{[]int{4, 1, 5, 5, 6}, 3},       // two hits, both cancelled: a third was needed
		{[]int{6, 1, 1, 5, 1, 1, 1}, 0}, // two hits of one die, one cancelled
	} {
		r := v.Roll(dice.NewShown([][]int{append([]int{6}, c.faces...)}))
		m, ok := v.Stopped(r)
		chance := 0.0
		for n, p := range hits {
			if n >= c.hits {
				chance += p
			}
		}
		if ok != (c.hits > 0) || m.Hits != c.hits || ok && math.Abs(m.Chance-chance) > 1e-12 {
			t.Errorf("%v: %+v, %v; expected %d hits, %v", c.faces, m, ok, c.hits, chance)
		}
	}
}

// By how much a total failed, by hand.
func TestShort(t *testing.T) {
	for _, c := range []struct {
		judge        Judge
		value, total int
		by           int
		short        bool
	}{
		{TotalAtLeast, 8, 6, 2, true}, {TotalAtLeast, 8, 8, 0, false}, {TotalAtMost, 7, 9, -2, true},
		{TotalMoreThan, 8, 8, 1, true}, {TotalMoreThan, 8, 9, 0, false}, {Unjudged, 0, 3, 0, false},
	} {
		total := Total{Judge: c.judge, Value: c.value}
		if by, short := total.Short(Sum{Total: c.total, Passed: total.judge(c.total)}); by != c.by || short != c.short {
			t.Errorf("%+v: %d, %v", c, by, short)
		}
	}
	for _, c := range []struct {
		tie              Tie
		mine, theirs, by int
		winner           int
		short            bool
	}{
		{TieStands, 9, 9, 1, 0, true}, {TieToMine, 8, 9, 1, -1, true}, {TieToTheirs, 9, 9, 1, -1, true},
		{TieRollAgain, 5, 9, 5, -1, true}, {TieStands, 10, 9, 0, 1, false},
	} {
		r := OpposedRolled{Bouts: []Bout{{Sum{Total: c.mine}, Sum{Total: c.theirs}}}, Winner: c.winner}
		if by, short := (Opposed{Tie: c.tie}).Short(r); by != c.by || short != c.short {
			t.Errorf("%+v: %d, %v", c, by, short)
		}
	}
}
