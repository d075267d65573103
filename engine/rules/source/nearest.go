package source

// Nearest is the one of the names that looks most like word, or "" when none
// is near enough to be a slip of the finger: a third of the letters of the longer word at most.
// Of equally near names the first one is taken.
func Nearest(word string, names []string) string {
	best, least := "", 0
	if len(word) > mostLetters {
		return ""
	}
	for _, name := range names {
		d := slips(word, name)
		if d > max(1, max(len([]rune(word)), len([]rune(name)))/3) {
			continue
		}
		if best == "" || d < least {
			best, least = name, d
		}
	}
	return best
}

// slips counts the letters to add, drop, change or swap with a neighbour to
// make b of a (optimal string alignment distance; from memory, a textbook
// recurrence).
func slips(a, b string) int {
	from, to := []rune(a), []rune(b)
	var before []int
	last := make([]int, len(to)+1)
	for j := range last {
		last[j] = j
	}
	for i := range from {
		row := make([]int, len(to)+1)
		row[0] = i + 1
		for j := range to {
			change := last[j]
			if from[i] != to[j] {
				change++
			}
			row[j+1] = min(change, last[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && from[i] == to[j-1] && from[i-1] == to[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
		before, last = last, row
	}
	return last[len(to)]
}

// mostLetters bounds the work of comparing words: longer ones are no slip.
const mostLetters = 64
