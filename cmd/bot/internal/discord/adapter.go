package discord

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/chat"
)

// Parts are what the house gives the adapter besides its settings.
type Parts struct {
	Pocket    chat.Pocket
	Specs     []args.Spec                                // of all commands
	Make      chat.Maker                                 // makes pictures and files; nil: none are sent
	Settle    func(ctx context.Context) error            // sends what waits, after each message; nil: nothing does
	Say       func(id string, slots ...any) string       // a sentence of the catalogue
	Languages []string                                   // in which Help knows what commands are for
	Help      func(language, text string) (string, bool) // what a command is for, in another language; nil: English alone
	Now       func() time.Time                           // nil for the real time
	Log       *slog.Logger                               // nil for none
}

// Adapter connects Discord. Send may be called by many goroutines, also while
// Run does not run.
type Adapter struct {
	Parts
	settings Settings
	shards   shards
	w        *wires
	book     *book
	commands []command

	asked  turns // interactions of a place, one after the other
	guilds guilds

	mu      sync.Mutex
	replies map[string]*reply // open ones, by interaction
	latest  map[seat]*reply   // the last of a person in a place
	before  map[string]time.Time
	wrong   map[chat.PostID]int // how often a body was refused as wrong
	broken  error               // the desk is broken: Run ends with it
	stop    context.CancelFunc
}

// seat is a person in a channel.
type seat struct{ channel, person string }

var (
	_ chat.Adapter  = (*Adapter)(nil)
	_ chat.Rereader = (*Adapter)(nil)
)

// New makes an adapter; nothing is asked of Discord yet.
func New(s Settings, p Parts) (*Adapter, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	token, err := s.token()
	if err != nil {
		return nil, err
	}
	if p.Now == nil {
		p.Now = time.Now
	}
	if p.Log == nil {
		p.Log = slog.New(slog.DiscardHandler)
	}
	if p.Settle == nil {
		p.Settle = func(context.Context) error { return nil }
	}
	part, err := parseShards(s.Shards)
	if err != nil {
		return nil, err
	}
	w, err := wire(Config{Token: token, Base: s.Base, Files: s.Files, Log: p.Log, Now: p.Now, Say: p.Say})
	if err != nil {
		return nil, err
	}
	all, err := commandsOf(p.Specs)
	if err != nil {
		return nil, err
	}
	inOthers(all, p.Languages, p.Help)
	if err := within(all); err != nil {
		return nil, err
	}
	return &Adapter{Parts: p, settings: s, shards: part, w: w, book: &book{pocket: p.Pocket}, commands: all,
		replies: map[string]*reply{}, latest: map[seat]*reply{}, before: map[string]time.Time{}, wrong: map[chat.PostID]int{}}, nil
}

// Limits are those of a message on Discord.
func (a *Adapter) Limits() chat.Limits {
	return chat.Limits{Characters: mostText, Choices: mostChoices, FileBytes: mostHandedIn}
}

// Run hears what people do until the context ends, the token is refused or the
// desk is broken.
func (a *Adapter) Run(ctx context.Context, d chat.Desk) error {
	if err := ctx.Err(); err != nil {
		return nil
	}
	release, err := lock(a.w.Base, a.w.Token, a.shards)
	if err != nil {
		return err
	}
	defer release()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	a.mu.Lock()
	a.stop, a.broken = cancel, nil
	a.mu.Unlock()
	work := &ear{Adapter: a, ctx: ctx, desk: d}
	defer work.going.Wait()
	defer cancel() // before waiting
	work.going.Go(func() { a.tidy(ctx) })
	ends := make(chan error, a.shards.last-a.shards.first+1)
	for n := a.shards.first; n <= a.shards.last; n++ {
		go func() { ends <- a.w.supervisor(n, a.shards.count, work.hear).run(ctx) }()
	}
	for n := a.shards.first; n <= a.shards.last; n++ {
		if err = errors.Join(err, <-ends); err != nil {
			cancel() // one that cannot go on ends all
		}
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	return errors.Join(a.broken, err)
}

// fail ends Run: the desk or the store is broken, and nothing more may be said.
func (a *Adapter) fail(err error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.broken == nil && !errors.Is(err, context.Canceled) {
		a.broken = err
	}
	if a.stop != nil {
		a.stop()
	}
}

// tidyEvery is how often what is over is thrown away.
const tidyEvery = time.Minute

// tidy throws away what can be of no use any more: interactions that cannot be
// answered, and their secrets.
func (a *Adapter) tidy(ctx context.Context) {
	swept := a.Now().Add(sweepAfter - sweepEvery)
	for {
		if now := a.Now(); now.Sub(swept) >= sweepEvery {
			swept = now
			if err := a.sweep(ctx, now); err != nil && ctx.Err() == nil {
				a.Log.Error("what is old could not be thrown away", "err", err)
			}
		}
		if err := a.forget(ctx); err != nil && ctx.Err() == nil {
			a.Log.Error("what is over could not be thrown away", "err", err)
		}
		if !sleep(ctx, tidyEvery) {
			return
		}
	}
}

func (a *Adapter) forget(ctx context.Context) error {
	now, over := a.Now(), map[string][]byte{}
	a.mu.Lock()
	for id, r := range a.replies {
		if r.over(now) {
			delete(a.replies, id)
		}
	}
	for at, r := range a.latest {
		if r.over(now) {
			delete(a.latest, at)
		}
	}
	for id, at := range a.before {
		if now.Sub(at) > tidyEvery {
			delete(a.before, id)
		}
	}
	a.mu.Unlock()
	err := a.book.pocket.Scan(keyAsk, func(key string, value []byte) error {
		var k asking
		if json.Unmarshal(value, &k) != nil || now.Sub(k.At) > tokenLasts {
			over[key] = nil
		}
		return nil
	})
	if err != nil || len(over) == 0 {
		return err
	}
	return a.book.put(ctx, over)
}

// complaint is a post of the adapter's own, for one person who did something here.
func (a *Adapter) complaint(m chat.Message, id string, slots ...any) chat.Post {
	to := chat.Destination{Place: m.Place, Only: m.Person}
	return chat.Post{ID: chat.PostID(fmt.Sprintf("%s/%s/%s", Name, m.Source, id)), To: to, Entry: -1, Error: id,
		Lines: chat.Fold([]chat.Line{{{Kind: chat.Plain, Text: a.Say(id, slots...)}}})}
}
