package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strconv"
	"strings"
	"sync"
	"time"

	"drumhead/cmd/bot/internal/terminal"
	"drumhead/commands"
	"drumhead/commands/beacon"
	"drumhead/commands/chat"
	"drumhead/storage"
	"drumhead/storage/bolt"
)

// plan says what a house is opened with.
type plan struct {
	data     string
	name     string   // "" for the one that the directory has
	practice []byte   // seed of a practice game; nil for a real one
	relays   []string // of the beacon; none: no beacon
	log      *slog.Logger
	wrap     func(storage.Store) storage.Store           // for tests: a store that fails; nil leaves it
	beacon   func(*clock) (beacon.Source, *beacon.Chain) // for tests: a beacon of their own; nil: none
}

// house is an opened data directory with everything wired together: store,
// desk and pump. Adapters are added to it and talk to its desk.
type house struct {
	directory
	store    storage.Store
	desk     *commands.Desk
	adapters map[string]chat.Adapter
	pump     *commands.Pump
	clock    *clock
	session  string // makes the sources of this start its own
	sessions int    // how many there were with this one
	log      *slog.Logger
	turn     sync.Mutex    // one tick or drain at a time
	soon     chan struct{} // wakes the watch
}

// tableShelf keeps what belongs to the data directory itself.
const tableShelf = "terminal"

// openHouse opens the data directory, or makes it.
func openHouse(ctx context.Context, p plan) (*house, error) {
	dir, err := openDirectory(p.data, p.name, p.practice != nil, entropyFor(p.practice, "key"))
	if err != nil {
		return nil, err
	}
	h := &house{clock: &clock{real: p.practice == nil}, adapters: map[string]chat.Adapter{}, log: p.log, soon: make(chan struct{}, 1)}
	store, err := bolt.Open(dir.store(), bolt.Options{Now: h.clock.Now, Random: entropyFor(p.practice, "store")})
	if err != nil {
		return nil, rights(dir.store(), err)
	}
	if err := dir.keepKey(); err != nil {
		return nil, errors.Join(err, store.Close())
	}
	if err := dir.sameSigner(ctx, store); err != nil {
		return nil, errors.Join(err, store.Close())
	}
	h.directory, h.store = dir, store
	if p.wrap != nil {
		h.store = p.wrap(store)
	}
	if err := h.begin(ctx, p); err != nil {
		return nil, errors.Join(err, h.store.Close())
	}
	return h, nil
}

// begin counts the session, sets the clock and makes desk and pump.
func (h *house) begin(ctx context.Context, p plan) error {
	n, err := h.countSession(ctx)
	if err != nil {
		return err
	}
	entropy := entropyFor(p.practice, "session "+strconv.Itoa(n))
	h.sessions = n
	if h.session, err = sessionID(entropy, n); err != nil {
		return err
	}
	if !h.clock.real {
		if err := h.setClock(ctx); err != nil {
			return err
		}
	}
	config := commands.Config{Store: h.store, Now: h.clock.Now, Entropy: entropy, Name: h.name, Key: h.key, Log: p.log, Packs: h.ownPacks(p.log), Reread: rereader{h}}
	if len(p.relays) > 0 {
		if config.Beacon, err = beacon.NewRelays(beacon.Quicknet(), p.relays, beacon.Config{Log: p.log}); err != nil {
			return err
		}
	}
	if p.beacon != nil {
		config.Beacon, config.Chain = p.beacon(h.clock)
	}
	h.desk, err = commands.New(config)
	if err != nil {
		return err
	}
	h.pump = commands.NewPump(h.desk, h.adapters)
	return nil
}

// rereader asks whichever adapter a place belongs to for our own posts there.
type rereader struct{ *house }

// Own gives our own latest posts; errors.ErrUnsupported where a platform cannot.
func (r rereader) Own(ctx context.Context, p chat.Place, limit int) ([]chat.Seen, error) {
	name, _, _ := strings.Cut(string(p), ":")
	if a, ok := r.adapters[name].(chat.Rereader); ok {
		return a.Own(ctx, p, limit)
	}
	return nil, errors.ErrUnsupported
}

// countSession gives the number of this start of the directory, 1 for the first.
func (h *house) countSession(ctx context.Context) (int, error) {
	shelf := h.store.Shelf(tableShelf)
	b, err := shelf.Get(ctx, "sessions")
	if err != nil && !errors.Is(err, storage.ErrNone) {
		return 0, err
	}
	n := 1
	if err == nil {
		if n, err = strconv.Atoi(string(b)); err != nil {
			return 0, fmt.Errorf("store %s: the count of sessions is damaged: %w", h.directory.store(), err)
		}
		n++
	}
	return n, shelf.Put(ctx, storage.KeyValue{Key: "sessions", Value: []byte(strconv.Itoa(n))})
}

