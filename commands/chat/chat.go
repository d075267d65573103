// Package chat holds what passes between the desk and the places where people
// talk: messages in, posts out. It knows no rule, no wording and no platform.
package chat

import (
	"context"
	"time"
)

// Person, Place and Community are a platform's ids. They are opaque: only the
// adapter that made one reads it. By custom they start with the adapter's name
// and a colon, so that the pump can find who sends to a place.
type (
	Person    string
	Place     string
	Community string
)

// Source identifies a message for ever: the same message delivered twice has
// the same source. A choice that acts once has "choice/POST/N".
type Source string

// PostID identifies a post of ours: LEDGER/SEQ/N for a stored post (see
// StoredID), or "free/…" made from the source of the message it answers.
type PostID string

// Message is what somebody said, tapped or handed in, or a timer that fell due.
type Message struct {
	Source    Source
	Community Community
	Place     Place
	Private   bool // a direct conversation with the bot
	Person    Person
	Name      string   // what that person is called here
	Organiser bool     // the platform says that this person runs the place
	Roles     []string // what they are there besides, by the platform's ids
	Text      string
	Files     []File
	Tap       *Tap
	Joined    bool // nothing was said: the bot was invited into this place
	// Named are those whom the text names by their ids, and what they are called:
	// people who were chosen, not typed, and perhaps never spoke to the bot.
	Named map[Person]string
	// Zone is where that person's profile says they live, an IANA name; "" if it
	// says nothing. It is a suggestion: they must say so themselves.
	Zone string
	Time time.Time // the platform's own
}

// File is something handed in with a message.
type File struct {
	Name  string
	Bytes []byte
}

// Tap is a choice picked on a post. Text is what was typed into the form that
// the choice opened, if it opens one.
type Tap struct {
	Post   PostID
	Number int
	Text   string
}

// Post is something the bot says. A stored post is frozen with its entry.
type Post struct {
	ID       PostID      `json:"id"`
	To       Destination `json:"to"`
	Edit     PostID      `json:"edit,omitempty"` // the earlier post that this one replaces
	Lines    []Line      `json:"lines"`
	Choices  []Choice    `json:"choices,omitempty"`
	Pictures []Recipe    `json:"pictures,omitempty"`
	Files    []Recipe    `json:"files,omitempty"`
	Notify   []Person    `json:"notify,omitempty"` // normally nobody, or the one whose move it is
	Binds    bool        `json:"binds,omitempty"`  // never edited, a message of its own
	Quiet    bool        `json:"quiet,omitempty"`
	Pin      bool        `json:"pin,omitempty"`   // stays in sight there, as the board of a battle does
	Entry    int64       `json:"entry"`           // the entry it tells of, -1 for none
	Error    string      `json:"error,omitempty"` // code of an error post
	// Answers is the message of which this is the answer, "" for none: where a
	// platform has a way of its own to answer, and it is still open, it goes there.
	Answers Source    `json:"answers,omitempty"`
	Law     []float64 `json:"law,omitempty"` // for programs: the exact chances of 0, 1, 2, … of the last quantity told
}

// Destination says where a post goes. Place and no Only: to all there. Place
// and Only: to one person, there, for a glance. Only and no Place: a direct
// message to that person, which lasts.
type Destination struct {
	Place Place  `json:"place,omitempty"`
	Only  Person `json:"only,omitempty"`
	// Thread is the title of a conversation of its own within the place, such as a
	// battle's, where a platform has that; what is said there is said in the place.
	Thread string `json:"thread,omitempty"`
	// Page is the title of what can stand by itself, such as a round of a campaign:
	// where the place is one of many pages, it is also one of them.
	Page string `json:"page,omitempty"`
}

// Line is one line of a post, made of spans.
type Line []Span

// Kind tells what a span holds.
type Kind string

