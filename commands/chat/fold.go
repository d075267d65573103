package chat

import (
	"slices"
	"strings"
	"unicode/utf8"
)

// Width is the most characters of a line that people read; Columns the most of
// a line whose parts stand in columns, because phones wrap near there.
const (
	Width   = 60
	Columns = 40
)

// Fold breaks every line that is wider than Width: between two sentences where
// that will do, else behind a comma or a semicolon, else between words. What
// goes on with a sentence is set in. A line in columns, a command, a hash and
// a file's line are never broken.
func Fold(lines []Line) []Line {
	var out []Line
	for _, line := range lines {
		for _, one := range cut(line) {
			out = append(out, foldLine(one)...)
		}
	}
	return out
}

// cut ends lines where the bot's own text has a line end, so that a sentence of
// the catalogue may hold several.
func cut(line Line) []Line {
	if !slices.ContainsFunc(line, func(s Span) bool { return s.Kind == Plain && (s.Text == "" || strings.Contains(s.Text, "\n")) }) {
		return []Line{line} // as nearly every line is
	}
	out := []Line{nil}
	for _, s := range line {
		parts := []string{s.Text}
		if s.Kind == Plain {
			parts = strings.Split(s.Text, "\n")
		}
		for i, part := range parts {
			if i > 0 {
				out = append(out, nil)
			}
			if part != "" || s.Kind != Plain {
				piece := s
				piece.Text = part
				out[len(out)-1] = append(out[len(out)-1], piece)
			}
		}
	}
	return out
}

// inset begins what goes on with the sentence of the line before.
const inset = "  "

func foldLine(line Line) []Line {
	if measure(line) <= Width || inColumns(line) || isExample(line) {
		return []Line{line}
	}
	words := wordsOf(line)
	margin := line[0].Text[:len(line[0].Text)-len(strings.TrimLeft(line[0].Text, " "))]
	lead := margin
	var out []Line
	for len(words) > 0 {
		n, ends := fitting(words, Width-len(lead))
		next := joined(words[:n])
		if lead != "" {
			next = append(Line{{Kind: Plain, Text: lead}}, next...)
		}
		out, words = append(out, next), words[n:]
		if lead = margin; !ends {
			lead = margin + inset
		}
	}
	return out
}

// isExample tells whether a line is a word or two and a command to copy.
func isExample(line Line) bool {
	const fewLetters = 12
	return len(line) == 2 && line[1].Kind == Command && measure(line[:1]) <= fewLetters
}

// word is a stretch of spans that is never broken, with the space before it.
type word struct {
	spans Line
	width int
	last  string // the text that it ends with
}

// ends tells whether a sentence ends with the word.
func (w word) ends() bool { return strings.HasSuffix(w.last, ".") || strings.HasSuffix(w.last, "?") }

// pauses tells whether a sentence may pause behind the word.
func (w word) pauses() bool {
	return strings.HasSuffix(w.last, ",") || strings.HasSuffix(w.last, ";") || strings.HasSuffix(w.last, ":")
}

// brackets is how many more brackets open in the word than close.
func (w word) brackets() int {
	n := 0
	for _, s := range w.spans {
		n += strings.Count(s.Text, "(") - strings.Count(s.Text, ")")
	}
	return n
}

// fitting is how many of the words make the next line, and whether a sentence
// ends there. A pause is taken if it fills two fifths of the line; what stands
// in brackets stays together.
func fitting(words []word, room int) (n int, ends bool) {
	used, sentence, pause, brackets := 0, 0, 0, 0
	for n = 0; n < len(words); n++ {
		if used += words[n].width; n > 0 {
			used++
		}
		if used > room && n > 0 {
			break
		}
		long := used-words[n].width > room*2/5
		if opens := strings.HasPrefix(words[n].spans[0].Text, "("); opens && brackets == 0 && long {
			pause = n
		}
		brackets += words[n].brackets()
		switch {
		case brackets > 0:
		case words[n].ends():
			sentence = n + 1
		case words[n].pauses() && used > room*2/5:
			pause = n + 1
		}
	}
	switch {
	case n == len(words):
		return n, true
	case sentence > 0:
		return sentence, true
	case pause > 0:
		return pause, false
	}
	return n, false
}

