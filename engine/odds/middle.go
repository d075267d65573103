package odds

// Middle is the smallest run of neighbouring values that has at least this share of
// a law, and its chance; of several as small the likeliest. Share is above 0 and at
// most 1.
func (l Law) Middle(share float64) (from, to int, chance float64) {
	const almost = 1e-9 // chances add up to 1 but for rounding
	n := len(l.Chance)
	for wide := 1; wide <= n; wide++ {
		sum := 0.0
		for _, p := range l.Chance[:wide] {
			sum += p
		}
		best := sum
		from = l.Least
		for i := wide; i < n; i++ {
			sum += l.Chance[i] - l.Chance[i-wide]
			if sum > best+almost {
				best, from = sum, l.Least+i-wide+1
			}
		}
		if best >= share-almost || wide == n {
			return from, from + wide - 1, best
		}
	}
	return l.Least, l.Least, 1
}
