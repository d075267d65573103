// Package terminal lets people play at a terminal, or a program play through
// standard input and output: it translates, and decides nothing. What is typed
// is in the form of a chat script (package chatscript); what the bot says is
// shown readably, or as one JSON object a line (docs/json.md).
//
// Everybody who talks here sits at one keyboard, so anybody may speak for
// anybody. That is right for trying things out and for programs; two people
// who do not trust each other meet on a chat platform.
package terminal

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"sync"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/chatscript"
)

// Name begins the ids of this adapter's persons and places.
const Name = "terminal"

// Config is what the terminal is told. In, Out, Session, Now and Say must be
// there.
type Config struct {
	In       io.Reader
	Out      io.Writer
	Keyboard bool       // In and Out are a terminal with a person at it
	Patient  bool       // a message may go on after a pause: In is a file
	Width    func() int // columns to wrap at; nil or 0: never wrapped
	JSON     bool
	Echo     bool           // shows what is said, before the answers: In is a script that somebody reads along
	New      bool           // nobody has been here before: who sits down is greeted
	As       string         // who says a line without a name
	Place    string         // where, if the line does not say
	Session  string         // makes the sources of this session's messages its own
	History  string         // file that keeps what was typed; "" for none
	Zone     *time.Location // of times that are for nobody's zone; nil is UTC

	Organisers []string // who runs the places; none: everybody

	Open   func(name string) ([]byte, error)                // a file handed in, at most Limits.FileBytes and one
	Files  string                                           // directory for pictures and files; made when needed
	Make   chat.Maker                                       // makes them; nil: they are only named
	Settle func(ctx context.Context) error                  // sends what waits, after each message
	Wait   func(ctx context.Context, d time.Duration) error // lets d pass, or the time to the next timer if 0; nil: not here
	OnPost func(label, entry string) (string, bool)         // the command that a label picks on the post of an entry
	Asks   func(text string) bool                           // the text waits for several lines
	Say    func(id string, slots ...any) string             // a sentence of the catalogue
	Watch  func(chatscript.Shown)                           // sees each post as it is shown
	Now    func() time.Time
	Log    *slog.Logger
}

// Terminal is the adapter. Send may be called by many goroutines.
type Terminal struct {
	Config
	mu        sync.Mutex
	out       io.Writer // Out, or what writes above the prompt
	screen    screen
	names     map[chat.Person]string // what people are called here
	heard     int                    // lines that somebody said, which makes their sources: posts that a script expects do not count
	errors    int
	organiser map[chat.Person]bool
	prompt    func(question string) (string, bool) // asks at the keyboard; nil elsewhere
}

var _ chat.Adapter = (*Terminal)(nil)

// New makes a terminal that has heard and shown nothing yet.
func New(c Config) *Terminal {
	if c.As == "" {
		c.As = "player"
	}
	if c.Place == "" {
		c.Place = chatscript.Table
	}
	if c.Zone == nil {
		c.Zone = time.UTC
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	t := &Terminal{Config: c, out: c.Out, names: map[chat.Person]string{}, organiser: map[chat.Person]bool{}}
	for _, name := range c.Organisers {
		t.organiser[person(name)] = true
	}
	return t
}

// Limits of the terminal: text of any length, choices that can still be told
// apart, files that fit into memory.
func (t *Terminal) Limits() chat.Limits {
	return chat.Limits{Characters: 1 << 20, Choices: 99, FileBytes: 8 << 20}
}

// Send shows a post. A post that is on the screen already, or one for a place
// of another adapter, is not shown. It never answers ErrLater or ErrMuted.
func (t *Terminal) Send(ctx context.Context, p chat.Post) (chat.Receipt, error) {
	if err := ctx.Err(); err != nil {
		return chat.Receipt{}, err
	}
	if !ours(p.To) {
		return chat.Receipt{}, fmt.Errorf("%w: %q is no place at the terminal", chat.ErrGone, p.To.Place)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.screen.has(p.ID) {
		if err := t.show(ctx, p); err != nil {
			return chat.Receipt{}, err
		}
	}
	return chat.Receipt{Ref: string(p.ID), Time: t.Now()}, nil
}

// Errors counts the posts so far that told of an error.
func (t *Terminal) Errors() int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.errors
}

// show remembers a post and writes it.
func (t *Terminal) show(ctx context.Context, p chat.Post) error {
	t.screen.add(p)
	if p.Error != "" {
		t.errors++
	}
	made := t.makeAll(ctx, p)
	if t.Watch != nil {
		t.Watch(t.shown(p))
	}
	if t.JSON {
		return t.writeJSON(p, made)
	}
	_, err := io.WriteString(t.out, t.page(p, made))
	return err
}

// here is where somebody at the keyboard is answered whose line has no name.
func (t *Terminal) here() chat.Destination {
	who := person(t.As)
	return chat.Destination{Place: place(t.Place, who), Only: who}
}

// complain shows an error of the terminal's own.
func (t *Terminal) complain(ctx context.Context, to chat.Destination, id string, slots ...any) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.show(ctx, chat.Post{
		ID: chat.PostID(fmt.Sprintf("%s/%s/%d", Name, t.Session, t.heard)), To: to, Entry: -1, Error: id,
		Lines: chat.Fold([]chat.Line{{{Kind: chat.Plain, Text: t.Say(id, slots...)}}}),
	})
}

// Ids: a person is terminal:ann, a place terminal:#fen, a private conversation
// terminal:@ann.

func person(name string) chat.Person {
	return chat.Person(Name + ":" + strings.ToLower(name))
}

func place(name string, who chat.Person) chat.Place {
	if name == chatscript.Direct {
		return chat.Place(Name + ":@" + personName(who))
	}
	return chat.Place(Name + ":" + strings.ToLower(name))
}

func personName(p chat.Person) string { return strings.TrimPrefix(string(p), Name+":") }

// placeName is how a destination is written: "#fen" or "@dm".
func placeName(to chat.Destination) string {
	name := strings.TrimPrefix(string(to.Place), Name+":")
	if name == "" || name[0] == '@' {
		return chatscript.Direct
	}
	return name
}

// onlyName is the one who sees a post, "" for all.
func onlyName(to chat.Destination) string {
	if to.Only != "" {
		return personName(to.Only)
	}
	if name, ok := strings.CutPrefix(string(to.Place), Name+":@"); ok {
		return name
	}
	return ""
}

func ours(to chat.Destination) bool {
	if to.Place == "" {
		return strings.HasPrefix(string(to.Only), Name+":")
	}
	return strings.HasPrefix(string(to.Place), Name+":")
}