// The kinds of span. Only an adapter turns a span into a platform's text, and
// escapes it, once.
const (
	Plain   Kind = "plain"   // Text, the bot's own words
	Who     Kind = "who"     // Person, shown as Text where the platform cannot
	When    Kind = "when"    // Time, in Zone for platforms without local times
	Number  Kind = "number"  // Entry, shown as #N (Text holds a part such as ".2")
	Command Kind = "command" // Text, something to type
	Said    Kind = "said"    // Text, a stranger's words: hostile, never markup
	Code    Kind = "code"    // Text, a hash, a key, a file's line
)

// Span is a piece of a line.
type Span struct {
	Kind   Kind      `json:"kind"`
	Text   string    `json:"text,omitempty"`
	Person Person    `json:"person,omitempty"`
	Time   time.Time `json:"time,omitzero"`
	Zone   string    `json:"zone,omitempty"` // IANA name of the person it is for
	Entry  int64     `json:"entry,omitempty"`
}

// Choice is one thing that may be picked on a post: by its number, its label,
// or a platform's button. Picking it says Command as if it had been typed.
type Choice struct {
	Number  int      `json:"number"`
	Label   string   `json:"label"`
	Command string   `json:"command"`
	Once    bool     `json:"once,omitempty"` // acts once, whoever picks it again
	Who     []Person `json:"who,omitempty"`  // who may pick it; nobody named: anybody
	Form    string   `json:"form,omitempty"` // opens a field to type in; what it asks for
	// Place is where the command acts if not where the post stands, and Size how
	// many entries the ledger there had when it was offered (0: not told), so that
	// one that is out of date can be told from one that is not.
	Place Place  `json:"place,omitempty"`
	Size  uint64 `json:"size,omitempty"`
}

// Recipe says how to make a picture or a file; made again from the same ledger
// it is the same bytes.
type Recipe struct {
	Kind   string `json:"kind"`             // "entries", "checkpoint", "report", "proof", …
	Ledger string `json:"ledger,omitempty"` // id of the ledger it reads
	First  int64  `json:"first,omitempty"`
	Last   int64  `json:"last,omitempty"`
	Value  string `json:"value,omitempty"` // a small JSON value
	Name   string `json:"name"`            // file name
	Alt    string `json:"alt,omitempty"`   // words for who cannot see it
}

// Receipt is the platform's id and own time of what was sent.
type Receipt struct {
	Ref  string
	Time time.Time
}

// Limits says what a platform can carry.
type Limits struct {
	Characters int // in one post; longer text becomes a file
	Choices    int // on one post; more become lines to type
	FileBytes  int // of one file handed in
}

// Desk takes messages. Handle returns only posts that stand in no outbox: help,
// odds, errors, private views. What is stored is sent by the pump.
type Desk interface {
	Handle(ctx context.Context, m Message) ([]Post, error)
	// Complete offers ways to go on with a text half typed, from memory.
	Complete(ctx context.Context, m Message) []Suggestion
}

// Suggestion is one way to go on with a text: Text replaces what was typed.
type Suggestion struct{ Text, Help string }

// Adapter connects a platform. Run blocks until ctx ends or the line is lost
// for good. Send returns when the platform surely has the post, or with
// ErrLater, ErrGone or ErrMuted.
type Adapter interface {
	Run(ctx context.Context, d Desk) error
	Send(ctx context.Context, p Post) (Receipt, error)
	Limits() Limits
}

// Rereader is an adapter that can show our own latest posts in a place, the newest
// first: so that a store which knows less than the chat is noticed.
// It fails with errors.ErrUnsupported where it cannot.
type Rereader interface {
	Own(ctx context.Context, place Place, limit int) ([]Seen, error)
}

// Seen is a post of ours as a platform shows it: its id, if that was sent along as
// the token of the post, and the id and time of its Receipt.
type Seen struct {
	Post PostID
	Ref  string
	Time time.Time
}

// Maker draws a picture or writes a file from a recipe.
type Maker interface {
	Make(ctx context.Context, r Recipe) ([]byte, error)
}
