//go:build goolm

package matrix

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

const botName = "drumhead"

// bot is an adapter on a homeserver of the tests, with a desk of the tests.
type bot struct {
	*Adapter
	settings Settings
	parts    Parts
	desk     *chattest.Desk
	hears    chat.Desk // instead of desk, if set
	user     id.UserID
	recovery string
	stop     func()
	ahead    atomic.Int64   // of the real time
	prepare  func(*Adapter) // before it runs
}

// later lets time pass for the bot.
func (b *bot) later(d time.Duration) { b.ahead.Add(int64(d)) }

func testLog(t testing.TB) *slog.Logger {
	if os.Getenv("DRUMHEAD_LOG") == "" {
		return slog.New(slog.DiscardHandler)
	}
	return slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelDebug}))
}

// say is the catalogue of the tests.
func say(id string, slots ...any) string {
	if id == "matrix.pick" {
		return "Answer: " + slots[1].(string)
	}
	return id
}

// newBot registers a bot and logs it in; with run it listens.
func newBot(t testing.TB, s *matrixtest.Server, change ...func(*bot)) *bot {
	t.Helper()
	t.Setenv(DefaultPickleEnv, "sixteen characters at least")
	s.Register(botName, false)
	b := &bot{desk: &chattest.Desk{}, user: id.UserID("@" + botName + ":" + matrixtest.ServerName)}
	b.settings = Settings{Homeserver: s.URL, User: string(b.user), PerMinute: 10_000}
	b.parts = Parts{Pocket: chattest.NewPocket(), Log: testLog(t), Say: say, Transport: matrixtest.Patient{}}
	for _, c := range change {
		c(b)
	}
	var err error
	if b.recovery, err = Login(t.Context(), b.settings, b.parts, matrixtest.Password); err != nil {
		t.Fatal(err)
	}
	b.run(t)
	return b
}

// run starts the bot on what its pocket holds.
func (b *bot) run(t testing.TB) {
	t.Helper()
	var err error
	if b.Adapter, err = New(b.settings, b.parts); err != nil {
		t.Fatal(err)
	}
	b.Adapter.now = func() time.Time { return time.Now().Add(time.Duration(b.ahead.Load())) }
	if b.prepare != nil {
		b.prepare(b.Adapter)
	}
	ctx, cancel := context.WithCancel(context.Background())
	over := make(chan error, 1)
	d := chat.Desk(b.desk)
	if b.hears != nil {
		d = b.hears
	}
	go func() { over <- b.Adapter.Run(ctx, d) }()
	stopped := false
	b.stop = func() {
		if stopped {
			return
		}
		stopped = true
		cancel()
		select {
		case err := <-over:
			if err != nil && !errors.Is(err, errDead) {
				t.Errorf("run ended with %v", err)
			}
		case <-time.After(20 * time.Second):
			t.Error("run does not end")
		}
	}
	t.Cleanup(b.stop)
}

// echoes lets the desk answer every message with its text in capitals.
func (b *bot) echoes() {
	b.desk.Answer(func(m chat.Message) []chat.Post {
		if m.Joined {
			return nil
		}
		return []chat.Post{{
			ID: chat.PostID("free/" + string(m.Source)), To: chat.Destination{Place: m.Place}, Entry: -1,
			Lines: []chat.Line{{{Kind: chat.Plain, Text: strings.ToUpper(m.Text)}}},
		}}
	})
}

func from(who id.UserID, body string) func(*event.Event) bool {
	return func(e *event.Event) bool { return e.Sender == who && matrixtest.Body(e) == body }
}

// TestRoll is the least: a command in an encrypted room, answered there, once.
func TestRoll(t *testing.T) {
	s := matrixtest.New(t)
	b := newBot(t, s)
	b.echoes()
	ann := s.Join("ann")
	fen := ann.Room(true, b.user)
	ann.AwaitMembers(fen, 2)
	ann.Say(fen, "!roll 3d6")
	e := ann.Await("the answer", from(b.user, "/ROLL 3D6"))
	if !e.Mautrix.WasEncrypted || e.Content.AsMessage().MsgType != event.MsgNotice {
		t.Errorf("answered with %+v", e)
	}
	if e.Mautrix.TrustState != id.TrustStateCrossSignedTOFU {
		t.Errorf("trust is %s, want that of a signed device", e.Mautrix.TrustState)
	}
	for _, m := range b.desk.Heard() {
		if m.Place == "" || m.Community == "" || m.Person != personOf("@ann:osier.test") || m.Name != "ann" {
			t.Errorf("heard %+v", m)
		}
	}
	for _, f := range Doctor(t.Context(), b.settings, b.parts) {
		if !f.Good {
			t.Errorf("the doctor finds %+v", f)
		}
	}
}
