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
	b, err := idSpelling.DecodeString(s)
	if err != nil || len(b) != len(l) {
		return l, fmt.Errorf("ledger id %q: 26 letters a-z and digits 2-7 expected", s)
	}
	copy(l[:], b)
	if l.String() != s {
		return LedgerID{}, fmt.Errorf("ledger id %q: the last letter holds stray bits", s)
	}
	return l, nil
}

// Hash is a SHA-256 value: a leaf, a node or a root.
type Hash [32]byte

// String gives 64 lower-case hex digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }
