package battle

import (
	"math"
	"slices"
	"testing"
)

// TestAssaultByEnumeration: what /odds tells of an assault, its results and the steps
// that each unit loses, against the battle itself decided for each of the six faces,
// from odds of 1:3 to 4:1, with a way back and without one.
func TestAssaultByEnumeration(t *testing.T) {
	for _, sheet := range []string{
		"charge Weir Foot at Delta Foot, 4 in", "charge Weir Foot and Toll Horse at Heron Horse, 5 in, flank", "charge Weir Foot and Toll Horse at Delta Guns, 5 in",
		"charge Toll Horse at Delta Foot, 5 in, across water", "charge Weir Foot at Delta Guns, 4 in, no way back", "charge Weir Foot at Heron Horse, 4 in, flank, no way back",
	} {
		start := beginWith(t, "column", "two-fords", []string{"weir-foot", "toll-horse"}, []string{"delta-foot", "heron-horse", "delta-guns"}).state
		lines, err := ParseSheet(start, start.Side, sheet)
		if err != nil {
			t.Fatal(spell(err))
		}
		lost, seen := map[string][]int{}, []string{}
		var told []Told
		start.unit("u3").Hurt = 4 // of five steps: what is gone cannot be lost twice
		for face := 1; face <= 6; face++ {
			s := start.own()
			events, story, err := Tell(s, Order{Player: s.Players[s.Side], Seq: 9, Do: Sheet{Battle: 1, Orders: lines}}, &said{t: t, faces: []int{face}})
			if err != nil {
				t.Fatal(spell(err))
			}
			told = append(told, story[0])
			for _, e := range events {
				s = s.Apply(e)
				if l, ok := e.(*Looked); ok {
					words, _ := story[0].Looked.Result(l.Row)
					seen = append(seen, words)
				}
			}
			for i, u := range start.Units {
				lost[u.ID] = append(lost[u.ID], gone(s, s.Units[i])-gone(start, u))
			}
		}
		all, err := Prospects(start, start.Side, lines)
		if err != nil {
			t.Fatal(spell(err))
		}
		results, err := Results(told[0].Looked)
		if err != nil || !slices.Equal(results, all[0].Results) {
			t.Fatalf("%s: %+v before, %+v after (%v)", sheet, all[0].Results, results, err)
		}
		for _, r := range results {
			n := 0
			for i, words := range seen {
				if words == r.Words {
					n++
					if face := i + 1; face < r.From || face > r.To {
						t.Errorf("%s: %q on %d, told for %d to %d", sheet, words, face, r.From, r.To)
					}
				}
			}
			if math.Abs(r.Chance-float64(n)/6) > 1e-12 {
				t.Errorf("%s: %q %v, on %d faces of six", sheet, r.Words, r.Chance, n)
			}
		}
		if len(told[0].Stakes) != len(lines[0].Also)+2 {
			t.Errorf("%s: stakes of %d units", sheet, len(told[0].Stakes))
		}
		for _, stake := range told[0].Stakes {
			law, err := stake.Loss(told[0].Looked)
			if err != nil {
				t.Fatal(err)
			}
			for n := range 6 {
				times := 0
				for _, steps := range lost[stake.Unit] {
					if steps == n {
						times++
					}
				}
				if math.Abs(law.Exactly(n)-float64(times)/6) > 1e-12 {
					t.Errorf("%s: %s loses %d with %v, on %d faces of six", sheet, stake.Unit, n, law.Exactly(n), times)
				}
			}
		}
	}
}

// gone is how many steps of a brigade are gone.
func gone(s State, u Unit) int {
	steps := s.Pack.Number(s.group(u), "steps")
	if !u.Stands() {
		return steps
	}
	return u.Hurt
}
