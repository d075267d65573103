package args

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"drumhead/engine/reason"

	"golang.org/x/text/unicode/norm"
)

// MaxText is the most characters that one message may have.
const MaxText = 8000

// example is shown where no command is known that the mistake is about.
const example = "/roll 12d6 4+"

// Check refuses what is no text to read: bytes that are not UTF-8, control
// characters (tab and line end are none), more than MaxText characters. It
// returns the text with one spelling of a line's end and is otherwise as said.
func Check(text string) (string, error) {
	if !utf8.ValidString(text) {
		return "", reason.Refuse(example, "args.refuse.utf8")
	}
	text = strings.ReplaceAll(text, "\r\n", "\n")
	if n := utf8.RuneCountInString(text); n > MaxText {
		return "", reason.Refuse(example, "args.refuse.long", "count", n, "limit", MaxText)
	}
	line := 1
	for _, r := range text {
		switch {
		case r == '\n':
			line++
		case r == '\t':
		case unicode.IsControl(r):
			return "", reason.Refuse(example, "args.refuse.control", "code", codePoint(r), "line", line)
		}
	}
	return text, nil
}

func codePoint(r rune) string {
	const digits = "0123456789ABCDEF"
	return "U+" + string([]byte{digits[r>>12&15], digits[r>>8&15], digits[r>>4&15], digits[r&15]})
}

// Fold reads the spellings of phones as the plain ones: every kind of space
// within a line as a space, curly quotes, primes and long dashes as those of a
// keyboard. Marks that nobody sees (joiners, directions) are left out. Letters
// keep their case: names are shown as they were said.
func Fold(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\n':
			b.WriteRune(r)
		case unicode.IsSpace(r):
			b.WriteByte(' ')
		case strings.ContainsRune("‘’‚‛′´`", r):
			b.WriteByte('\'')
		case strings.ContainsRune("“”„‟″«»", r):
			b.WriteByte('"')
		case strings.ContainsRune("‐‑‒–—―−", r):
			b.WriteByte('-')
		case unicode.Is(unicode.Cf, r):
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// spaces reads every kind of space within a line as a space, and nothing else.
func spaces(s string) string {
	return strings.Map(func(r rune) rune {
		if r != '\n' && unicode.IsSpace(r) {
			return ' '
		}
		return r
	}, s)
}

// Key is what two spellings of one name have in common: no case, no accents,
// single spaces. It is for comparing, never for showing.
func Key(s string) string {
	var b strings.Builder
	for _, r := range norm.NFKD.String(Fold(s)) {
		if !unicode.Is(unicode.Mn, r) {
			b.WriteRune(unicode.ToLower(r))
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// Addressed tells whether a text begins like one for the bot: with a slash, or
// with the bot's name, with or without '@' and a colon or comma after it. What
// is left is the command without either.
func Addressed(text, bot string) (rest string, yes bool) {
	trimmed := strings.TrimSpace(text)
	if after, ok := strings.CutPrefix(trimmed, "/"); ok {
		return after, true
	}
	after := strings.TrimPrefix(trimmed, "@")
	if len(after) < len(bot) || !strings.EqualFold(after[:len(bot)], bot) {
		return text, false
	}
	after = after[len(bot):]
	if after != "" && !strings.ContainsAny(after[:1], " \n\t,:") {
		return text, false
	}
	after = strings.TrimSpace(strings.TrimLeft(after, ",: "))
	return strings.TrimPrefix(after, "/"), true
}