// sessionID mixes entropy with the number of the session, so that no source is
// used twice even where entropy is made for practice.
func sessionID(entropy io.Reader, n int) (string, error) {
	b := make([]byte, 16)
	if _, err := io.ReadFull(entropy, b); err != nil {
		return "", err
	}
	sum := sha256.Sum256(append(b, strconv.Itoa(n)...))
	return hex.EncodeToString(sum[:8]), nil
}

// setClock lets a practice clock go on where the directory left off.
func (h *house) setClock(ctx context.Context) error {
	h.clock.reach(practiceStart())
	b, err := h.store.Shelf(tableShelf).Get(ctx, "clock")
	if err == nil {
		if t, err := storage.ParseTime(string(b)); err == nil {
			h.clock.reach(t)
		}
	} else if !errors.Is(err, storage.ErrNone) {
		return err
	}
	for head, err := range h.store.Ledgers(ctx) {
		if err != nil {
			return err
		}
		for e, err := range h.store.Read(ctx, head.Ledger, head.Size-1, head.Size) {
			if err != nil {
				return err
			}
			if rec, err := storage.Parse(e.Bytes); err == nil {
				h.clock.reach(rec.Time)
			}
		}
	}
	return nil
}

// practiceStep is how far a practice clock goes on with each message.
const practiceStep = time.Second

// settle does what is due and sends what waits.
func (h *house) settle(ctx context.Context) error {
	h.turn.Lock()
	defer h.turn.Unlock()
	_, err := h.due(ctx)
	if !h.clock.real {
		h.clock.reach(h.clock.Now().Add(practiceStep))
	}
	return errors.Join(err, h.wake(ctx)) // there may be an earlier timer now
}

// due does what is due, sends what waits, and tells when more is due. On a
// practice clock the beacon is asked here too: it answers from memory.
func (h *house) due(ctx context.Context) (time.Time, error) {
	next, err := h.desk.Tick(ctx)
	if err != nil {
		return next, err
	}
	if err := h.pump.Drain(ctx); err != nil || h.clock.real || !h.desk.Fetch(ctx) {
		return next, err
	}
	if next, err = h.desk.Tick(ctx); err != nil {
		return next, err
	}
	return next, h.pump.Drain(ctx)
}

// mostTimers bounds how many timers one wait may run through.
const mostTimers = 10_000

// wait lets d pass on a practice clock, stopping at each timer on the way; if d
// is 0 it stops at the next timer.
func (h *house) wait(ctx context.Context, d time.Duration) error {
	h.turn.Lock()
	defer h.turn.Unlock()
	until := h.clock.Now().Add(d)
	if until.Year() > lastYear {
		return terminal.ErrFar
	}
	for range mostTimers {
		next, err := h.due(ctx)
		if err != nil {
			return err
		}
		if d == 0 && !next.IsZero() {
			h.clock.reach(next)
			_, err := h.due(ctx)
			return err
		}
		if next.IsZero() || next.After(until) {
			break
		}
		h.clock.reach(next)
	}
	h.clock.reach(until)
	_, err := h.due(ctx)
	return err
}

// lastYear is how far a practice clock goes. Entries tell years up to 9999, and what
// is set for later must be one of them too.
const lastYear = 9000

// longestNap is how long the watch sleeps at most: a clock may be set.
const longestNap = 30 * time.Second

// watch does what falls due while nobody says anything, until ctx ends.
func (h *house) watch(ctx context.Context) {
	for {
		h.turn.Lock()
		next, err := h.due(ctx)
		h.turn.Unlock()
		if err != nil && ctx.Err() == nil {
			h.log.Error("what is due could not be done", "err", err)
		}
		if h.desk.Fetch(ctx) { // takes as long as a network takes; nobody waits for it
			continue
		}
		if ctx.Err() != nil {
			return
		}
		h.nap(ctx, next)
	}
}

// close ends the house. A practice clock is kept for the next session.
func (h *house) close() error {
	var err error
	if !h.clock.real {
		err = h.store.Shelf(tableShelf).Put(context.Background(), storage.KeyValue{Key: "clock", Value: []byte(storage.FormatTime(h.clock.Now()))})
	}
	return errors.Join(err, h.store.Close())
}
