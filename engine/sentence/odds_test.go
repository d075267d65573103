package sentence

import (
	"math"
	"testing"

	"drumhead/engine/dice"
)

// TestOddsAgreeWithRolls: for every shape of sentence, what is reckoned and what
// Count counts are one quantity. The false-alarm rate of the whole run is 1e-3: each
// mean is held against 4,000 rolls of fixed seals, within 4.5 of its standard errors.
func TestOddsAgreeWithRolls(t *testing.T) {
	const n = 4000
	for i, text := range []string{"12d6 4+", "20d6 3+, 4+, save 5+", "12d6 3+ 6s count twice, 4+", "12d6 3+ reroll 1s, 4+ 6s no save, save 4+", "8d6 5+ reroll one miss",
		"2d6+1", "best 2 of 3d6", "2d6-d3", "3d6 open-ended", "8d6 4+ against 5d6 5+", "6d6 4+, damage d3", "6d6 4+, damage 2, into 5 of 3",
		"30d6 3+ reroll 1s, 4+ reroll misses, save 5+, damage d3, last save 6+, into 10 of 3", "2d6 against 3d6", "d66", "3d20 12+, 15+", "20d6 4+ reroll hits"} {
		s, err := Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		law, what, err := s.Odds()
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		sum, square, total := 0.0, 0.0, 0.0
		for v, p := range law.Chance {
			x := float64(law.Least + v)
			sum, square, total = sum+p*x, square+p*x*x, total+p
		}
		if math.Abs(total-1) > 1e-12 {
			t.Errorf("%s: the chances add up to %v", text, total)
		}
		rolled := 0.0
		for k := range n {
			o := s.Roll(dice.NewStream("aaaaaaaaaaaaaaaaaaaaaaaaaa", uint64(k), "none", dice.Key{byte(i), 3}))
			if what == Winner {
				rolled += float64(1 + o.Rounds[0].Opposed.Winner)
				continue
			}
			rolled += float64(s.Count(o.Rounds[0]))
		}
		if far := math.Abs(rolled/n-sum) / math.Sqrt((square-sum*sum)/n); far > 4.5 {
			t.Errorf("%s (%s): %.3f expected, %.3f rolled, %.1f standard errors off", text, what, sum, rolled/n, far)
		}
	}
}

// TestOddsByHand: cases that are worked out on paper.
func TestOddsByHand(t *testing.T) {
	for _, c := range []struct {
		text  string
		value int
		want  float64
	}{
		{"2d6 total 9+", 9, 4. / 36},                           // 3+6, 4+5, twice each
		{"2d6 against 2d6", 1, 146. / 1296},                    // squares of 1 2 3 4 5 6 5 4 3 2 1 add up to 146
		{"d6 4+ against d6 4+", 1, 1. / 4},                     // mine made, theirs missed
		{"d6 4+, damage 2, into 2 of 3", 0, 1},                 // one wound of three is left
		{"2d6 4+, damage 3, into 2 of 3", 2, 1. / 4},           // both hit, each kills
		{"d6 4+, save 5+", 1, 1. / 3},                          // a half, and two thirds not saved
		{"d6 6+ 6s count twice", 2, 1. / 6},                    // the six is worth two
		{"d6 4+, damage 1, last save 4+, into 1 of 1", 1, .25}, // half of a half
		{"d6 open-ended", 7, 1. / 36},                          // a six, then a one
		{"best 1 of 2d6", 6, 11. / 36},                         // any six
	} {
		s, err := Parse(c.text)
		if err != nil {
			t.Fatal(err)
		}
		law, _, err := s.Odds()
		if err != nil {
			t.Fatal(err)
		}
		if got := law.Exactly(c.value); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: the chance of %d is %v, want %v", c.text, c.value, got, c.want)
		}
	}
	s, err := Parse("12d6 4+, at least 5")
	if err != nil {
		t.Fatal(err)
	}
	law, _, err := s.Odds()
	if err != nil {
		t.Fatal(err)
	}
	// 1 + 12 + 66 + 220 + 495 of 4096 have fewer than 5 of 12 even tries.
	if chance, ok := s.Asked(law); !ok || math.Abs(chance-(1-794./4096)) > 1e-12 {
		t.Errorf("at least 5 of 12: %v, %v", chance, ok)
	}
}
