package luck

import (
	"cmp"
	"slices"
)

// Holm corrects p-values for having looked at several: each result is the
// chance, whatever ties the counts to each other, that the luckiest or unluckiest
// of so many fair counts looks as odd (S. Holm, Scandinavian Journal of
// Statistics 6, 1979). The order is that of p.
func Holm(p []float64) []float64 {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[a], p[b]) })
	out := make([]float64, len(p))
	worst := 0.0
	for rank, i := range order {
		worst = max(worst, min(1, p[i]*float64(len(p)-rank)))
		out[i] = worst
	}
	return out
}
