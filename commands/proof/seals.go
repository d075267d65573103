package proof

import (
	"encoding/json"
	"fmt"

	"drumhead/engine/dice"
)

// NoCut is the cut of a draw whose seal was never cut: there is no beacon.
const NoCut = "none"

// Seals is the secret side of the seal in use: its chain of keys. What was
// drawn from it is told by the ledger.
type Seals struct{ chain *dice.Chain }

// secret is how a Seals lies in the store: the last key gives all others.
type secret struct {
	Length int    `json:"length"`
	Last   string `json:"last"`
}

// NewSeals makes a seal of length keys that ends in the given random key.
func NewSeals(last dice.Key, length int) (Seals, error) {
	c, err := dice.NewChain(last, length)
	return Seals{c}, err
}

// ParseSeals reads what Secret wrote.
func ParseSeals(b []byte) (Seals, error) {
	var s secret
	if err := json.Unmarshal(b, &s); err != nil {
		return Seals{}, fmt.Errorf("proof: the seal's secret: %w", err)
	}
	last, err := dice.ParseKey(s.Last)
	if err != nil {
		return Seals{}, fmt.Errorf("proof: the seal's secret: %w", err)
	}
	return NewSeals(last, s.Length)
}

// Secret is what the store keeps. It never enters a ledger, a log or a post.
func (s Seals) Secret() []byte {
	b, _ := json.Marshal(secret{Length: s.chain.Length(), Last: s.chain.Key(s.chain.Length()).String()})
	return b
}

// Tip names the seal: the hex key that was shown when it was opened.
func (s Seals) Tip() string {
	if s.chain == nil {
		return ""
	}
	return s.chain.Tip().String()
}

// Length is how many draws the seal holds; 0 if there is no secret (after a restore).
func (s Seals) Length() int {
	if s.chain == nil {
		return 0
	}
	return s.chain.Length()
}

// Key is the key of draw n, 1 to Length.
func (s Seals) Key(n uint64) dice.Key { return s.chain.Key(int(n)) }
