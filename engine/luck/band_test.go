package luck

import (
	"math/big"
	"testing"
)

// TestBand holds the band against its definition, reckoned anew in whole numbers:
// outside it lies at most one in 40 on either side, and one step less wide it would
// be more. Source of the law: the binomial coefficients of math/big.
func TestBand(t *testing.T) {
	fortieth := big.NewRat(1, 40)
	for _, c := range []struct{ n, sides int }{{1, 6}, {6, 6}, {60, 6}, {312, 6}, {500, 6}, {60, 20}, {200, 2}, {3000, 6}} {
		low, high := Band(c.n, c.sides)
		below, above := new(big.Rat), new(big.Rat)
		for k := 0; k < low; k++ {
			below.Add(below, binomial(c.n, k, c.sides))
		}
		for k := high + 1; k <= c.n && k < high+400; k++ {
			above.Add(above, binomial(c.n, k, c.sides))
		}
		if below.Cmp(fortieth) > 0 || new(big.Rat).Add(below, binomial(c.n, low, c.sides)).Cmp(fortieth) <= 0 && low < high {
			t.Errorf("%d d%d: below %d lies %s", c.n, c.sides, low, below.FloatString(4))
		}
		if above.Cmp(fortieth) > 0 || new(big.Rat).Add(above, binomial(c.n, high, c.sides)).Cmp(fortieth) <= 0 && low < high {
			t.Errorf("%d d%d: above %d lies %s", c.n, c.sides, high, above.FloatString(4))
		}
	}
}

// binomial is the chance of just k of n dice to show one face of so many.
func binomial(n, k, sides int) *big.Rat {
	ways := new(big.Int).Binomial(int64(n), int64(k))
	others := new(big.Int).Exp(big.NewInt(int64(sides-1)), big.NewInt(int64(n-k)), nil)
	all := new(big.Int).Exp(big.NewInt(int64(sides)), big.NewInt(int64(n)), nil)
	return new(big.Rat).SetFrac(ways.Mul(ways, others), all)
}
