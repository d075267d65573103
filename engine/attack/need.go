package attack

import (
	"strconv"
	"strings"

	"drumhead/engine/reason"
)

// Need is what a die must show: Face or more, or with OrLess Face or less. It
// may lie outside the die after modifiers; Each says what that means.
type Need struct {
	Face   int
	OrLess bool
}

// AtLeast is the need "face+".
func AtLeast(face int) Need { return Need{Face: face} }

// AtMost is the need "face or less".
func AtMost(face int) Need { return Need{Face: face, OrLess: true} }

// ParseNeed reads "4+" or "4 or less". It refuses with dice.refuse.need.
func ParseNeed(text string) (Need, error) {
	number, orLess := strings.CutSuffix(text, " or less")
	if !orLess {
		var plus bool
		if number, plus = strings.CutSuffix(text, "+"); !plus {
			return Need{}, reason.Refuse("4+", "dice.refuse.need", "text", text)
		}
	}
	face, ok := digits(number, MostSides)
	if !ok {
		return Need{}, reason.Refuse("4+", "dice.refuse.need", "text", text)
	}
	return Need{Face: face, OrLess: orLess}, nil
}

// String writes the need as ParseNeed reads it.
func (n Need) String() string {
	if n.OrLess {
		return strconv.Itoa(n.Face) + " or less"
	}
	return strconv.Itoa(n.Face) + "+"
}

// MarshalText writes the need as String does, so that JSON holds "4+".
func (n Need) MarshalText() ([]byte, error) { return []byte(n.String()), nil }

// UnmarshalText reads a need as ParseNeed does.
func (n *Need) UnmarshalText(text []byte) (err error) {
	*n, err = ParseNeed(string(text))
	return err
}

// Better makes the need easier by steps of one face; a negative number makes it
// harder. Nothing is clamped here: see rule 3 of the package.
func (n Need) Better(by int) Need {
	if n.OrLess {
		n.Face += by
	} else {
		n.Face -= by
	}
	return n
}

// Met tells whether a total or a face meets the need, natural faces apart.
func (n Need) Met(value int) bool {
	if n.OrLess {
		return value <= n.Face
	}
	return value >= n.Face
}
