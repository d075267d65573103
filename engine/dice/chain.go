package dice

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
)

// LongestSeal is the most keys that one seal may hold.
const LongestSeal = 65_536

// anchorEvery is the distance of the keys that a Chain remembers: with it a
// key costs at most as many hashes, and a seal of 4,096 keys takes 2 KiB.
const anchorEvery = 16

// Key is one key of a seal, 32 bytes.
type Key [32]byte

// String gives 64 lower-case hex digits.
func (k Key) String() string { return hex.EncodeToString(k[:]) }

// ParseKey reads the spelling of String, and no other.
func ParseKey(s string) (Key, error) {
	var k Key
	if len(s) != 2*len(k) {
		return k, fmt.Errorf("key: 64 hex digits expected, got %d letters", len(s))
	}
	for i := range k {
		high, low := digits[s[2*i]], digits[s[2*i+1]]
		if high > 15 || low > 15 {
			return Key{}, fmt.Errorf("key: lower-case hex digits expected")
		}
		k[i] = high<<4 | low
	}
	return k, nil
}

// digits is what a lower-case hex digit stands for; 255 for any other letter.
var digits = func() (value [256]byte) {
	for i := range value {
		value[i] = 255
	}
	for i, c := range []byte("0123456789abcdef") {
		value[c] = byte(i)
	}
	return value
}()

// Before is the key that stands before this one in its seal: its SHA-256. So a
// key that was shown proves every key before it, and tells none after it.
func (k Key) Before() Key { return sha256.Sum256(k[:]) }

// Chain is the run of keys behind one seal. Key 0 is the tip, which is shown
// when the seal is opened; keys 1 to Length are spent one a draw; each is the
// SHA-256 of the next, so that only the last is ever stored (Lamport, 1981).
type Chain struct {
	length  int
	anchors []Key // keys 0, 16, 32, …, and the last: 8 KB for a seal of 4,096
}

// NewChain makes the chain that ends in the given last key. The length is 1
// to LongestSeal.
func NewChain(last Key, length int) (*Chain, error) {
	if length < 1 || length > LongestSeal {
		return nil, fmt.Errorf("seal of %d keys: 1 to %d expected", length, LongestSeal)
	}
	c := &Chain{length: length, anchors: make([]Key, (length+anchorEvery-1)/anchorEvery+1)}
	c.anchors[len(c.anchors)-1] = last
	for i, k := length, last; i > 0; {
		i, k = i-1, k.Before()
		if i%anchorEvery == 0 {
			c.anchors[i/anchorEvery] = k
		}
	}
	return c, nil
}

// Length tells how many draws the seal holds.
func (c *Chain) Length() int { return c.length }

// Tip is what is shown when the seal is opened.
func (c *Chain) Tip() Key { return c.anchors[0] }

// Run gives the keys of the stretch between two anchors in which key i lies, and the
// number of the first: whoever takes key after key hashes each but once.
func (c *Chain) Run(i int) (first int, keys []Key) {
	n := (i + anchorEvery - 1) / anchorEvery
	last := min(n*anchorEvery, c.length)
	first = max(0, (n-1)*anchorEvery+1)
	keys = make([]Key, last-first+1)
	keys[len(keys)-1] = c.anchors[n]
	for at := len(keys) - 2; at >= 0; at-- {
		keys[at] = keys[at+1].Before()
	}
	return first, keys
}

// Key gives the key of draw i; 0 is the tip. It panics beyond the length:
// whoever draws asks Length first.
func (c *Chain) Key(i int) Key {
	if i < 0 || i > c.length {
		panic(fmt.Sprintf("dice: key %d of a seal of %d", i, c.length))
	}
	n := (i + anchorEvery - 1) / anchorEvery
	k := c.anchors[n]
	for at := min(n*anchorEvery, c.length); at > i; at-- {
		k = k.Before()
	}
	return k
}
