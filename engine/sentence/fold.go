package sentence

import "unicode"

// fold makes what phones do to a text harmless, one character for one, so that
// places stay true: small letters, plain spaces, hyphens for dashes, no quotes.
func fold(r rune) rune {
	switch r {
	case '\u2010', '\u2011', '\u2012', '\u2013', '\u2014', '\u2015', '\u2212', '\u00ad':
		return '-'
	case '"', '\'', '\u2018', '\u2019', '\u201a', '\u201c', '\u201d', '\u201e', '\u00ab', '\u00bb', '`', '\u00b4':
		return ' '
	case '\u200b', '\u200c', '\u200d', '\u2060', '\ufeff', '\u200e', '\u200f', '\ufe0f':
		return ' '
	case '\uff0b':
		return '+'
	case '\uff0c', '\u3001', ';':
		return ','
	case '\t', '\n', '\r':
		return ' '
	}
	if unicode.IsSpace(r) {
		return ' '
	}
	return unicode.ToLower(r)
}

// label makes a player's words fit to be kept: no control characters, single
// spaces, none at the ends.
func label(text []rune) string {
	out := make([]rune, 0, len(text))
	for _, r := range text {
		if unicode.IsSpace(r) {
			r = ' '
		}
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == unicode.ReplacementChar {
			continue
		}
		if r == ' ' && (len(out) == 0 || out[len(out)-1] == ' ') {
			continue
		}
		out = append(out, r)
	}
	if n := len(out); n > 0 && out[n-1] == ' ' {
		out = out[:n-1]
	}
	return string(out)
}
