// Package args holds the one declarative description of every command. From it
// come parsing, completion, forms and help on every platform.
package args

// Mode says who sees the answer of a command, or that it opens a form. It
// cannot change after the first answer on some platforms, so it is declared.
type Mode int

// The modes of an answer.
const (
	Public  Mode = iota // to all in the place
	Private             // to the asker alone, for a glance
	Direct              // to the asker alone, as a direct message that lasts
)

// Kind is what a parameter holds; it decides how it is completed and which
// field a form shows for it.
type Kind int

// The kinds of parameter.
const (
	Words    Kind = iota // the rest of the line, free
	Word                 // one word
	Number               // a whole number
	Person               // somebody known here
	Sentence             // a dice sentence
	Sheet                // orders, one a line; ';' also ends a line
	Force                // an army as one says it, several lines
	Unit                 // a unit of the battle here
	Region               // a region of the campaign
	Entry                // number of an entry, perhaps with a part: 210 or 210.3
	Scenario             // a scenario of the pack
	Saved                // a saved force of the asker
	Role                 // a role of the server: its id and its name
)

// Param is one parameter of a command, in the order in which it is typed.
type Param struct {
	Name     string // one plain word: "opponent"
	Kind     Kind
	Optional bool
	Help     string // what it is, a few words
}

// Spec describes one command, whole.
type Spec struct {
	Name    string // "roll", or "battle open"
	Params  []Param
	Mode    Mode
	Files   bool   // a file may come instead of the last parameter
	Rolls   bool   // may roll dice, so an error ends with 'Nothing was rolled.'
	Help    string // what it does, at most 100 characters
	Example string // one line that works
	OnPost  string // label under which it can be picked on any post of an entry: "Hide words"
	OnText  string // label under which it can be picked on anybody's message, whose text is its last parameter: "Use as orders"
	Stays   bool   // the bot goes on posting there by itself afterwards, so it must be allowed to
}
