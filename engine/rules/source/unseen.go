package source

import "unicode"

// isUnseen holds for characters that a reader cannot see but that change what
// follows: controls, line breaks, and the marks that turn the writing direction.
func isUnseen(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029'
}

// Unseen tells whether a name holds a character that cannot be seen.
func Unseen(name string) bool {
	for _, r := range name {
		if isUnseen(r) {
			return true
		}
	}
	return false
}
