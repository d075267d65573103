package attack

import (
	"math"
	"testing"

	"drumhead/engine/odds"
)

// chiSquare is the chance of so large a difference between counts and a law; 0 if
// something was rolled that has no chance. Cells with fewer than 5 expected are
// put together with the next.
func chiSquare(t *testing.T, law odds.Law, counts map[int]int, n int) float64 {
	t.Helper()
	for v := range counts {
		if law.Exactly(v) == 0 {
			t.Errorf("%d was rolled and has no chance", v)
			return 0
		}
	}
	x, cells := 0.0, 0
	expected, seen, lastE, lastS := 0.0, 0.0, 0.0, 0.0
	for i, p := range law.Chance {
		expected += p * float64(n)
		seen += float64(counts[law.Least+i])
		if expected >= 5 {
			x += (seen - expected) * (seen - expected) / expected
			cells++
			lastE, lastS, expected, seen = expected, seen, 0, 0
		}
	}
	if cells < 2 {
		return 1
	}
	if expected > 0 { // the rest goes to the last cell
		x -= (lastS - lastE) * (lastS - lastE) / lastE
		lastE, lastS = lastE+expected, lastS+seen
		x += (lastS - lastE) * (lastS - lastE) / lastE
	}
	return upperGamma(float64(cells-1)/2, x/2)
}

// upperGamma is the regularized upper incomplete gamma function Q(a, x), by its
// series below a+1 and its continued fraction above (Abramowitz and Stegun 6.5.29
// and 6.5.31).
func upperGamma(a, x float64) float64 {
	if x <= 0 {
		return 1
	}
	lg, _ := math.Lgamma(a)
	front := math.Exp(-x + a*math.Log(x) - lg)
	if x < a+1 {
		term, sum := 1/a, 1/a
		for n := 1.0; n < 1000 && term > sum*1e-16; n++ {
			term *= x / (a + n)
			sum += term
		}
		return 1 - front*sum
	}
	const tiny = 1e-300
	b := x + 1 - a
	c, d := 1/tiny, 1/b
	h := d
	for i := 1.0; i < 1000; i++ {
		an := -i * (i - a)
		b += 2
		d = 1 / math.Max(math.Abs(an*d+b), tiny) * math.Copysign(1, an*d+b)
		c = b + an/c
		h *= d * c
		if math.Abs(d*c-1) < 1e-15 {
			break
		}
	}
	return front * h
}

// Quantiles of chi-square as any table has them (from memory): 3.841 at one
// degree of freedom and 18.307 at ten are passed with a chance of 0.05.
func TestChiSquareTable(t *testing.T) {
	for df, x := range map[float64]float64{1: 3.841, 10: 18.307, 30: 43.773} {
		if p := upperGamma(df/2, x/2); math.Abs(p-0.05) > 1e-4 {
			t.Errorf("chi-square %v with %v degrees: %v", x, df, p)
		}
	}
}
