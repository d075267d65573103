package matrix

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// mostMarks is how many combining marks stand on one letter.
const mostMarks = 2

// harmless takes out of a stranger's text what could turn it round, hide in it
// or pile up on it. A line end becomes a space.
func harmless(s string) string {
	var b strings.Builder
	marks := 0
	for _, r := range s {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			r = ' '
		case r == utf8.RuneError, unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Cs, unicode.Zl, unicode.Zp):
			continue
		}
		if marks++; !unicode.Is(unicode.M, r) {
			marks = 0
		}
		if marks <= mostMarks {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// cutTo cuts a text to so many characters.
func cutTo(s string, most int) string {
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most-1]) + "…"
}
