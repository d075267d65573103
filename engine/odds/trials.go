package odds

// negligible is the share of a law's highest chance below which Trials leaves a
// value out: far below what adding up a whole season could make visible.
const negligible = 1e-40

// Trials is the law of the successes among n tries with one chance each, as
// Binomial is, but for many tries: only values that are not negligible stand in
// it, so that it takes the square root of n and not n. Chance is between 0 and 1.
//
// Each value's chance follows from its neighbour's, from the likeliest value
// outwards, and all are divided by their sum at the end.
func Trials(n int, chance float64) Law {
	odd := chance / (1 - chance)
	top := min(n, int(float64(n+1)*chance))
	var below, above []float64
	for k, p := top, 1.0; k > 0; k-- {
		p *= float64(k) / (float64(n-k+1) * odd)
		if p < negligible {
			break
		}
		below = append(below, p)
	}
	for k, p := top, 1.0; k < n; k++ {
		p *= float64(n-k) * odd / float64(k+1)
		if p < negligible {
			break
		}
		above = append(above, p)
	}
	l := Law{Least: top - len(below), Chance: make([]float64, 0, len(below)+1+len(above))}
	for i := len(below) - 1; i >= 0; i-- {
		l.Chance = append(l.Chance, below[i])
	}
	l.Chance = append(append(l.Chance, 1), above...)
	return l.whole()
}

// whole divides all chances by their sum; the smallest are added first.
func (l Law) whole() Law {
	sum := 0.0
	for i, j := 0, len(l.Chance)-1; i <= j; {
		if l.Chance[i] < l.Chance[j] {
			sum += l.Chance[i]
			i++
		} else {
			sum += l.Chance[j]
			j--
		}
	}
	for i := range l.Chance {
		l.Chance[i] /= sum
	}
	return l
}

// Slim leaves the negligible values at both ends of a law out.
func (l Law) Slim() Law {
	most := 0.0
	for _, p := range l.Chance {
		most = max(most, p)
	}
	for len(l.Chance) > 1 && l.Chance[0] < most*negligible {
		l.Least, l.Chance = l.Least+1, l.Chance[1:]
	}
	for len(l.Chance) > 1 && l.Chance[len(l.Chance)-1] < most*negligible {
		l.Chance = l.Chance[:len(l.Chance)-1]
	}
	return l
}

// nearly is by how much two chances may differ and still count as the same.
const nearly = 1 + 1e-7

// AsOdd is the chance of a value that is no likelier than this one: the exact
// two-sided p-value, as statisticians reckon it for a binomial.
func (l Law) AsOdd(value int) float64 {
	bar := l.Exactly(value) * nearly
	sum, i, j := 0.0, 0, len(l.Chance)-1
	for ; i <= j && l.Chance[i] <= bar; i++ {
		sum += l.Chance[i]
	}
	for ; j >= i && l.Chance[j] <= bar; j-- {
		sum += l.Chance[j]
	}
	return min(sum, 1)
}
