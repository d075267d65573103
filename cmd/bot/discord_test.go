package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord"
	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
	"drumhead/commands/chatscript"
	"drumhead/storage"
)

// TestScriptsOnDiscord plays every chat script of the terminal against a Discord:
// as commands with options, buttons, forms and text in private.
func TestScriptsOnDiscord(t *testing.T) {
	playElsewhere(t, true, func(t *testing.T, dir string, with ...func(*plan)) chatscript.Runner { return newHall(t, dir, with...) })
}

var (
	root   = regexp.MustCompile(`(?m)^\| [A-Za-z0-9+/]{43}=$`)
	code   = regexp.MustCompile(`\bcode [0-9a-f]{16}\b`)
	hidden = regexp.MustCompile(`<U\+[0-9A-F]{4}>`)
)

// alike leaves out what differs between platforms and must: the roots of ledgers and
// the codes of draws, since a message has another source on each, and how a sign that
// turns text round is made harmless.
func alike(text string) string {
	text = code.ReplaceAllString(root.ReplaceAllString(text, "| (root)"), "code (code)")
	return hidden.ReplaceAllString(text, "")
}

// hall is a whole bot in a practice directory, connected to a Discord that stays
// when the bot crashes.
type hall struct {
	*discordtest.Stage
	t      *testing.T
	plan   plan
	house  *house
	bot    *discord.Adapter
	pocket chat.Pocket
	set    discord.Settings
	clock  atomic.Pointer[clock]
	ended  chan struct{}
	err    atomic.Pointer[error]
	stop   context.CancelFunc
	last   atomic.Pointer[chat.Message] // the bot may hear something again meanwhile
	fail   atomic.Bool                  // the next append is stored, and its answer lost
	lose   atomic.Bool                  // the next post does not reach Discord at first
}

func newHall(t *testing.T, files string, with ...func(*plan)) *hall {
	h := &hall{t: t, plan: plan{data: t.TempDir(), practice: seed(t), log: slog.New(slog.DiscardHandler)}, pocket: chattest.NewPocket()}
	h.plan.wrap = doubtful(&h.fail)
	for _, set := range with {
		set(&h.plan)
	}
	h.open()
	server := discordtest.Start(t, discordtest.Options{Guilds: []discordtest.Guild{{ID: discordtest.StageGuild, Name: "Osier"}}, Edits: 1000,
		Now: func() time.Time { return h.clock.Load().Now() }})
	token := filepath.Join(t.TempDir(), "discord.token")
	if err := os.WriteFile(token, []byte(discordtest.Token), 0o600); err != nil {
		t.Fatal(err)
	}
	h.set = discord.Settings{TokenFile: token, Base: server.URL, Files: server.URL}
	h.Stage = discordtest.NewStage(t, server, h.house.desk.Specs())
	h.Stage.Open = opener(files)
	h.Stage.Silent = func(ctx context.Context) error { return h.house.settle(ctx) }
	h.Stage.Broken = func() error {
		if err := h.err.Load(); err != nil {
			return *err
		}
		return nil
	}
	h.connect()
	t.Cleanup(func() {
		h.leave()
		if err := h.house.close(); err != nil {
			t.Error(err)
		}
		th := theatre{t: t, plan: h.plan}
		th.verified()
	})
	return h
}

func (h *hall) open() {
	house, err := openHouse(context.Background(), h.plan)
	if err != nil {
		h.t.Fatal(err)
	}
	if old := h.clock.Load(); old != nil {
		house.clock.reach(old.Now())
	}
	h.house = house
	h.clock.Store(house.clock)
}

