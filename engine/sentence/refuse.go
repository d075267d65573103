package sentence

import "drumhead/engine/reason"

// expectation is what could stand at a place: the id of its words, and a whole
// sentence that has it.
type expectation struct{ id, example string }

// What may be expected.
var (
	expectDice      = expectation{"dice.expect.dice", "12d6"}
	expectSides     = expectation{"dice.expect.sides", "12d6"}
	expectEnd       = expectation{"dice.expect.end", "12d6 4+ for the bridge"}
	expectNeed      = expectation{"dice.expect.need", "12d6 4+"}
	expectOr        = expectation{"dice.expect.or", "d20 12 or less"}
	expectTotal     = expectation{"dice.expect.total", "2d6 total 9+"}
	expectKept      = expectation{"dice.expect.kept", "best 2 of 3d6"}
	expectReroll    = expectation{"dice.expect.reroll", "12d6 4+ reroll 1s"}
	expectOneReroll = expectation{"dice.expect.one_reroll", "12d6 4+ reroll misses"}
	expectNatural   = expectation{"dice.expect.natural", "12d6 4+ 6s count twice"}
	expectOnce      = expectation{"dice.expect.once", "12d6 4+ 6s count twice"}
	expectPart      = expectation{"dice.expect.part", "20d6 3+, 4+, save 5+"}
	expectLeast     = expectation{"dice.expect.least", "12d6 4+, at least 5"}
	expectDamage    = expectation{"dice.expect.damage", "6d6 4+, damage d3"}
	expectLast      = expectation{"dice.expect.last", "6d6 4+, damage d3, last save 6+"}
	expectInto      = expectation{"dice.expect.into", "6d6 4+, damage d3, into 10 of 3"}
)

// refuseWord refuses a word that cannot stand where it stands.
func refuseWord(w lexeme, e expectation) *reason.Refusal {
	expected := reason.New(e.id)
	if w.kind == end {
		return reason.Refuse(e.example, "dice.refuse.ends", "expected", expected, "at", w.at)
	}
	return reason.Refuse(e.example, "dice.refuse.word", "word", reason.Name(trim(w.text)), "expected", expected, "at", w.at)
}

// refuseCharacter refuses a character that means nothing here.
func refuseCharacter(c rune, at int) *reason.Refusal {
	return reason.Refuse("12d6 4+", "dice.refuse.character", "character", reason.Name(c), "at", at)
}
