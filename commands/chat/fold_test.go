package chat

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

func plain(s string) Line { return Line{{Kind: Plain, Text: s}} }

// text is a line as a reader without a platform sees it.
func text(l Line) string {
	var b strings.Builder
	for _, s := range l {
		b.WriteString(s.Text)
	}
	return b.String()
}

func TestFold(t *testing.T) {
	hash := strings.Repeat("0123456789abcdef", 5)
	for _, c := range []struct {
		what string
		line Line
		want []string
	}{
		{"short", plain("Riders held."), []string{"Riders held."}},
		{"between sentences", plain("Nobody plays against themselves. Name somebody else, or nobody."),
			[]string{"Nobody plays against themselves.", "Name somebody else, or nobody."}},
		{"behind a pause", plain("Melee, Riders at Crossbows: 6 hit, 6 wound, 2 saved; nothing came of it"),
			[]string{"Melee, Riders at Crossbows: 6 hit, 6 wound, 2 saved;", "  nothing came of it"}},
		{"between words", plain("a line that goes on and on without any pause at all until it is far too long"),
			[]string{"a line that goes on and on without any pause at all until it", "  is far too long"}},
		{"a margin stays", plain(" Pikes: it goes on and on without any pause at all until it is too long"),
			[]string{" Pikes: it goes on and on without any pause at all until it", "   is too long"}},
		{"columns", plain("10 Weir Pikes at 9          108                                          1"),
			[]string{"10 Weir Pikes at 9          108                                          1"}},
		{"a hash", Line{{Kind: Code, Text: hash}}, []string{hash}},
		{"a command", Line{{Kind: Plain, Text: "Example: "}, {Kind: Command, Text: "/order move Pikes 5 in; shoot Crossbows at Riders, 20 in; done"}},
			[]string{"Example: /order move Pikes 5 in; shoot Crossbows at Riders, 20 in; done"}},
		{"a chance stays with its number", plain("#10.5, Crossbows at Hookmen: 3.3 fallen expected, really; 2 to 5: 82%."),
			[]string{"#10.5, Crossbows at Hookmen: 3.3 fallen expected, really;", "  2 to 5: 82%."}},
		{"of many chances each stays whole", plain("At least 1 of them, which is a long way to begin, and then 2: 12%, 3: 4%."),
			[]string{"At least 1 of them, which is a long way to begin,", "  and then 2: 12%, 3: 4%."}},
		{"a number is never alone", append(plain("a line that goes on and on without any pause at all until it "), Span{Kind: Number, Entry: 4, Text: ".1"}),
			[]string{"a line that goes on and on without any pause at all until", "  it .1"}},
		{"line ends", plain("one\ntwo"), []string{"one", "two"}},
	} {
		got := Fold([]Line{c.line})
		if len(got) != len(c.want) {
			t.Errorf("%s: %d lines, want %d", c.what, len(got), len(c.want))
			continue
		}
		for i := range got {
			if text(got[i]) != c.want[i] {
				t.Errorf("%s: line %d is %q, want %q", c.what, i+1, text(got[i]), c.want[i])
			}
		}
	}
}

// Spans stay what they are: a stranger's words are never the bot's.
func TestFoldKeepsSpans(t *testing.T) {
	line := Line{{Kind: Plain, Text: "Ann objects to the result: \""}, {Kind: Said, Text: "you moved twice. I saw it with my own eyes"},
		{Kind: Plain, Text: "\" until "}, {Kind: When, Time: time.Unix(0, 0), Zone: "Europe/Paris"}, {Kind: Plain, Text: "."}}
	said, times := "", 0
	for _, l := range Fold([]Line{line}) {
		if n := measure(l); n > Width {
			t.Errorf("%d characters: %q", n, text(l))
		}
		for _, s := range l {
			switch s.Kind {
			case Said:
				said += " " + s.Text
			case When:
				times++
			}
		}
	}
	if strings.Join(strings.Fields(said), " ") != line[1].Text || times != 1 {
		t.Errorf("said %q, %d times", said, times)
	}
}

// FuzzFold: no word is lost or added, only a word alone is wider than a line,
// and what was folded stays.
func FuzzFold(f *testing.F) {
	for _, seed := range []string{"", " ", "a", "Pikes: 3 of 10 fell. " + strings.Repeat("word ", 20), strings.Repeat("x", 200), "é " + strings.Repeat("ö", 70)} {
		f.Add(seed, seed)
	}
	f.Fuzz(func(t *testing.T, said, then string) {
		if !utf8.ValidString(said) || !utf8.ValidString(then) {
			return
		}
		lines := []Line{{{Kind: Said, Text: said}, {Kind: Plain, Text: then}}}
		out := Fold(lines)
		var all []string
		for _, l := range out {
			all = append(all, text(l))
			if words := wordsOf(l); measure(l) > Width && !inColumns(l) && len(words) > 1 {
				t.Errorf("%q is too wide", text(l))
			}
		}
		if a, b := strings.Fields(strings.Join(all, " ")), strings.Fields(said+then); strings.Join(a, " ") != strings.Join(b, " ") {
			t.Errorf("%q became %q", b, a)
		}
		if strings.Contains(said, "\n") {
			return // a stranger's line ends stay in their words; no desk lets them in
		}
		if again := Fold(out); len(again) != len(out) {
			t.Errorf("folded again: %d lines, not %d", len(again), len(out))
		}
	})
}
