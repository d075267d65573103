package luck

import "math"

// ChiSquare holds counts against the chances that they should have; without
// chances all should be alike. It gives the statistic, its degrees of freedom,
// and the chance that fair dice are as uneven or more (Pearson, 1900). The
// chance is an approximation, good where each count is expected to be 10 or more.
func ChiSquare(counts []int, chance []float64) (x float64, df int, p float64) {
	n := 0
	for _, c := range counts {
		n += c
	}
	expected := float64(n) / float64(len(counts))
	for i, c := range counts {
		if chance != nil {
			expected = float64(n) * chance[i]
		}
		x += (float64(c) - expected) * (float64(c) - expected) / expected
	}
	df = len(counts) - 1
	return x, df, Tail(x, df)
}

// Tail is the chance that a chi-square of so many degrees of freedom is x or
// more: the regularised upper incomplete gamma function Q(df/2, x/2). From
// Q(1/2, y) = erfc(√y) or Q(1, y) = e^-y it is a finite sum, by the recurrence
// Q(a+1, y) = Q(a, y) + y^a e^-y / Γ(a+1), so nothing has to converge.
func Tail(x float64, df int) float64 {
	if x <= 0 {
		return 1
	}
	y := x / 2
	sum, a := 0.0, 0.0
	if df%2 == 1 {
		sum, a = math.Erfc(math.Sqrt(y)), 0.5
	}
	for ; a < float64(df)/2; a++ {
		gamma, _ := math.Lgamma(a + 1)
		sum += math.Exp(a*math.Log(y) - y - gamma)
	}
	return min(sum, 1)
}
