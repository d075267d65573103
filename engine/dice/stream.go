package dice

import (
	"crypto/sha256"
	"errors"
	"fmt"
)

// Protocol opens the message of every block of dice. What a stored entry means
// depends on it: it never changes.
const Protocol = "drumhead/dice/v1/"

// MostSides is the most sides that a die may have.
const MostSides = 65_536

// ErrSpent is what Draw panics with when the entry has drawn MostDice dice.
var ErrSpent = errors.New("dice: this entry may draw no more dice")

// Stream is the dice of one draw, as rolled: block j of its bytes is the HMAC,
// under the key, of ledger, draw, cut and j, and a die takes from it the first
// byte (above 256 sides: two) that gives every face the same chance. Nothing
// else enters, and there is no last block. A Stream is a Drawer.
type Stream struct {
	mac   mac
	block uint64 // number of the next block
	bytes [sha256.Size]byte
	next  int // of bytes; all are read at first
	kind  kind
	rolled
}

// NewStream makes the dice of a draw. cut is the entry's cut, letter for letter.
func NewStream(ledger string, draw uint64, cut string, key Key) *Stream {
	s := &Stream{}
	s.Begin(ledger, draw, cut, key)
	return s
}

// Begin makes a Stream, whatever it was before, the dice of a draw.
func (s *Stream) Begin(ledger string, draw uint64, cut string, key Key) {
	s.block, s.next, s.rolled = 0, sha256.Size, rolled{}
	s.mac.set(key)
	s.mac.text(Protocol, ledger, "/")
	s.mac.number(draw)
	s.mac.text("/", cut, "/")
}

// Draw rolls one die; see Drawer.
func (s *Stream) Draw(sides int) int {
	if s.Left() == 0 {
		panic(ErrSpent)
	}
	face := s.die(sides)
	s.add(sides, face)
	return face
}

// die reads a face, each of the sides with the same chance: the few values at
// the top that would favour the low faces are read past.
func (s *Stream) die(sides int) int {
	if sides != s.kind.sides || sides == 0 {
		s.kind = kindOf(sides)
	}
	for {
		n := uint32(s.read())
		if sides > 256 {
			n = n<<8 | uint32(s.read())
		}
		if n < s.kind.limit {
			return int(n%uint32(sides)) + 1
		}
	}
}

// kind is a kind of dice, and from which value on what is read counts for none.
type kind struct {
	sides int
	limit uint32
}

func kindOf(sides int) kind {
	switch {
	case sides < 2 || sides > MostSides:
		panic(fmt.Sprintf("dice: a die of %d sides", sides))
	case sides <= 256:
		return kind{sides, uint32(256 - 256%sides)}
	}
	return kind{sides, uint32(65_536 - 65_536%sides)}
}

// read gives the next byte, from a fresh block when the last is used up.
func (s *Stream) read() byte {
	if s.next == len(s.bytes) {
		s.fill()
	}
	b := s.bytes[s.next]
	s.next++
	return b
}

func (s *Stream) fill() {
	s.mac.block(s.block, &s.bytes)
	s.block, s.next = s.block+1, 0
}

// At tells how many bytes of the stream were read so far.
func (s *Stream) At() uint64 {
	return s.block*sha256.Size - uint64(len(s.bytes)-s.next)
}

// Seek goes on at byte `at` of the stream, as if that many had been read.
func (s *Stream) Seek(at uint64) {
	s.block, s.next = at/sha256.Size, sha256.Size
	if rest := int(at % sha256.Size); rest > 0 {
		s.fill()
		s.next = rest
	}
}

// Skip reads past dice that another entry drew: when an order is given again
// its dice go on after theirs. Skipped dice are none of this entry's.
func (s *Stream) Skip(runs Runs) {
	for _, r := range runs {
		for range r.Count {
			s.die(r.Sides)
		}
	}
}

// Held holds recorded faces against the dice of the stream. It gives the first die that
// is another, and the face that it has; die is -1 if all are right.
func (s *Stream) Held(faces [][]int) (die, face int) {
	n := 0
	for _, run := range faces {
		for _, shown := range run[1:] {
			if face := s.die(run[0]); face != shown {
				return n, face
			}
			n++
		}
	}
	return -1, 0
}
