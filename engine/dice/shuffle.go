package dice

// Shuffle puts n things into a random order (Fisher and Yates, from the last
// to the second). n is at most MostSides, and the Drawer has n-1 dice left.
func Shuffle(d Drawer, n int, swap func(i, j int)) {
	for i := n - 1; i > 0; i-- {
		swap(i, d.Draw(i+1)-1)
	}
}
