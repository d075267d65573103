package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"drumhead/cmd/bot/internal/discord"
	"drumhead/commands/chat"
	"drumhead/commands/words"
	"drumhead/storage"
	"drumhead/storage/bolt"
)

// serve connects to the chat platforms of a config, until it is told to stop.
func serve(c *call) error {
	path := c.flags.String("config", "", "the config (usual: none; docs/serve.md shows one)")
	data := c.flags.String("data", "", "the data directory (usual: the one of the config)")
	shards := c.flags.String("shards", "", "the part of Discord's servers that this process hears, as 4-7/16 (usual: that of the config)")
	if _, err := c.parse(0); err != nil {
		return err
	}
	if *path == "" {
		return fmt.Errorf("%w: which config? As in bot serve --config drumhead.toml, and drumhead.toml holds:\n%s", errUsage, exampleConfig)
	}
	cfg, err := readConfig(*path)
	if err == nil {
		err = cfg.part(*data, *shards)
	}
	if err != nil {
		return err
	}
	level, err := cfg.level()
	if err != nil {
		return err
	}
	log := slog.New(slog.NewTextHandler(c.errs, &slog.HandlerOptions{Level: level}))
	h, err := openHouse(c.ctx, plan{data: cfg.Data, name: cfg.Name, relays: cfg.relays(), log: log})
	if err != nil {
		return err
	}
	pockets, err := h.connect(cfg.platforms())
	if err == nil {
		log.Info("serving", "data", h.path, "name", h.name, "platforms", strings.Join(cfg.names(), " "))
		err = h.serve(c.ctx)
	}
	for _, p := range pockets {
		err = errors.Join(err, p.Close())
	}
	err = errors.Join(err, h.close())
	log.Info("stopped")
	return err
}

// part lets one of several processes with the same config have its own data directory
// and its own part of the servers; what is "" stays as the config has it.
func (c *config) part(data, shards string) error {
	if data != "" {
		c.Data = data
	}
	if shards == "" {
		return nil
	}
	if c.Discord == nil {
		return fmt.Errorf("%w: --shards parts the servers of Discord, and the config has no [discord]", errUsage)
	}
	c.Discord.Shards = shards
	return c.Discord.Check()
}

// platform is a chat platform that the config asks for.
type platform struct {
	name string // what its places begin with
	open func(h *house, pocket chat.Pocket) (chat.Adapter, error)
	look func(ctx context.Context) []finding // for bot doctor
}

// platforms are those of the config.
func (c config) platforms() []platform {
	var all []platform
	if c.Discord != nil {
		all = append(all, c.discordPlatform())
	}
	if c.Matrix != nil {
		all = append(all, c.matrixPlatform())
	}
	return all
}

// discordPlatform connects Discord.
func (c config) discordPlatform() platform {
	return platform{name: discord.Name,
		open: func(h *house, pocket chat.Pocket) (chat.Adapter, error) {
			say, err := sayings()
			if err != nil {
				return nil, err
			}
			helps, err := words.LoadHelps()
			if err != nil {
				return nil, err
			}
			return discord.New(*c.Discord, discord.Parts{Languages: words.Languages(), Help: helps.In, Pocket: pocket, Specs: h.desk.Specs(), Make: h.desk, Say: say, Now: h.clock.Now,
				Settle: h.wake, Log: h.log.With("platform", discord.Name)})
		},
		look: func(ctx context.Context) []finding {
			var all []finding
			for _, f := range discord.Doctor(ctx, *c.Discord) {
				all = append(all, finding{what: discord.Name, found: f.What, wrong: f.Do})
			}
			return all
		},
	}
}

func (c config) names() []string {
	var names []string
	for _, p := range c.platforms() {
		names = append(names, p.name)
	}
	return names
}

// sayings are the sentences of the catalogue, for an adapter's own.
func sayings() (func(id string, slots ...any) string, error) {
	catalog, err := words.English()
	if err != nil {
		return nil, err
	}
	speaker := words.Speaker{Catalog: catalog}
	return func(id string, slots ...any) string { return words.Flat(speaker.Say(id, slots...)) }, nil
}

