package storage

import (
	"encoding/base32"
	"encoding/hex"
	"fmt"
)

// LedgerID is 128 random bits.
type LedgerID [16]byte

var idSpelling = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

// String gives the 26 lower-case base32 letters by which people see the id.
func (l LedgerID) String() string { return idSpelling.EncodeToString(l[:]) }

// ParseLedgerID reads the spelling of String, and no other.
func ParseLedgerID(s string) (LedgerID, error) {
	var l LedgerID
	if len(s) != idLetters {
		return l, fmt.Errorf("ledger id %q: 26 letters a-z and digits 2-7 expected", s)
	}
	held, bits, at := uint32(0), 0, 0
	for i := range len(s) {
		c := s[i]
		switch {
		case 'a' <= c && c <= 'z':
			held = held<<5 | uint32(c-'a')
		case '2' <= c && c <= '7':
			held = held<<5 | uint32(c-'2'+26)
		default:
			return LedgerID{}, fmt.Errorf("ledger id %q: 26 letters a-z and digits 2-7 expected", s)
		}
		if bits += 5; bits >= 8 {
			bits -= 8
			l[at], at = byte(held>>bits), at+1
		}
	}
	if held&(1<<bits-1) != 0 {
		return LedgerID{}, fmt.Errorf("ledger id %q: the last letter holds stray bits", s)
	}
	return l, nil
}

// idLetters is how many letters of five bits hold 128.
const idLetters = 26

// Hash is a SHA-256 value: a leaf, a node or a root.
type Hash [32]byte

// String gives 64 lower-case hex digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }
