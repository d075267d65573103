package attack

import (
	"strconv"
	"strings"

	"drumhead/engine/dice"
	"drumhead/engine/odds"
	"drumhead/engine/reason"
)

// Bounds of an amount as it may be written.
const (
	MostAmountDice = 100
	MostSides      = 1000
	LeastSides     = 2
	MostPlus       = 1000
)

// Amount is dice added up, plus a number: "2", "d3", "2d6+1". Without dice,
// Sides is 0.
type Amount struct {
	Dice  int `json:"dice,omitempty"`
	Sides int `json:"sides,omitempty"`
	Plus  int `json:"plus,omitempty"`
}

// ParseAmount reads "2", "d3", "3d6" or "2d6+1". It refuses with
// dice.refuse.amount or dice.refuse.amount_sides.
func ParseAmount(text string) (Amount, error) {
	refuse := func() (Amount, error) {
		return Amount{}, reason.Refuse("2d6+1", "dice.refuse.amount", "text", text)
	}
	head, plus, added := strings.Cut(text, "+")
	number, sides, rolled := strings.Cut(head, "d")
	if !rolled {
		n, ok := digits(head, MostPlus)
		if !ok || added {
			return refuse()
		}
		return Amount{Plus: n}, nil
	}
	a := Amount{Dice: 1}
	ok := true
	if number != "" {
		a.Dice, ok = digits(number, MostAmountDice)
	}
	s, sidesOK := digits(sides, MostSides)
	if added {
		p, plusOK := digits(plus, MostPlus)
		a.Plus, ok = p, ok && plusOK
	}
	if !ok || !sidesOK || a.Dice == 0 {
		return refuse()
	}
	if s < LeastSides {
		return Amount{}, reason.Refuse("2d6+1", "dice.refuse.amount_sides", "text", text, "sides", s)
	}
	a.Sides = s
	return a, nil
}

// digits reads a plain number of at most most, without sign or leading zero.
func digits(text string, most int) (int, bool) {
	if text == "" || len(text) > 9 || (len(text) > 1 && text[0] == '0') {
		return 0, false
	}
	for _, c := range text {
		if c < '0' || c > '9' {
			return 0, false
		}
	}
	n, err := strconv.Atoi(text)
	return n, err == nil && n <= most
}

// String writes the amount as ParseAmount reads it.
func (a Amount) String() string {
	if a.Dice == 0 {
		return strconv.Itoa(a.Plus)
	}
	text := "d" + strconv.Itoa(a.Sides)
	if a.Dice > 1 {
		text = strconv.Itoa(a.Dice) + text
	}
	if a.Plus != 0 {
		text += "+" + strconv.Itoa(a.Plus)
	}
	return text
}

// Least and Most are the bounds of what the amount can give.
func (a Amount) Least() int { return a.Dice + a.Plus }

// Most is the highest result of the amount.
func (a Amount) Most() int { return a.Dice*a.Sides + a.Plus }

// Roll gives the faces in the order drawn (nil without dice) and their sum with
// Plus. It draws exactly Dice dice.
func (a Amount) Roll(d dice.Drawer) (faces []int, sum int) {
	sum = a.Plus
	for range a.Dice {
		face := d.Draw(a.Sides)
		faces = append(faces, face)
		sum += face
	}
	return faces, sum
}

// Law is the exact law of the amount.
func (a Amount) Law() odds.Law { return odds.Always(a.Plus).Plus(odds.Dice(a.Dice, a.Sides)) }
