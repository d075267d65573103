package args

import (
	"strings"

	"drumhead/engine/reason"
)

// unknown refuses a word that begins no command, with the nearest that does.
// Somebody who says a subcommand alone ("open Bo") is shown the whole of it.
func unknown(specs []Spec, first, second string) error {
	var heads []string
	for _, spec := range specs {
		head, sub, grouped := strings.Cut(spec.Name, " ")
		if grouped && sub == first {
			return reason.Refuse(spec.Example, "args.refuse.unknown", "word", reason.Name(clip(first)), "nearest", spec.Name)
		}
		heads = append(heads, head)
	}
	near := nearest(first, heads)
	if near == "" {
		return reason.Refuse("/help", "args.refuse.nothing", "word", reason.Name(clip(first)))
	}
	return reason.Refuse(exampleOf(specs, near+" "+second), "args.refuse.unknown", "word", reason.Name(clip(first)), "nearest", near)
}

// exampleOf is the example of a command, or of the first one that shares its
// first word.
func exampleOf(specs []Spec, name string) string {
	head, _, _ := strings.Cut(name, " ")
	found := ""
	for _, spec := range specs {
		h, _, _ := strings.Cut(spec.Name, " ")
		if spec.Name == name || spec.Name == head {
			return spec.Example
		}
		if h == head && found == "" {
			found = spec.Example
		}
	}
	return found
}

// nearest is the word with the fewest slips to the one said, the first of
// equals; "" if none is near enough to be meant: one slip in five letters, two
// in six to eight, and so on.
func nearest(said string, words []string) string {
	best, least := "", 1+len([]rune(said))/3
	for _, w := range words {
		if d := slips(said, w); d < least {
			best, least = w, d
		}
	}
	return best
}

// slips counts the letters to add, leave out, replace or swap with their
// neighbour that make one word of another (the distance of Damerau 1964 in its
// restricted form: no letter is touched twice).
func slips(a, b string) int {
	x, y := []rune(a), []rune(b)
	before, last, row := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		row[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(y)]
}
