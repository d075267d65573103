// Package reason holds why something is so, or why it may not be, as a value:
// an id of the catalogue of sentences and what fills its slots. The core makes
// reasons and never a sentence; commands/words puts them into words.
package reason

import "fmt"

// Reason is one fact or refusal. ID names a sentence of the catalogue, such as
// "battle.refuse.range"; Args fill its slots.
type Reason struct {
	ID   string
	Args []Arg
}

// Arg fills the slot Name of a sentence. Value is a string, an int, an int64,
// a bool, a Name, a Person, an Amount, a Reason, a list of strings, or a list
// of Reasons.
type Arg struct {
	Name  string
	Value any
}

// Name is a word that a pack, a force or a scenario gave to a thing. It is
// shown as it stands and never inflected.
type Name string

// Person is a pseudonym of the ledger ("p1"); the desk knows who that is.
type Person string

// Inches is a length in tenths of an inch, so that 75 is shown as 7.5.
type Inches int

// New builds a Reason from an id and pairs of slot name and value. It panics
// on an odd number of pairs: that is a mistake in the code, never in the input.
func New(id string, pairs ...any) Reason {
	if len(pairs)%2 != 0 {
		panic(fmt.Sprintf("reason %s: odd number of pairs", id))
	}
	r := Reason{ID: id}
	for i := 0; i < len(pairs); i += 2 {
		r.Args = append(r.Args, Arg{Name: pairs[i].(string), Value: pairs[i+1]})
	}
	return r
}

// Refusal is the error of the core for what the rules or the state do not
// allow. Nothing was rolled or changed. Example is one command or line that
// would be accepted, or empty.
type Refusal struct {
	Reason  Reason
	Line    int    // the line of a sheet it is about, 1 for the first; 0 for none
	Example string // what would work
}

// Error gives the id, for logs; people are shown the sentence of the catalogue.
func (r *Refusal) Error() string { return "refused: " + r.Reason.ID }

// Refuse makes a Refusal from an example and the parts of New.
func Refuse(example, id string, pairs ...any) *Refusal {
	return &Refusal{Reason: New(id, pairs...), Example: example}
}