// wordsOf cuts a line at the spaces of its text, but for those within a figure.
func wordsOf(line Line) []word {
	var out []word
	all := spaced(line)
	for i, w := range all {
		last := len(out) - 1
		if last >= 0 && figure(out[last], w, i == len(all)-1) {
			out[last] = word{spans: joined([]word{out[last], w}), width: out[last].width + 1 + w.width, last: out[last].last + " " + w.last}
			continue
		}
		out = append(out, w)
	}
	return out
}

// figure tells whether two words are read as one: "0:" and "94%", "2 to" and
// "5", and the number of an entry with what stands before it.
func figure(one, next word, final bool) bool {
	span := next.spans[0]
	if span.Kind == Number {
		return final || !one.ends()
	}
	before, hasColon := strings.CutSuffix(one.last, ":")
	if span.Kind != Plain || span.Text == "" || !endsInDigit(before) && !strings.HasSuffix(one.last, " to") {
		return false
	}
	switch {
	case next.last == "to":
		return true
	case hasColon:
		return strings.Contains(span.Text, "%")
	}
	return strings.HasSuffix(one.last, " to") && endsInDigit(span.Text[:1])
}

func endsInDigit(s string) bool {
	return s != "" && '0' <= s[len(s)-1] && s[len(s)-1] <= '9'
}

// spaced cuts a line at every space of its text.
func spaced(line Line) []word {
	var out []word
	open := false // the last word may go on
	for _, s := range line {
		if s.Kind != Plain && s.Kind != Said {
			out, open = glue(out, s, open), true
			continue
		}
		for i, part := range strings.Split(s.Text, " ") {
			open = open && i == 0
			if part == "" {
				continue
			}
			piece := s
			piece.Text = part
			out, open = glue(out, piece, open), true
		}
		open = open && !strings.HasSuffix(s.Text, " ")
	}
	return out
}

// glue puts a span behind the last word, or begins one with it.
func glue(words []word, s Span, open bool) []word {
	if !open || len(words) == 0 {
		words = append(words, word{})
	}
	w := &words[len(words)-1]
	w.spans = append(w.spans, s)
	w.width += measure(Line{s})
	w.last = s.Text
	return words
}

// joined makes a line of words again.
func joined(words []word) Line {
	var out Line
	put := func(s Span) {
		if last := len(out) - 1; last >= 0 && s.Kind == out[last].Kind && (s.Kind == Plain || s.Kind == Said) {
			out[last].Text += s.Text
			return
		}
		out = append(out, s)
	}
	for i, w := range words {
		if i > 0 {
			space := Span{Kind: Plain, Text: " "}
			if last := len(out) - 1; out[last].Kind == Said && w.spans[0].Kind == Said {
				space.Kind = Said
			}
			put(space)
		}
		for _, s := range w.spans {
			put(s)
		}
	}
	return out
}

// inColumns tells whether parts of a line stand below those of its neighbours:
// two spaces side by side after the first word.
func inColumns(line Line) bool {
	var b strings.Builder
	for _, s := range line {
		if b.WriteString(s.Text); s.Text == "" {
			b.WriteByte('-') // a number or a time, which adapters write
		}
	}
	return strings.Contains(strings.TrimLeft(b.String(), " "), "  ")
}

// wideTime is how wide a time is in words, with the city of its zone; only
// adapters write it.
func wideTime(s Span) int {
	city := s.Zone[strings.LastIndexByte(s.Zone, '/')+1:]
	return len("Wed 30 Sep 23:00 ") + max(len(city), len("UTC"))
}

// measure is how many characters a line has, as people will see it.
func measure(line Line) int {
	n := 0
	for _, s := range line {
		switch s.Kind {
		case When:
			n += wideTime(s)
		case Number:
			n += 1 + digitsOf(s.Entry) + utf8.RuneCountInString(s.Text)
		case Who:
			n += 1 + utf8.RuneCountInString(s.Text)
		default:
			n += utf8.RuneCountInString(s.Text)
		}
	}
	return n
}

func digitsOf(n int64) int {
	digits := 1
	for ; n > 9; n /= 10 {
		digits++
	}
	return digits
}