// connect starts the adapter.
func (h *hall) connect() {
	say, err := sayings()
	if err != nil {
		h.t.Fatal(err)
	}
	h.bot, err = discord.New(h.set, discord.Parts{Pocket: h.pocket, Specs: h.house.desk.Specs(), Make: h.house.desk, Now: h.house.clock.Now,
		Say:    say,
		Settle: h.Settle(h.house.settle), Log: slog.New(slog.NewTextHandler(h.logTo(), &slog.HandlerOptions{Level: slog.LevelWarn}))})
	if err != nil {
		h.t.Fatal(err)
	}
	h.house.adapters[discord.Name] = lossy{h.Stage.Carrier(h.bot), h}
	ctx, cancel := context.WithCancel(context.Background())
	h.stop, h.ended = cancel, make(chan struct{})
	h.err.Store(nil)
	before := len(h.Server.Lines().Identifies)
	go func() {
		defer close(h.ended)
		if err := h.bot.Run(ctx, h.Stage.Desk(h)); err != nil {
			h.err.Store(&err)
		}
	}()
	h.Server.Until("the bot is there", func() bool {
		l := h.Server.Lines()
		return len(l.Identifies) > before && l.Sessions > 0
	})
}

// logTo shows the log of a test that fails.
func (h *hall) logTo() io.Writer { return testLog{h.t} }

type testLog struct{ t *testing.T }

func (l testLog) Write(b []byte) (int, error) {
	if strings.Contains(string(b), discordtest.Token) {
		l.t.Error("the token stands in the log")
	}
	l.t.Log(strings.TrimSpace(string(b)))
	return len(b), nil
}

// leave ends the adapter.
func (h *hall) leave() {
	h.stop()
	<-h.ended
}

// Handle notes a message down on its way to the desk.
func (h *hall) Handle(ctx context.Context, m chat.Message) ([]chat.Post, error) {
	h.last.Store(&m)
	return h.house.desk.Handle(ctx, m)
}

// Complete asks the desk.
func (h *hall) Complete(ctx context.Context, m chat.Message) []chat.Suggestion {
	return h.house.desk.Complete(ctx, m)
}

// Say lets a person say something. If the store cannot tell whether it kept the
// answer the bot starts again, as it would.
func (h *hall) Say(ctx context.Context, m chatscript.Message) error {
	err := h.Stage.Say(ctx, m)
	if errors.Is(err, storage.ErrUnknown) {
		return h.crash(ctx)
	}
	return err
}

// Do follows a direction.
func (h *hall) Do(ctx context.Context, d chatscript.Direction) error {
	switch d.Verb {
	case chatscript.Crash:
		return h.crash(ctx)
	case chatscript.Fail:
		h.fail.Store(true)
	case chatscript.Lose:
		h.lose.Store(true)
	case chatscript.Organiser:
		h.Organise(d.Name)
	case chatscript.Wait:
		if err := h.house.wait(ctx, d.For); err != nil {
			return err
		}
		return h.house.settle(ctx)
	case chatscript.Resend:
		h.Again()                                              // the adapter knows it
		posts, err := h.house.desk.Handle(ctx, *h.last.Load()) // and the desk, if the adapter did not
		if err != nil {
			return err
		}
		for _, p := range posts {
			if _, err := h.bot.Send(ctx, p); err != nil {
				return err
			}
		}
		return quietly(ctx, h.house)
	}
	return nil
}

// crash ends the bot without a word and starts it again. Clock and Discord go on.
func (h *hall) crash(ctx context.Context) error {
	h.leave()
	if err := h.house.store.Close(); err != nil {
		return err
	}
	h.open()
	h.connect()
	_, err := h.house.due(ctx)
	return err
}

// lossy is the adapter behind a line that may lose a post.
type lossy struct {
	chat.Adapter
	hall *hall
}

func (l lossy) Send(ctx context.Context, p chat.Post) (chat.Receipt, error) {
	if l.hall.lose.CompareAndSwap(true, false) {
		return chat.Receipt{}, chat.ErrLater
	}
	return l.Adapter.Send(ctx, p)
}

