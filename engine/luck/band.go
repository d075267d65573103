package luck

import "drumhead/engine/odds"

// Inside is the share of fair counts that lie in a Band, at the least.
const Inside = 0.95

// Band is where the count of one face lies when n fair dice of so many sides are
// thrown, in at least 19 of 20 throws of them: on either side at most one in 40 is
// left out, exactly, by the binomial law. Both ends belong to it. With six faces
// some one of them is outside far more often than that: a band is for looking, the
// verdict is Report's.
func Band(n, sides int) (low, high int) {
	law := odds.Trials(n, 1/float64(sides))
	low, high = law.Least, law.Least+len(law.Chance)-1
	for tail := law.Exactly(low); tail <= (1-Inside)/2 && low < high; tail += law.Exactly(low) {
		low++
	}
	for tail := law.Exactly(high); tail <= (1-Inside)/2 && high > low; tail += law.Exactly(high) {
		high--
	}
	return low, high
}
