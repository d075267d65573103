//go:build goolm

package main

import (
	"context"
	"errors"
	"log/slog"
	"sync/atomic"
	"testing"

	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix"
	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
	"drumhead/commands/chatscript"
	"drumhead/storage"
)

// TestScriptsOnMatrix plays every chat script of the terminal in encrypted rooms
// on a real homeserver: typed commands, figures, replies and reactions.
func TestScriptsOnMatrix(t *testing.T) {
	playElsewhere(t, false, func(t *testing.T, dir string, with ...func(*plan)) chatscript.Runner { return newFen(t, dir, with...) })
}

// fen is a whole bot in a practice directory, in encrypted rooms on a homeserver
// that stays when the bot crashes.
type fen struct {
	*matrixtest.Stage
	t     *testing.T
	plan  plan
	house *house
	bot   *matrix.Adapter
	set   matrix.Settings
	parts matrix.Parts
	stop  context.CancelFunc
	ended chan struct{}
	err   atomic.Pointer[error]
	last  chat.Message
	fail  atomic.Bool // the next append is stored, and its answer lost
	lose  atomic.Bool // the next post does not reach the homeserver at first
	lost  atomic.Bool // until somebody speaks again
}

func newFen(t *testing.T, files string, with ...func(*plan)) *fen {
	server := matrixtest.New(t)
	f := &fen{t: t, plan: plan{data: t.TempDir(), practice: seed(t), log: slog.New(slog.DiscardHandler)}}
	f.plan.wrap = doubtful(&f.fail)
	for _, set := range with {
		set(&f.plan)
	}
	f.open()
	t.Setenv(matrix.DefaultPickleEnv, "sixteen characters at least")
	bot := server.Register("drumhead", false)
	f.set = matrix.Settings{Homeserver: server.URL, User: bot.User, PerMinute: 10_000}
	f.parts = matrix.Parts{Pocket: chattest.NewPocket(), Transport: matrixtest.Patient{}, Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))}
	if _, err := matrix.Login(t.Context(), f.set, f.parts, matrixtest.Password); err != nil {
		t.Fatal(err)
	}
	f.Stage = matrixtest.NewStage(server, id.UserID(bot.User))
	f.Stage.Open = opener(files)
	f.Stage.Settle = func(ctx context.Context) error { return f.house.settle(ctx) }
	f.Stage.OnPost = func(label, entry string) (string, bool) { return args.OnPost(f.house.desk.Specs(), label, entry) }
	f.Stage.Broken = func() error {
		if err := f.err.Load(); err != nil {
			return *err
		}
		return nil
	}
	f.connect()
	t.Cleanup(func() {
		f.leave()
		if err := f.house.close(); err != nil {
			t.Error(err)
		}
		th := theatre{t: t, plan: f.plan}
		th.verified()
	})
	return f
}

func (f *fen) open() {
	house, err := openHouse(context.Background(), f.plan)
	if err != nil {
		f.t.Fatal(err)
	}
	if f.house != nil {
		house.clock.reach(f.house.clock.Now())
	}
	f.house = house
}

// connect starts the adapter on what its pocket holds.
func (f *fen) connect() {
	say, err := sayings()
	if err != nil {
		f.t.Fatal(err)
	}
	p := f.parts
	p.Say = say
	p.Make, p.Now = f.house.desk, f.house.clock.Now
	p.OnPost = f.Stage.OnPost
	house := f.house
	p.Settle = func(ctx context.Context) error { return quietly(ctx, house) }
	if f.bot, err = matrix.New(f.set, p); err != nil {
		f.t.Fatal(err)
	}
	f.Stage.Use(f.bot)
	f.house.adapters[matrix.Name] = leaky{f.Stage.Adapter(), f}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	f.stop, f.ended = cancel, ended
	f.err.Store(nil)
	go func() {
		defer close(ended)
		if err := f.bot.Run(ctx, f.Stage.Desk(f)); err != nil {
			f.err.Store(&err)
		}
	}()
}

// leave ends the adapter.
func (f *fen) leave() {
	f.stop()
	<-f.ended
}

// Handle notes a message down on its way to the desk.
func (f *fen) Handle(ctx context.Context, m chat.Message) ([]chat.Post, error) {
	f.last = m
	return f.house.desk.Handle(ctx, m)
}

// Complete asks the desk.
func (f *fen) Complete(ctx context.Context, m chat.Message) []chat.Suggestion {
	return f.house.desk.Complete(ctx, m)
}

// Say lets a person say something. If the store cannot tell whether it kept the
// answer the bot starts again, as it would.
func (f *fen) Say(ctx context.Context, m chatscript.Message) error {
	f.lost.Store(false)
	err := f.Stage.Say(ctx, m)
	if errors.Is(err, storage.ErrUnknown) {
		return f.crash(ctx)
	}
	return err
}

// Do follows a direction.
func (f *fen) Do(ctx context.Context, d chatscript.Direction) error {
	switch d.Verb {
	case chatscript.Crash:
		return f.crash(ctx)
	case chatscript.Fail:
		f.fail.Store(true)
	case chatscript.Lose:
		f.lose.Store(true)
	case chatscript.Organiser:
		f.Organise(d.Name)
	case chatscript.Wait:
		if err := f.house.wait(ctx, d.For); err != nil {
			return err
		}
		return f.house.settle(ctx)
	case chatscript.Resend:
		posts, err := f.house.desk.Handle(ctx, f.last)
		if err != nil {
			return err
		}
		for _, p := range posts {
			if _, err := f.Stage.Adapter().Send(ctx, p); err != nil {
				return err
			}
		}
		_, err = f.house.due(ctx)
		return err
	}
	return nil
}

// crash ends the bot without a word and starts it again. Clock and rooms go on.
func (f *fen) crash(ctx context.Context) error {
	f.leave()
	if err := f.house.store.Close(); err != nil {
		return err
	}
	f.open()
	f.connect()
	_, err := f.house.due(ctx)
	return err
}

// leaky is the adapter behind a line that may lose a post.
type leaky struct {
	chat.Adapter
	fen *fen
}

func (l leaky) Send(ctx context.Context, p chat.Post) (chat.Receipt, error) {
	if l.fen.lose.CompareAndSwap(true, false) {
		l.fen.lost.Store(true)
	}
	if l.fen.lost.Load() {
		return chat.Receipt{}, chat.ErrLater
	}
	return l.Adapter.Send(ctx, p)
}