// connect opens each platform with a pocket of its own beside the store.
func (h *house) connect(all []platform) (pockets []*bolt.Pocket, err error) {
	for _, p := range all {
		pocket, err := bolt.OpenPocket(filepath.Join(h.path, p.name+".pocket"))
		if err != nil {
			return pockets, err
		}
		pockets = append(pockets, pocket)
		if h.adapters[p.name], err = p.open(h, pocket); err != nil {
			return pockets, err
		}
	}
	return pockets, nil
}

// wake has what waits sent soon.
func (h *house) wake(context.Context) error {
	select {
	case h.soon <- struct{}{}:
	default: // it is awake
	}
	return nil
}

// front is the desk as adapters see it: what a message leaves in the outbox is
// sent soon after.
type front struct {
	chat.Desk
	house *house
}

func (f front) Handle(ctx context.Context, m chat.Message) ([]chat.Post, error) {
	posts, err := f.Desk.Handle(ctx, m)
	return posts, errors.Join(err, f.house.wake(ctx))
}

// patience is how long everything has to end when the program is stopped.
const patience = 20 * time.Second

// serve runs the adapters, and the pump behind them, until ctx ends, the store
// fails, or no adapter is left. One that is lost for good leaves the others
// running, and is told again at the end.
func (h *house) serve(ctx context.Context) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var all sync.WaitGroup
	errs := make(chan error, len(h.adapters)+1)
	left := len(h.adapters)
	var mu sync.Mutex
	for name, a := range h.adapters {
		all.Go(func() {
			err := a.Run(ctx, front{h.desk, h})
			if err != nil && ctx.Err() == nil {
				h.log.Error("a platform is lost", "platform", name, "err", err)
			}
			mu.Lock()
			defer mu.Unlock()
			if err != nil && !errors.Is(err, context.Canceled) {
				errs <- err
			}
			if left--; left == 0 || errors.Is(err, storage.ErrUnknown) {
				stop()
			}
		})
	}
	all.Go(func() {
		if err := h.stream(ctx); err != nil {
			errs <- explain(err)
			stop()
		}
	})
	<-ctx.Done()
	if !within(patience, func() { all.Wait(); h.pump.Wait() }) {
		return fmt.Errorf("not everything ended within %v; what was not sent is sent at the next start", patience)
	}
	close(errs)
	return errors.Join(slices.Collect(drained(errs))...)
}

func drained(errs <-chan error) func(func(error) bool) {
	return func(yield func(error) bool) {
		for err := range errs {
			if !yield(err) {
				return
			}
		}
	}
}

// within tells whether f returned in time.
func within(d time.Duration, f func()) bool {
	done := make(chan struct{})
	go func() { defer close(done); f() }()
	select {
	case <-done:
		return true
	case <-time.After(d):
		return false
	}
}

// stream does what falls due and sends what waits, until ctx ends or the store
// cannot be trusted any more.
func (h *house) stream(ctx context.Context) error {
	for ctx.Err() == nil {
		next, err := h.desk.Tick(ctx)
		if err == nil {
			var again time.Time
			again, err = h.pump.Flow(ctx, func() { _ = h.wake(ctx) })
			if next.IsZero() || !again.IsZero() && again.Before(next) {
				next = again
			}
		}
		switch {
		case errors.Is(err, storage.ErrUnknown):
			return err
		case err != nil && ctx.Err() == nil:
			h.log.Error("what is due could not be done", "err", err)
		}
		if h.desk.Fetch(ctx) {
			continue
		}
		h.nap(ctx, next)
	}
	return nil
}

// nap waits until something is due, somebody said something, or ctx ends.
func (h *house) nap(ctx context.Context, next time.Time) {
	nap := longestNap
	if left := next.Sub(h.clock.Now()); !next.IsZero() && left < nap {
		nap = max(left, 100*time.Millisecond)
	}
	timer := time.NewTimer(nap)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-h.soon:
	case <-timer.C:
	}
}
