package luck

import (
	"math/rand/v2"
	"testing"
)

// season is what one player rolls in one, with dice that fall as die says: some tries
// of each kind at the needs of a game with so many d6, each face counted as well, and
// some d20.
// The counts hang together, as those of a real season do.
func season(r *rand.Rand, dice int, die func(*rand.Rand) int) *Tally {
	var t Tally
	for range dice * 5 / 6 {
		kind, need := Kind(r.IntN(3)), 2+r.IntN(5)
		face := die(r)
		t.Face(6, face)
		t.Try(kind, float64(7-need)/6, face >= need)
	}
	for range dice / 12 {
		a, b := die(r), die(r)
		t.Face(6, a)
		t.Face(6, b)
		t.Try(Tests, 21.0/36, a+b >= 7)
		t.Face(20, 1+r.IntN(20))
	}
	return &t
}

func fair(r *rand.Rand) int { return 1 + r.IntN(6) }

// loaded is a die whose six comes up 5 percentage points more often than one in six,
// and each other face one point less.
func loaded(r *rand.Rand) int {
	if p := r.Float64(); p < 1.0/6+0.05 {
		return 6
	}
	return 1 + r.IntN(5)
}

// verdicts counts what so many seasons are called.
func verdicts(seasons, dice int, seed uint64, die func(*rand.Rand) int) (called [TooOdd + 1]int) {
	r := rand.New(rand.NewPCG(seed, 10_000))
	for range seasons {
		called[season(r, dice, die).Look().Verdict]++
	}
	return called
}

// TestSeasonsFalseAlarms: of 10,000 seasons of fair dice at most one in twenty is called
// rare or more, and at most one in a thousand more than chance does. Holm's correction
// keeps below that whatever ties the counts together; here they are tied, so it stays
// well below, and not so far that it sees nothing. The bounds are four standard
// deviations of a binomial beyond 500 and 10; the seed is fixed.
func TestSeasonsFalseAlarms(t *testing.T) {
	const seasons = 10_000
	called := verdicts(seasons, 240, 1, fair)
	t.Logf("of %d fair seasons %d are called rare and %d too odd", seasons, called[Uncommon], called[TooOdd])
	if called[TooFew] > 0 || called[Uncommon]+called[TooOdd] > 500+87 || called[TooOdd] > 10+13 {
		t.Errorf("it cries foul at ordinary luck: %v", called)
	}
	if called[Uncommon] < 200 || called[TooOdd] < 1 {
		t.Errorf("it is called ordinary whatever falls: %v", called)
	}
}

// From so many dice on a die whose six is loaded by 5 percentage points is called rare,
// or more than chance does, in nine seasons of ten.
const (
	DiceForRare = 1300
	DiceForOdd  = 2100
)

// TestSeasonsFindALoadedDie: power, 400 seasons each. Nine of ten are expected or more,
// so 340 leaves three standard deviations and a half.
func TestSeasonsFindALoadedDie(t *testing.T) {
	for _, c := range []struct {
		dice  int
		least Verdict
	}{{DiceForRare, Uncommon}, {DiceForOdd, TooOdd}} {
		called := verdicts(400, c.dice, 2, loaded)
		found := 0
		for v := c.least; v <= TooOdd; v++ {
			found += called[v]
		}
		t.Logf("%d dice: found in %d of 400 seasons, %v", c.dice, found, called)
		if found < 340 {
			t.Errorf("%d dice: found in %d of 400 seasons only, %v", c.dice, found, called)
		}
		if fairs := verdicts(400, c.dice, 3, fair); fairs[TooOdd] > 3 || fairs[Uncommon] > 40 {
			t.Errorf("%d fair dice: %v", c.dice, fairs)
		}
	}
}
