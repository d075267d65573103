package dice

import (
	"crypto/sha256"
	"encoding"
	"hash"
	"strconv"
)

// mac is HMAC-SHA-256 (RFC 2104) of messages that differ in a number at their end. All
// before the number is hashed once, where more than one block of dice is wanted: then a
// block costs one step of the hash inside and one outside, whatever its message holds.
type mac struct {
	key    Key
	inside []byte // the inner pad, and the message but for its number
	room   [blockSize + 176]byte
	state  *state // nil until a second block is wanted
}

const blockSize = 64 // bytes that SHA-256 takes at a time

// The pads of RFC 2104.
const (
	innerPad = 0x36
	outerPad = 0x5c
)

// set begins a message under a key.
func (m *mac) set(key Key) {
	m.key, m.state = key, nil
	m.inside = append(m.room[:0], pad(key, innerPad)...)
}

func pad(key Key, with byte) []byte {
	var p [blockSize]byte
	copy(p[:], key[:])
	for i := range p {
		p[i] ^= with
	}
	return p[:]
}

func (m *mac) text(parts ...string) {
	for _, p := range parts {
		m.inside = append(m.inside, p...)
	}
}

func (m *mac) number(n uint64) { m.inside = strconv.AppendUint(m.inside, n, 10) }

// block gives the code of the message that ends in a number.
func (m *mac) block(n uint64, out *[sha256.Size]byte) {
	if n == 0 { // most entries need no second one
		m.first(out)
		return
	}
	if m.state == nil {
		m.state = newState(m.inside, pad(m.key, outerPad))
	}
	m.state.block(n, out)
}

func (m *mac) first(out *[sha256.Size]byte) {
	inner := sha256.Sum256(append(m.inside, '0'))
	var outside [blockSize + sha256.Size]byte
	copy(outside[:], pad(m.key, outerPad))
	copy(outside[blockSize:], inner[:])
	*out = sha256.Sum256(outside[:])
}

// state is a hash that stands behind what all messages begin with.
type state struct {
	hash           hash.Hash
	inside, outer  []byte // how it stood, as the standard library writes it down
	digits, hashed []byte
}

func newState(inside, outer []byte) *state {
	s := &state{hash: sha256.New(), digits: make([]byte, 0, 20), hashed: make([]byte, 0, sha256.Size)}
	s.inside, s.outer = s.after(inside), s.after(outer)
	return s
}

func (s *state) after(text []byte) []byte {
	s.hash.Reset()
	s.hash.Write(text)
	b, err := s.hash.(encoding.BinaryMarshaler).MarshalBinary()
	if err != nil {
		panic(err) // it never fails for SHA-256
	}
	return b
}

func (s *state) block(n uint64, out *[sha256.Size]byte) {
	s.digits = strconv.AppendUint(s.digits[:0], n, 10)
	s.hashed = s.go1(s.inside, s.digits, s.hashed[:0])
	s.go1(s.outer, s.hashed, out[:0])
}

// go1 goes on from how the hash stood, and gives the sum.
func (s *state) go1(from, text, out []byte) []byte {
	if err := s.hash.(encoding.BinaryUnmarshaler).UnmarshalBinary(from); err != nil {
		panic(err) // it was written down by this program
	}
	s.hash.Write(text)
	return s.hash.Sum(out)
}
