package args

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// scan reads a text from its front. Only whole words are taken off it, so what
// is left is always as said.
type scan struct{ rest string }

func (s *scan) skip() { s.rest = strings.TrimLeftFunc(s.rest, unicode.IsSpace) }

// empty tells whether nothing but space is left.
func (s *scan) empty() bool { s.skip(); return s.rest == "" }

// peek is the next word, as said.
func (s *scan) peek() string {
	s.skip()
	end := strings.IndexFunc(s.rest, unicode.IsSpace)
	if end < 0 {
		end = len(s.rest)
	}
	return s.rest[:end]
}

func (s *scan) word() string {
	w := s.peek()
	s.rest = s.rest[len(w):]
	return w
}

// all takes what is left.
func (s *scan) all() string {
	s.skip()
	all := strings.TrimRightFunc(s.rest, unicode.IsSpace)
	s.rest = ""
	return all
}

// quoted takes a name in quotes of any kind, without them; false without a
// pair of quotes, and then nothing is taken.
func (s *scan) quoted() (string, bool) {
	s.skip()
	const open, shut = `"“„«”`, `"”“»«`
	first, size := utf8.DecodeRuneInString(s.rest)
	if !strings.ContainsRune(open, first) {
		return "", false
	}
	end := strings.IndexAny(s.rest[size:], shut)
	if end < 1 {
		return "", false
	}
	name := s.rest[size : size+end]
	_, last := utf8.DecodeRuneInString(s.rest[size+end:])
	s.rest = s.rest[size+end+last:]
	return name, true
}

// run is one way to take words off the front: n words, and what is left then.
type run struct{ said, rest string }

// runs lists the runs of one, two, … words at the front, all on one line.
func (s *scan) runs(most int) []run {
	s.skip()
	var out []run
	at := scan{s.rest}
	for len(out) < most {
		before := at.rest
		at.skip()
		if at.rest == "" || strings.Contains(before[:len(before)-len(at.rest)], "\n") {
			break
		}
		at.word()
		out = append(out, run{said: s.rest[:len(s.rest)-len(at.rest)], rest: at.rest})
	}
	return out
}
