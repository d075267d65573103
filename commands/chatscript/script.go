// Package chatscript reads and runs chat scripts: a conversation, and the exact
// posts that it must give. The form is line by line, without quoting:
//
//	# a comment
//	ann #fen: /roll 12d6 4+
//	> #fen
//	| Ann rolls 12d6 for 4+: 5 successes.
//	| 6 6 5 4 4 · 3 3 3 2 1 1 1 (#3, sealed)
//	bo #fen: /order
//	    move Pikes to 30,12
//	ann #fen: [Explain]
//	ann @dm: /force add (file weir.toml)
//	! wait 48h
//
// A message is NAME PLACE: TEXT; the place may be left out (#table), and lines
// that begin with a space go on with it. [Label] picks a choice of the latest
// post there that has it, [A] [B] one after the other, [Label] TEXT sends text
// into the form that the choice opens, and [Label] on #412 picks it on the post
// of that entry. (file NAME) at the end hands in a file from the script's
// directory. A line > PLACE begins a post, its lines begin with a bar; "only
// NAME" and "edit" may follow the place. A line that begins with "! " is a
// direction: what happens to the bot or to the clock.
//
// The same form is read from standard input by the terminal. There a line
// without a name is said by the person at the keyboard.
package chatscript

import "time"

// Direct is the place of a private message to the bot.
const Direct = "@dm"

// Table is the place of a message that names none.
const Table = "#table"

// Step is one thing that stands in a script.
type Step struct {
	Line   int      // of its first line, 1 for the first of the script
	Source []string // its lines as they stand
	Act    Act      // nil for a comment or an empty line
}

// Act is what a step does: a Message, a Direction, or a Post that is expected.
type Act interface{ act() }

// Message is something that a person says, taps or hands in.
type Message struct {
	Name  string // as written, "" if the line has none
	Place string // "#fen" or "@dm"
	Text  string // what is said, or sent into the form of the last tap
	Taps  []string
	On    string   // the entry whose post is tapped, "412" or "412.3"; "" for the latest post
	Files []string // names of files handed in
}

// Verb is what a direction asks for.
type Verb string

// The directions.
const (
	Wait      Verb = "wait"      // the clock goes on: For, or until the next timer if For is 0
	Crash     Verb = "crash"     // the bot stops without a word and starts again
	Restored  Verb = "restored"  // the bot starts again on a store that is marked as put back from a copy
	Resend    Verb = "resend"    // the last message is delivered again
	Fail      Verb = "fail"      // "fail append": the store fails once, after the next message
	Lose      Verb = "lose"      // "lose post": the next post does not reach the platform at first
	Organiser Verb = "organiser" // NAME runs the place; nobody named yet: everybody does
)

// Direction is a line "! VERB …".
type Direction struct {
	Verb Verb
	Name string        // of Organiser
	For  time.Duration // of Wait
}

// Post is a post that is expected, or that was shown, in the form of a script.
type Post struct {
	Place string
	Only  string // the one person who sees it, "" for all
	Edit  bool   // it replaces an earlier post
	Lines []string
}

func (Message) act()   {}
func (Direction) act() {}
func (Post) act()      {}

// Script is a whole script.
type Script struct {
	Name  string // of its file, for messages about it
	Steps []Step
}
