package attack

import (
	"testing"

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
