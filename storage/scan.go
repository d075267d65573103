package storage

import (
	"bytes"
	"encoding/binary"
	"math/bits"
)

// The profile of canonical JSON that entries are written in.
const (
	MaxDepth  = 16        // objects and lists in one another, the outermost counted
	MaxNumber = 1<<53 - 1 // so that every JSON library holds every number
)

// scanner walks over canonical JSON (RFC 8785) of the profile of entries: names
// of a-z, 0-9 and _, in order and never twice; printable ASCII with no escapes
// but \" and \\; whole numbers; no null; nothing between. Every other spelling
// is an error, so what it accepts is what re-encoding would give.
type scanner struct {
	b []byte
	i int
}

// Canonical tells whether b is one value in canonical form and of the profile.
// The error is an *Invalid of RuleJSON.
func Canonical(b []byte) error {
	s := scanner{b: b}
	if err := s.value(1); err != nil {
		return err
	}
	return s.end()
}

func (s *scanner) bad(what string, args ...any) error {
	return invalid(RuleJSON, "", "byte %d: "+what, append([]any{s.i}, args...)...)
}

func (s *scanner) end() error {
	if s.i != len(s.b) {
		return s.bad("nothing more expected")
	}
	return nil
}

// peek gives the next byte, 0 at the end.
func (s *scanner) peek() byte {
	if s.i < len(s.b) {
		return s.b[s.i]
	}
	return 0
}

// take steps over one byte if it is the next.
func (s *scanner) take(c byte) bool {
	if s.peek() != c {
		return false
	}
	s.i++
	return true
}

// value steps over one value; depth is 1 for the outermost.
func (s *scanner) value(depth int) error {
	switch c := s.peek(); {
	case c == '"':
		_, _, err := s.letters()
		return err
	case c == '-' || '0' <= c && c <= '9':
		_, err := s.number()
		return err
	case c == '{':
		return s.object(depth, func([]byte) error { return s.value(depth + 1) })
	case c == '[':
		return s.list(depth, func() error { return s.value(depth + 1) })
	case s.word("true") || s.word("false"):
		return nil
	case s.word("null"):
		return s.bad("null has no place here; an absent member is left out")
	}
	return s.bad("a value expected")
}

func (s *scanner) word(w string) bool {
	if len(s.b)-s.i < len(w) || string(s.b[s.i:s.i+len(w)]) != w {
		return false
	}
	s.i += len(w)
	return true
}

// object steps over an object; member is called at each value.
func (s *scanner) object(depth int, member func(name []byte) error) error {
	if !s.take('{') {
		return s.bad("an object expected")
	}
	if depth > MaxDepth {
		return s.bad("nested deeper than %d", MaxDepth)
	}
	if s.take('}') {
		return nil
	}
	for last := []byte(nil); ; {
		name, err := s.name()
		if err != nil {
			return err
		}
		if bytes.Compare(name, last) <= 0 {
			return s.bad("name %q after %q: each once and in order expected", name, last)
		}
		if last = name; !s.take(':') {
			return s.bad("a colon expected")
		}
		if err := member(name); err != nil {
			return err
		}
		if s.take('}') {
			return nil
		}
		if !s.take(',') {
			return s.bad("a comma or } expected")
		}
	}
}

// list steps over a list; item is called at each value.
func (s *scanner) list(depth int, item func() error) error {
	if !s.take('[') {
		return s.bad("a list expected")
	}
	if depth > MaxDepth {
		return s.bad("nested deeper than %d", MaxDepth)
	}
	if s.take(']') {
		return nil
	}
	for {
		if err := item(); err != nil {
			return err
		}
		if s.take(']') {
			return nil
		}
		if !s.take(',') {
			return s.bad("a comma or ] expected")
		}
	}
}

// name reads a member's name.
func (s *scanner) name() ([]byte, error) {
	name, escaped, err := s.letters()
	if err == nil && (escaped || !isName(name)) {
		return nil, s.bad("name %q: a letter a-z, then a-z, 0-9 and _ expected", name)
	}
	return name, err
}

func isName[T string | []byte](s T) bool {
	for i := range len(s) {
		switch c := s[i]; {
		case 'a' <= c && c <= 'z':
		case i > 0 && (c == '_' || '0' <= c && c <= '9'):
		default:
			return false
		}
	}
	return len(s) > 0
}

// text reads a string.
func (s *scanner) text() (string, error) {
	raw, escaped, err := s.letters()
	if escaped {
		return unescape(raw), err
	}
	return string(raw), err
}

// letters steps over a string and gives what stands between its quotes.
func (s *scanner) letters() (raw []byte, escaped bool, err error) {
	if !s.take('"') {
		return nil, false, s.bad("a text in quotes expected")
	}
	start := s.i
	for s.i += plain(s.b[start:]); ; s.i++ {
		switch c := s.peek(); {
		case c == '"':
			s.i++
			return s.b[start : s.i-1], escaped, nil
		case c == '\\':
			s.i++
			if c := s.peek(); c != '"' && c != '\\' {
				return nil, false, s.bad(`no escape but \" and \\ expected`)
			}
			escaped = true
		case c < ' ' || c > '~':
			return nil, false, s.bad("printable ASCII expected")
		}
	}
}

// plain counts the bytes that a text begins with and that stand for themselves, eight
// at a time: a byte is another if it is below ' ', above '~', a quote or a backslash.
// Sums may carry into the byte above one that is another, and never into one below, so
// that the lowest mark is always right.
func plain(b []byte) int {
	const ones, tops = 0x0101010101010101, 0x8080808080808080
	i := 0
	for ; i+8 <= len(b); i += 8 {
		v := binary.LittleEndian.Uint64(b[i:])
		quote, slash := v^ones*'"', v^ones*'\\'
		others := (v-ones*' ')&^v | (v + ones) | v | (quote-ones)&^quote | (slash-ones)&^slash
		if others &= tops; others != 0 {
			return i + bits.TrailingZeros64(others)/8
		}
	}
	for ; i < len(b); i++ {
		if c := b[i]; c == '"' || c == '\\' || c < ' ' || c > '~' {
			break
		}
	}
	return i
}

func unescape(raw []byte) string {
	text := make([]byte, 0, len(raw))
	for i := 0; i < len(raw); i++ {
		if raw[i] == '\\' {
			i++
		}
		text = append(text, raw[i])
	}
	return string(text)
}

// number reads a whole number from -MaxNumber to MaxNumber.
func (s *scanner) number() (int64, error) {
	negative, first, n := s.take('-'), s.i, int64(0)
	for c := s.peek(); '0' <= c && c <= '9'; c = s.peek() {
		if n = 10*n + int64(c-'0'); n > MaxNumber {
			return 0, s.bad("a number from -(2^53-1) to 2^53-1 expected")
		}
		s.i++
	}
	if s.i == first {
		return 0, s.bad("a number expected")
	}
	if s.b[first] == '0' && (s.i > first+1 || negative) {
		return 0, s.bad("a number without leading zero or minus zero expected")
	}
	if c := s.peek(); c == '.' || c == 'e' || c == 'E' {
		return 0, s.bad("a whole number expected")
	}
	if negative {
		return -n, nil
	}
	return n, nil
}
