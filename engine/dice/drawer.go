// Package dice turns a sealed key into faces: the key chain of a seal, the
// byte stream of a draw, and the dice read from it. It is the sealed-dice
// protocol and nothing else; it knows no rules and no chat.
package dice

// MostDice is the most dice that one entry may draw.
const MostDice = 10_000

// Drawer gives dice, one at a time, in the order in which the rules ask for
// them. A Drawer belongs to one entry and one goroutine.
type Drawer interface {
	// Draw rolls one die of the given number of sides (2 to 65,536) and
	// returns its face, 1 to sides. It panics with ErrSpent after MostDice
	// dice: whoever draws asks Left first.
	Draw(sides int) int
	// Left tells how many more dice this entry may draw.
	Left() int
}
