package attack

import (
	"strings"
	"testing"

	"drumhead/engine/odds"
	"drumhead/engine/reason"
)

// Every row of the registry is rolled, solved and has its words; with it dice
// fall by another law than without; and every kind that the code knows has a row.
func TestRegistryIsWhole(t *testing.T) {
	rows := map[string]int{}
	for _, k := range Kinds() {
		name := k.Group + " " + k.ID
		if rows[k.Group]++; k.ID == "" || k.Words == "" || k.With == nil || k.Bare == nil {
			t.Errorf("%s: a function is missing", name)
			continue
		}
		for _, s := range []Shape{k.With, k.Bare} {
			solved, err := s.Law()
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if o, ok := s.(Opposed); ok && o.Tie == TieRollAgain {
				continue // 42 dice; its chances are worked by hand
			}
			all, walked := law(func(d *every) int { return s.Count(d) })
			agrees(t, name, solved, all)
			if walked.most > s.Most() {
				t.Errorf("%s: %d dice rolled, %d foretold", name, walked.most, s.Most())
			}
		}
		with, _ := k.With.Law()
		if bare, _ := k.Bare.Law(); alike(with, bare) {
			t.Errorf("%s does nothing", name)
		}
		if !tells(k.With.Words(), k.Words) || tells(k.Bare.Words(), k.Words) && k.Group != "shape" {
			t.Errorf("%s: %s is told where it is not, or not where it is", name, k.Words)
		}
	}
	for group, n := range map[string]int{"shape": 8, "reroll": len(rerollKinds), "natural": len(giftKinds), "judge": 3, "tie": len(tieWords), "number": 2, "damage": 7, "term": 4} {
		if rows[group] != n {
			t.Errorf("%d rows of %s, %d kinds", rows[group], group, n)
		}
	}
}

func alike(a, b odds.Law) bool {
	for v := min(a.Least, b.Least); v < max(a.Least+len(a.Chance), b.Least+len(b.Chance)); v++ {
		if d := a.Exactly(v) - b.Exactly(v); d > 1e-12 || d < -1e-12 {
			return false
		}
	}
	return true
}

// tells looks for a sentence among rules and all that they are made of.
func tells(all []reason.Reason, id string) bool {
	for _, r := range all {
		if r.ID == id {
			return true
		}
		for _, arg := range r.Args {
			if inner, ok := arg.Value.(reason.Reason); ok && tells([]reason.Reason{inner}, id) {
				return true
			}
		}
	}
	return false
}

// What is too large is refused by name, and nothing is begun.
func TestSolveLimits(t *testing.T) {
	pooled := Each{Sides: 6, Need: AtLeast(4), Rerolls: OneMiss}
	for name, s := range map[string]Shape{
		"attacks":  hits(MostAttacks+1, fourUpStep),
		"rungs":    blow(1000, Damage{Amount: Amount{Dice: 10, Sides: 100}, Spill: true}, Segment{Models: 1, Wounds: Endless}),
		"re-rolls": hits(2, pooled, pooled, pooled, pooled),
		"cells":    blow(2, Damage{Amount: Amount{Plus: 900}, Spill: true}, Segment{Models: 100, Wounds: 40, Save: fourUpStep}, Segment{Models: 1, Wounds: 40}),
		"ways":     Total{Terms: []Term{{Dice: 12, Sides: 6}}, Judge: TotalAtLeast, Value: 40, Rerolls: Worst},
		"kept":     Total{Terms: []Term{{Dice: 40, Sides: 1000, Keep: 39}}},
		"hull":     Volley{Pools: Pools{Mine: Pool{1, fourUpStep}}, Damage: Amount{Plus: 1}, Hull: Hull{Left: MostHull + 1}},
		"sum":      Total{Terms: []Term{{Dice: 1000, Sides: 1000}}},
	} {
		_, err := s.Law()
		if r, ok := err.(*reason.Refusal); !ok || !strings.HasSuffix(r.Reason.ID, "large") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := hits(2, pooled, pooled, pooled).Law(); err != nil {
		t.Error(err)
	}
	if _, err := hits(2).Solve(); err == nil {
		t.Error("an attack without a target was solved")
	}
}

// Solving stays small: 64 KB for the named attack, a megabyte near the limits.
func TestSolveAllocates(t *testing.T) {
	for name, c := range map[string]struct {
		a    Attack
		most float64
	}{"named": {named(60), 64 << 10}, "wide": {wide(), 1 << 20}} {
		r := testing.Benchmark(func(b *testing.B) {
			b.ReportAllocs()
			for range b.N {
				if _, err := c.a.Solve(); err != nil {
					b.Fatal(err)
				}
			}
		})
		if got := float64(r.AllocedBytesPerOp()); got > c.most {
			t.Errorf("%s: %v bytes allocated", name, got)
		}
	}
}