// TestBattleHasAThread: on Discord a battle goes on in a thread under the post that
// it began with; at the terminal the same script shows it in its place.
func TestBattleHasAThread(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(chats, "battle-turn.txt"))
	if err != nil {
		t.Fatal(err)
	}
	script, err := chatscript.Read("battle-turn.txt", strings.NewReader(string(b)))
	if err != nil {
		t.Fatal(err)
	}
	h := newHall(t, chats)
	if _, err := chatscript.Run(t.Context(), script, h); err != nil {
		t.Fatal(err)
	}
	channel := strings.TrimPrefix(string(h.Place("#fen")), "discord:")
	threads := h.Server.Threads(channel)
	if len(threads) != 1 {
		t.Fatalf("threads %v", threads)
	}
	thread := h.Server.Channel(threads[0])
	board := h.Server.Messages(threads[0])[0]
	who := discordtest.Who{ID: strings.TrimPrefix(string(h.Person("ann")), "discord:"), Name: "Ann", Guild: discordtest.StageGuild, Channel: threads[0]}
	half := h.Server.Do(who, discordtest.Autocomplete, map[string]any{"id": "1", "name": "unit", "type": 1,
		"options": []any{map[string]any{"name": "name", "type": 3, "value": "cross", "focused": true}}})
	if got := fmt.Sprint(half.Answer(t.Context()).Data["choices"]); !strings.Contains(got, "Crossbows") {
		t.Errorf("in the thread the units of the battle are completed as %s", got)
	}
	if thread.Name != "Drowned Bridge #3" || len(thread.Pins) != 1 || thread.Pins[0] != board.ID || board.Edits == 0 {
		t.Errorf("thread %q with pins %v; its board %q was edited %d times", thread.Name, thread.Pins, board.Content(), board.Edits)
	}
}

// TestServeAnswersWhereItWasAsked: in the whole program, where posts are sent by a
// pump of its own, a roll is the answer to its command, a carried roll to its
// button, and a mistake is told to its maker alone.
func TestServeAnswersWhereItWasAsked(t *testing.T) {
	server := discordtest.Start(t, discordtest.Options{Guilds: []discordtest.Guild{{ID: discordtest.StageGuild, Name: "Osier"}}})
	dir := t.TempDir()
	path := filepath.Join(dir, "drumhead.toml")
	token := filepath.Join(dir, "discord.token")
	config := "name = \"weir.example\"\n[discord]\ntoken-file = \"discord.token\"\nbase = \"" + server.URL + "\"\nfiles = \"" + server.URL + "\"\n"
	for name, text := range map[string]string{path: config, token: discordtest.Token} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	var out, errs shared
	end := make(chan int, 1)
	go func() { end <- Run(ctx, []string{"serve", "--config", path}, strings.NewReader(""), &out, &errs) }()
	defer func() {
		stop()
		if code := <-end; code != good {
			t.Errorf("it ended with %d: %s", code, errs.String())
		}
	}()
	server.Until("the bot is there", func() bool { return server.Lines().Sessions > 0 })
	ann := discordtest.Who{ID: server.ID(), Name: "Ann", Guild: discordtest.StageGuild, Channel: server.ID()}
	answer := func(i *discordtest.Interaction, want, only string) discordtest.Message {
		t.Helper()
		a := i.Answer(t.Context())
		m, _ := i.Message()
		if a.Type != discordtest.AnswerMessage || !strings.Contains(m.Content(), want) || m.Only != only {
			t.Errorf("answered by type %d with %q, seen by %q; want %q", a.Type, m.Content(), m.Only, want)
		}
		return m
	}
	roll := func(dice string) *discordtest.Interaction {
		return server.Do(ann, discordtest.SlashCommand, map[string]any{"id": "1", "name": "roll", "type": 1, "options": []any{map[string]any{"name": "dice", "type": 3, "value": dice}}})
	}
	first := answer(roll("200d6 4+"), "200d6", "")
	answer(server.Tap(ann, first, firstButton(first)), "rolls", "")
	answer(roll("0d6"), "cannot be rolled", ann.ID)
	if all := server.Messages(ann.Channel); len(all) != 4 { // and the seal, which binds and is nobody's answer
		t.Errorf("%d messages", len(all))
	}
}

// firstButton is the id of the first button of a message.
func firstButton(m discordtest.Message) string {
	rows, _ := m.Body["components"].([]any)
	row, _ := rows[0].(map[string]any)
	list, _ := row["components"].([]any)
	button, _ := list[0].(map[string]any)
	id, _ := button["custom_id"].(string)
	return id
}
