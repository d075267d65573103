package muster

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// tidy reads what phones do to text as a keyboard would have typed it: every
// space within a line is a space, quotes and dashes are plain, marks that
// nobody sees are gone. Letters keep their case.
func tidy(s string) string {
	plain := strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case strings.ContainsRune("‘’‚‛′´`", r):
			return '\''
		case strings.ContainsRune("“”„‟″«»", r):
			return '"'
		case strings.ContainsRune("‐‑‒–—―−", r):
			return '-'
		case r == '×':
			return 'x'
		case unicode.Is(unicode.Cf, r):
			return -1
		}
		return r
	}, s)
	return strings.Join(strings.Fields(plain), " ")
}

// fold is what two spellings of a name have in common: no case, no accents, no
// hyphens and commas, and no plural s at the end.
func fold(s string) string {
	var b strings.Builder
	for _, r := range norm.NFKD.String(tidy(s)) {
		switch {
		case unicode.Is(unicode.Mn, r):
		case r == '-' || r == ',' || r == '.':
			b.WriteByte(' ')
		default:
			b.WriteRune(unicode.ToLower(r))
		}
	}
	folded := strings.Join(strings.Fields(b.String()), " ")
	if len(folded) > 3 && !strings.HasSuffix(folded, "ss") {
		folded = strings.TrimSuffix(folded, "s")
	}
	return folded
}

// clip shortens a stranger's words for a sentence about them.
func clip(s string) string {
	if r := []rune(s); len(r) > MostName {
		return string(r[:MostName-1]) + "…"
	}
	return s
}
