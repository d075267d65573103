package odds

import "testing"

// TestMiddle: the smallest run of values with so much of the law, worked by hand.
func TestMiddle(t *testing.T) {
	for _, c := range []struct {
		law      Law
		share    float64
		from, to int
		chance   float64
	}{
		{Dice(2, 6), 0.4, 6, 8, 16. / 36},     // 5 6 5 of 36
		{Dice(2, 6), 0.45, 5, 8, 20. / 36},    // 5 to 8 has 20 of 36, and so has 6 to 9: the lower
		{Die(6), 0.5, 1, 3, 0.5},              // any three; the lowest
		{Always(7), 0.8, 7, 7, 1},             // certain
		{Try(1, 6), 0.8, 0, 0, 5. / 6},        // one value is enough
		{Try(1, 6), 0.9, 0, 1, 1},             // both are needed
		{Binomial(2, 1, 2), 0.75, 0, 1, 0.75}, // 1 2 1 of 4
	} {
		from, to, chance := c.law.Middle(c.share)
		if from != c.from || to != c.to || chance < c.chance-1e-12 || chance > c.chance+1e-12 {
			t.Errorf("%v of %v: %d to %d, %v; want %d to %d, %v", c.share, c.law, from, to, chance, c.from, c.to, c.chance)
		}
	}
}
