package sentence

import (
	"strconv"
	"strings"
	"unicode/utf8"
)

// kind is what a word of a sentence is.
type kind int

const (
	end    kind = iota
	number      // digits
	need        // digits and a + that ends the word: "4+"
	word        // letters, and "open-ended"
	sign        // + or -
	comma
)

// lexeme is one word of a sentence. At is the place of its first character,
// from 1.
type lexeme struct {
	kind kind
	text string
	n    int // of a number or need; tooLarge if it has too many digits
	at   int
}

// tooLarge stands for a number of more digits than any limit needs.
const tooLarge = 1 << 30

// lexer cuts a text into words. Every character that means something is ASCII
// once it is folded, so that up to the first that means nothing, or to the label,
// a place in bytes is one in characters.
type lexer struct {
	text  string // folded
	i     int
	words []lexeme
}

// usualWords is room for the words of most sentences.
const usualWords = 16

// lex cuts a text into words up to `for`, and returns the place after it where
// the label begins, or -1. Spaces and a full stop at the end, which phones add,
// are dropped. A refusal names the character that means nothing.
func lex(text string) (words []lexeme, labelAt int, err error) {
	l := lexer{text: strings.TrimRight(strings.Map(fold, text), " ."), words: make([]lexeme, 0, usualWords)}
	for l.i < len(l.text) {
		switch c := l.text[l.i]; {
		case c == ' ':
			l.i++
		case digit(c):
			l.number()
		case letter(c):
			if l.word() == "for" {
				l.words = l.words[:len(l.words)-1]
				return l.close(), l.i, nil
			}
		case c == '-' && l.dashBeforeLabel():
			l.i++
		case c == '+' || c == '-':
			l.add(sign, l.i, l.i+1)
		case c == ',':
			l.add(comma, l.i, l.i+1)
		default:
			means, _ := utf8.DecodeRuneInString(l.text[l.i:])
			return nil, -1, refuseCharacter(means, l.i+1)
		}
	}
	return l.close(), -1, nil
}

// dashBeforeLabel tells whether only dashes stand between here and `for`: people
// set their words off with one.
func (l *lexer) dashBeforeLabel() bool {
	rest, is := strings.CutPrefix(strings.TrimLeft(l.text[l.i:], "- "), "for")
	return is && (rest == "" || !letter(rest[0]))
}

func digit(c byte) bool  { return c >= '0' && c <= '9' }
func letter(c byte) bool { return c >= 'a' && c <= 'z' }

// add appends the word from one place to another and goes on after it.
func (l *lexer) add(k kind, from, to int) {
	l.words = append(l.words, lexeme{kind: k, text: l.text[from:to], at: from + 1})
	l.i = to
}

func (l *lexer) close() []lexeme {
	l.words = append(l.words, lexeme{kind: end, at: utf8.RuneCountInString(l.text) + 1})
	return l.words
}

// number reads digits. Followed by a + and then a space, a comma or the end they
// are a need; but not after a d, where they are the sides of dice.
func (l *lexer) number() {
	from := l.i
	to := from
	for to < len(l.text) && digit(l.text[to]) {
		to++
	}
	sides := len(l.words) > 0 && l.words[len(l.words)-1].text == "d"
	plus := to
	for plus < len(l.text) && l.text[plus] == ' ' {
		plus++
	}
	k, after := number, to
	if !sides && plus < len(l.text) && l.text[plus] == '+' && l.endsWord(plus+1, plus > to) {
		k, after = need, plus+1
	}
	l.add(k, from, to)
	w := &l.words[len(l.words)-1]
	if digits := strings.TrimLeft(w.text, "0"); len(digits) > 9 {
		w.n = tooLarge
	} else {
		w.n, _ = strconv.Atoi("0" + digits)
	}
	if k == need {
		w.text += "+"
	}
	l.i = after
}

// endsWord tells whether a + before this place ends a need: a comma or the end
// follows, or a space if the + stood right at the digits.
func (l *lexer) endsWord(at int, apart bool) bool {
	if at < len(l.text) && l.text[at] == ' ' && !apart {
		return true
	}
	for at < len(l.text) && l.text[at] == ' ' {
		at++
	}
	return at == len(l.text) || l.text[at] == ','
}

// word reads letters. "open-ended" is the only word with a hyphen; "re-roll" is
// read as "reroll", and the w of "12w6" as a d.
func (l *lexer) word() string {
	from, to := l.i, l.i
	for to < len(l.text) && letter(l.text[to]) {
		to++
	}
	text := l.text[from:to]
	for _, hyphened := range [...]string{"open-ended", "re-roll"} {
		if strings.HasPrefix(hyphened, text+"-") && strings.HasPrefix(l.text[from:], hyphened) {
			to = from + len(hyphened)
			text = hyphened
		}
	}
	l.add(word, from, to)
	switch text {
	case "re-roll":
		text = "reroll"
	case "w":
		text = "d"
	}
	l.words[len(l.words)-1].text = text
	return text
}
