package battle

import (
	"math"
	"testing"
)

// By hand: one die each, fifteen of 36 ways for either side and six ties, which are
// rolled again; the side that was offered the battle has the turn only after twenty
// ties, one case in 6^20.
func TestRollOffOdds(t *testing.T) {
	one, two := RollOff()
	if math.Abs(one+two-1) > 1e-15 || math.Abs(one-0.5) > 1e-15 {
		t.Errorf("%v and %v", one, two)
	}
}
