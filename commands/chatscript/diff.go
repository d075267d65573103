package chatscript

import (
	"fmt"
	"strings"
)

// around is how many lines are shown before and after a difference.
const around = 4

// Diff shows how two texts differ, line by line: "-" is wanted and missing, "+"
// came instead. It is empty if they are the same.
func Diff(want, got string) string {
	if want == got {
		return ""
	}
	lines := compare(strings.Split(want, "\n"), strings.Split(got, "\n"))
	near := make([]bool, len(lines))
	for i, l := range lines {
		if l.mark == ' ' {
			continue
		}
		for j := max(0, i-around); j <= min(len(lines)-1, i+around); j++ {
			near[j] = true
		}
	}
	var out strings.Builder
	for i, l := range lines {
		switch {
		case near[i]:
			fmt.Fprintf(&out, "%5d %c %s\n", l.number, l.mark, l.text)
		case i > 0 && near[i-1]:
			out.WriteString("      …\n")
		}
	}
	return out.String()
}

type line struct {
	number int // in the text that it stands in
	mark   byte
	text   string
}

// compare lines two texts up along their longest common run of lines.
func compare(want, got []string) []line {
	same := make([][]int32, len(want)+1)
	for i := range same {
		same[i] = make([]int32, len(got)+1)
	}
	for i := len(want) - 1; i >= 0; i-- {
		for j := len(got) - 1; j >= 0; j-- {
			if want[i] == got[j] {
				same[i][j] = same[i+1][j+1] + 1
			} else {
				same[i][j] = max(same[i+1][j], same[i][j+1])
			}
		}
	}
	var out []line
	i, j := 0, 0
	for i < len(want) || j < len(got) {
		switch {
		case i < len(want) && j < len(got) && want[i] == got[j]:
			out = append(out, line{i + 1, ' ', want[i]})
			i, j = i+1, j+1
		case j == len(got) || i < len(want) && same[i+1][j] >= same[i][j+1]:
			out = append(out, line{i + 1, '-', want[i]})
			i++
		default:
			out = append(out, line{j + 1, '+', got[j]})
			j++
		}
	}
	return out
}
