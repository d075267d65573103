package battle

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// tokens reads a line of a sheet as phones write it into words, all in small
// letters and without accents. A comma, a colon or a long dash is a token of its
// own; a hyphen joins nothing, but a minus stays with its number, so that it is no
// length; 6", 6″ and 6in are "6" "in"; 7,4 is "7.4" and 7½ is "7.5".
func tokens(line string) []string {
	var out []string
	var word strings.Builder
	end := func() {
		if word.Len() > 0 {
			out = append(out, word.String())
			word.Reset()
		}
	}
	runes := []rune(plain(line))
	for i, r := range runes {
		digitBefore := i > 0 && unicode.IsDigit(runes[i-1])
		digitAfter := i+1 < len(runes) && unicode.IsDigit(runes[i+1])
		switch {
		case r == '-' && digitAfter && (i == 0 || !unicode.IsLetter(runes[i-1]) && !digitBefore):
			end()
			word.WriteByte('-')
		case halves[r] != "" && digitBefore:
			word.WriteString(halves[r])
		case halves[r] != "":
			end()
			word.WriteString("0" + halves[r])
		case (r == ',' || r == '.') && digitBefore && digitAfter:
			word.WriteByte('.')
		case r == '"':
			end()
			if digitBefore || i > 1 && runes[i-1] == ' ' && unicode.IsDigit(runes[i-2]) {
				out = append(out, "in")
			}
		case r == ',' || r == ':' || r == '—':
			end()
			out = append(out, string(r))
		case word.Len() > 0 && unicode.IsLetter(r) && digitBefore, word.Len() > 0 && unicode.IsDigit(r) && unicode.IsLetter(runes[i-1]):
			end()
			word.WriteRune(r)
		case unicode.IsLetter(r) || unicode.IsNumber(r) || r == '+' || r == '\'':
			word.WriteRune(r)
		default:
			end()
		}
	}
	end()
	return out
}

// halves is what phones make of parts of an inch.
var halves = map[rune]string{'¼': ".25", '½': ".5", '¾': ".75"}

// plain folds what phones and other keyboards make of letters and marks.
func plain(s string) string {
	s = strings.NewReplacer("″", `"`, "”", `"`, "“", `"`, "„", `"`, "''", `"`, "’’", `"`,
		"’", "'", "‘", "'", "−", "-", "－", "-", "–", "—", "―", "—", " -- ", " — ", "\u00a0", " ", "\u202f", " ", "×", "x").Replace(s)
	var b strings.Builder
	for _, r := range norm.NFD.String(s) {
		if !unicode.Is(unicode.Mn, r) {
			b.WriteRune(unicode.ToLower(r))
		}
	}
	return b.String()
}

// lines cuts a sheet into its lines: a line end or a semicolon ends one. Empty
// lines, and numbers or dots that a list begins with, are left out.
func lines(sheet string) []string {
	var out []string
	for _, l := range strings.FieldsFunc(sheet, func(r rune) bool { return r == '\n' || r == '\r' || r == ';' || r == '\u2028' }) {
		l = strings.TrimLeft(strings.TrimSpace(l), "•*·-–— ")
		if head, rest, ok := strings.Cut(l, " "); ok && strings.Trim(head, "0123456789.)") == "" {
			l = strings.TrimSpace(rest)
		}
		if l != "" {
			out = append(out, l)
		}
	}
	return out
}

// near is the number of letters to change, add or leave out to get from one
// word to another (Levenshtein 1966), at most limit+1.
func near(a, b string, limit int) int {
	if d := len(a) - len(b); d > limit || -d > limit {
		return limit + 1
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		before := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := before
			if a[i] != b[j] {
				cost++
			}
			before = row[j+1]
			row[j+1] = min(cost, row[j]+1, before+1)
		}
	}
	return min(row[len(b)], limit+1)
}
