// Package commands is the desk: it takes one message through. Read it, judge
// it, decide it with sealed dice, append it to the ledger, and only then speak.
// Families of commands (dice, force, battle, campaign, …) are files of this
// package; the rules are in engine/ and campaign/, and nothing is decided here.
package commands

import (
	"cmp"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/beacon"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// Config is what a desk needs from the world. Time and randomness come in here
// and nowhere else.
type Config struct {
	Store   storage.Store
	Now     func() time.Time
	Entropy io.Reader // the operating system's generator, or a practice one
	// Name is the data directory's: the origin of its checkpoints. One that begins
	// with storage.PracticeName marks every ledger as practice, so that none can
	// pass for a real one.
	Name string
	Key  ed25519.PrivateKey // signs checkpoints
	Log  *slog.Logger
	// Beacon gives the rounds that cut dice; nil where there is none.
	Beacon beacon.Source
	// Chain is the chain of those rounds; nil is quicknet. Another one is for tests.
	Chain *beacon.Chain
	// Packs are the files of rules packs that may be played besides those that come
	// with the program. They were checked; one that does not load is an error of New.
	Packs [][]byte
	// Reread shows our own latest posts of a place, so that a restore is noticed; nil
	// where no platform can.
	Reread chat.Rereader
}

// Desk takes messages and answers them. Handle may be called by many
// goroutines: messages of one community are taken one after the other, since a
// command may touch several of its ledgers.
type Desk struct {
	store    storage.Store
	now      func() time.Time
	entropy  io.Reader
	entropyM sync.Mutex
	reread   chat.Rereader
	name     string
	key      ed25519.PrivateKey
	practice bool
	log      *slog.Logger
	beacon   beacon.Source // nil: none
	chain    *beacon.Chain // nil without a beacon
	rounds   *rounds
	words    *words.Catalog
	games    []playable // that may be played here

	commands map[string]*command
	specs    []args.Spec
	live     *live
	people   *people
	turns    turns
	idle     idleTimers
	notices  notices
	days     *days
	unread   unread
	length   int // of a new seal
}

// MostTries is how often a message is decided again because a ledger moved.
const MostTries = 8

// New makes a desk. It reads nothing yet.
func New(c Config) (*Desk, error) {
	catalog, err := words.English()
	if err != nil {
		return nil, err
	}
	games, err := loadGames(c.Packs)
	if err != nil {
		return nil, err
	}
	d := &Desk{store: c.Store, now: c.Now, entropy: c.Entropy, name: c.Name, key: c.Key,
		practice: strings.HasPrefix(c.Name, storage.PracticeName), log: c.Log, beacon: c.Beacon, rounds: newRounds(), words: catalog, games: games, reread: c.Reread,
		commands: map[string]*command{}, live: newLive(), people: newPeople(), idle: idleTimers{}, days: newDays()}
	if d.length, d.chain = proof.SealLength, c.Chain; c.Beacon == nil {
		d.chain = nil
	} else if d.chain == nil {
		d.chain = beacon.Quicknet()
	}
	if d.log == nil {
		d.log = slog.New(slog.DiscardHandler)
	}
	for _, family := range families {
		for _, cmd := range family() {
			if _, twice := d.commands[cmd.Name]; twice {
				return nil, fmt.Errorf("commands: two commands are called %q", cmd.Name)
			}
			d.commands[cmd.Name] = &cmd
			if !cmd.timer {
				d.specs = append(d.specs, cmd.Spec)
			}
		}
	}
	return d, nil
}

// Specs lists every command that people may give, in the order of the help.
func (d *Desk) Specs() []args.Spec { return d.specs }

// Handle takes one message. It returns the posts that stand in no outbox; what
// was stored is sent by Drain. An error means that the store or the program
// failed, never the person: after storage.ErrUnknown nothing may be said.
func (d *Desk) Handle(ctx context.Context, m chat.Message) ([]chat.Post, error) {
	defer d.turns.take(string(m.Community))()
	if err := d.meet(ctx, m); err != nil {
		return nil, err
	}
	organiser, err := d.organises(ctx, m)
	if err != nil {
		return nil, err
	}
	m.Organiser = organiser
	for try := 0; ; try++ {
		posts, err := d.once(ctx, m)
		if !errors.Is(err, storage.ErrConflict) || try == MostTries {
			return posts, err
		}
	}
}

// once takes a message through, as things stand now.
func (d *Desk) once(ctx context.Context, m chat.Message) ([]chat.Post, error) {
	a := d.ask(m)
	a.ctx = ctx
	var err error
	if a.here, err = d.view(ctx, m.Place); err != nil {
		return nil, err
	}
	a.views[m.Place] = a.here
	answer, err := a.through()
	var seen *storage.Seen
	if errors.As(err, &seen) { // it was taken twice at a time
		err = cmp.Or(a.seen(), errSeen)
	}
	if errors.Is(err, errSeen) {
		return d.number(ctx, m, a.again())
	}
	if err != nil {
		var r *reason.Refusal
		if !errors.As(err, &r) {
			if fatal(err) {
				return nil, err
			}
			d.log.Error("command failed", "source", m.Source, "err", err)
		}
		return d.number(ctx, m, []chat.Post{a.complaint(err)})
	}
	if answer == nil {
		return nil, nil
	}
	return d.number(ctx, m, answer.posts)
}

// through plans an answer and carries its acts out. A slip in a family's code
// must not end the program for everybody: nothing was stored yet, so it is an
// error like any other, with where it happened in the log.
func (a *ask) through() (answer *answer, err error) {
	defer func() {
		if p := recover(); p != nil {
			answer, err = nil, fmt.Errorf("commands: panic: %v\n%s", p, debug.Stack())
		}
	}()
	if answer, err = a.answer(); err == nil && answer != nil && len(answer.acts) > 0 {
		err = a.carryOut(answer.acts)
	}
	return answer, err
}

// ask begins a question.
func (d *Desk) ask(m chat.Message) *ask {
	return &ask{desk: d, msg: m, from: m.Place, heard: m.Source, now: d.clock(),
		views: map[chat.Place]*view{}, invited: map[chat.Place][]storage.Player{}, chosen: map[chat.Place]settings{}}
}

// fatal tells whether an error is the store's and not this command's.
func fatal(err error) bool {
	for _, e := range []error{storage.ErrConflict, storage.ErrUnknown, storage.ErrClosed, storage.ErrNotOwner,
		storage.ErrReadOnly, storage.ErrFull, context.Canceled, context.DeadlineExceeded} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// answer reads the message and plans what it asks for. errSeen means that the
// message was answered before.
func (a *ask) answer() (*answer, error) {
	if a.msg.Joined {
		return only(a.greeting())
	}
	text, err := a.tapped()
	if err != nil {
		return nil, err
	}
	a.typed = text
	if err := a.seen(); err != nil {
		return nil, err
	}
	spec, values, err := args.Parse(a.desk.specs, text, a.resolver())
	if err != nil {
		return nil, err
	}
	if spec == nil {
		return nil, nil // talk among people: the bot stays silent
	}
	a.command, a.values = a.desk.commands[spec.Name], values
	return a.command.plan(a)
}

var errSeen = errors.New("commands: this message was answered before")

// seen looks for the message in every ledger that it may have acted in: the one
// of its place, and those of the games that its author plays.
func (a *ask) seen() error {
	places := []chat.Place{a.msg.Place}
	for _, g := range a.desk.somebody(a.msg.Person).Games {
		places = append(places, g.Place)
	}
	for _, p := range places {
		v, err := a.there(p)
		if err != nil {
			return err
		}
		if !v.open() {
			continue
		}
		err = a.desk.store.Seen(a.ctx, v.ledger, v.source(a.msg.Source))
		var seen *storage.Seen
		if errors.As(err, &seen) {
			a.before = &acted{seen, v}
			return errSeen
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// clock is the desk's time: UTC, whole milliseconds.
func (d *Desk) clock() time.Time { return d.now().UTC().Truncate(time.Millisecond) }

// random gives n bytes of the desk's entropy.
func (d *Desk) random(n int) ([]byte, error) {
	d.entropyM.Lock()
	defer d.entropyM.Unlock()
	b := make([]byte, n)
	_, err := io.ReadFull(d.entropy, b)
	return b, err
}

// reference names an error in the log, so that people can quote it.
func (d *Desk) reference(m chat.Message, err error) string {
	ref := freeID(m.Source, 0)
	ref = ref[len("free/"):][:8]
	d.log.Error("something went wrong", "reference", ref, "source", m.Source, "err", err)
	return ref
}

// turns lets one message of a community through at a time.
type turns struct {
	mu    sync.Mutex
	doors map[string]*door
}

type door struct {
	sync.Mutex
	waiting int
}

// take waits for a community's turn and returns what ends it.
func (t *turns) take(community string) func() {
	t.mu.Lock()
	if t.doors == nil {
		t.doors = map[string]*door{}
	}
	d := t.doors[community]
	if d == nil {
		d = &door{}
		t.doors[community] = d
	}
	d.waiting++
	t.mu.Unlock()
	d.Lock()
	return func() {
		d.Unlock()
		t.mu.Lock()
		defer t.mu.Unlock()
		if d.waiting--; d.waiting == 0 {
			delete(t.doors, community)
		}
	}
}
