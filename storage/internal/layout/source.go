package layout

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"

	"drumhead/storage"
)

var sourceMember = []byte(`"source":"`)

// SourceOf returns the value of the top-level member `source` of an entry, ""
// if it has none. The entry must be canonical JSON (RFC 8785), so there is no
// white space, and no name is spelled with an escape.
func SourceOf(entry []byte) storage.Source {
	if !bytes.Contains(entry, sourceMember) {
		return ""
	}
	depth := 0
	for i := 0; i < len(entry); i++ {
		switch entry[i] {
		case '{', '[':
			depth++
		case '}', ']':
			depth--
		case '"':
			if depth == 1 && bytes.HasPrefix(entry[i:], sourceMember) && entry[0] == '{' {
				return textOf(entry[i+len(sourceMember)-1:])
			}
			i = endOfString(entry, i)
		}
	}
	return ""
}

// endOfString gives the place of the quote that ends the string begun at i, or
// the last place of b if none does.
func endOfString(b []byte, i int) int {
	for i++; i < len(b); i++ {
		switch b[i] {
		case '\\':
			i++
		case '"':
			return i
		}
	}
	return len(b) - 1
}

// textOf reads the string at the start of b.
func textOf(b []byte) storage.Source {
	literal := b[:endOfString(b, 0)+1]
	if !bytes.ContainsRune(literal, '\\') {
		return storage.Source(bytes.Trim(literal, `"`))
	}
	var s string
	if json.Unmarshal(literal, &s) != nil {
		return ""
	}
	return storage.Source(s)
}

// Print is the fingerprint of a source: eight bytes that tell sources apart
// nearly always; the entry itself decides. An entry without a source has 0.
type Print func(storage.Source) uint64

// Fingerprint is the Print that stores use: the first eight bytes of SHA-256.
func Fingerprint(s storage.Source) uint64 {
	if s == "" {
		return 0
	}
	sum := sha256.Sum256([]byte(s))
	return max(binary.BigEndian.Uint64(sum[:]), 1)
}
