package discord

import (
	"strings"
	"unicode"
)

// Bounds of what strangers write.
const (
	mostMarks = 2    // combining marks in a row
	mostWords = 1000 // characters of what a stranger says
)

// harmless makes a stranger's words harmless, and cuts what has no end.
func harmless(s string) string { return upTo(s, mostWords) }

// plain makes any text harmless: it takes out what could turn it round, hide in it
// or pile up on it, and makes every space a plain one. A line end becomes a space.
func plain(s string) string { return upTo(s, len(s)) }

func upTo(s string, most int) string {
	var b strings.Builder
	marks, runes := 0, 0
	for _, r := range s {
		switch {
		case r == '\n' || r == '\t' || unicode.Is(unicode.Zs, r):
			r = ' '
		case r == unicode.ReplacementChar, unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Cs, unicode.Zl, unicode.Zp):
			continue
		}
		if marks++; !unicode.Is(unicode.M, r) {
			marks = 0
		}
		if marks > mostMarks {
			continue
		}
		if runes++; runes > most {
			b.WriteRune('…')
			break
		}
		b.WriteRune(r)
	}
	return b.String()
}

// meansNothing are the ASCII signs that mean nothing to Discord and stay as they are;
// all others are escaped, whether they mean something today or not.
const meansNothing = "',&/%"

// escape makes text that Discord shows as it stands: no markup, no mention, no
// link, no time, no emoji.
func escape(s string) string {
	var b strings.Builder
	for _, r := range plain(s) {
		if r < unicode.MaxASCII && (unicode.IsPunct(r) || unicode.IsSymbol(r)) && !strings.ContainsRune(meansNothing, r) {
			b.WriteByte('\\')
		}
		b.WriteRune(r)
	}
	return b.String()
}

// quoted is text inside code, where a backslash would be seen and only a
// backtick means something.
func quoted(s string) string { return strings.ReplaceAll(plain(s), "`", "ˋ") }

// code is text in a code span.
func code(s string) string {
	if s = quoted(s); s == "" {
		return ""
	}
	return "`" + s + "`"
}
