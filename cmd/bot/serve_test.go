package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"drumhead/commands/chat"
)

// guest is an adapter whose only visitor says what the test wants, and that
// notes what it is given to send.
type guest struct {
	name string
	says []string
	lost error // ends Run once all is said

	mu   sync.Mutex
	sent []string
	more chan struct{}
}

func newGuest(name string, says ...string) *guest {
	return &guest{name: name, says: says, more: make(chan struct{}, 100)}
}

func (g *guest) Limits() chat.Limits {
	return chat.Limits{Characters: 2000, Choices: 5, FileBytes: 1 << 20}
}

func (g *guest) Run(ctx context.Context, d chat.Desk) error {
	for i, text := range g.says {
		_, err := d.Handle(ctx, chat.Message{Source: chat.Source(fmt.Sprint(g.name, " ", i, " ", text)), Community: chat.Community(g.name), Place: chat.Place(g.name + ":#fen"),
			Person: chat.Person(g.name + ":ann"), Name: "Ann", Text: text, Time: time.Now()})
		if err != nil {
			return err
		}
	}
	if g.lost != nil {
		return g.lost
	}
	<-ctx.Done()
	return nil
}

func (g *guest) Send(_ context.Context, p chat.Post) (chat.Receipt, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.sent = append(g.sent, string(p.ID))
	g.more <- struct{}{}
	return chat.Receipt{Ref: string(p.ID)}, nil
}

// until waits until so many posts were sent.
func (g *guest) until(t *testing.T, n int) {
	t.Helper()
	for range n {
		select {
		case <-g.more:
		case <-time.After(30 * time.Second):
			t.Fatalf("%s was given %v, expected %d posts", g.name, g.sent, n)
		}
	}
}

// served runs a house with guests until f returns, and gives what serve said.
func served(t *testing.T, dir string, f func(), guests ...*guest) error {
	t.Helper()
	h, err := openHouse(t.Context(), plan{data: dir, log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	defer h.close()
	for _, g := range guests {
		h.adapters[g.name] = g
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	end := make(chan error, 1)
	go func() { end <- h.serve(ctx) }()
	f()
	stop()
	return <-end
}

// Two platforms in one process: what is said on one is answered there, and what
// was not sent when the program stopped is sent when it starts again.
func TestServe(t *testing.T) {
	dir := t.TempDir()
	weir, delta := newGuest("weir", "/roll 2d6", "/roll 3d6"), newGuest("delta", "/roll 4d6")
	if err := served(t, dir, func() { weir.until(t, 3); delta.until(t, 2) }, weir, delta); err != nil {
		t.Fatal(err)
	}
	first := newGuest("weir", "/roll 5d6")
	if err := served(t, dir, func() { first.until(t, 1) }, first); err != nil {
		t.Fatal(err)
	}
	away := newGuest("delta", "/roll 6d6")
	away.says = nil
	other := newGuest("weir")
	h, err := openHouse(t.Context(), plan{data: dir, log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.desk.Handle(t.Context(), chat.Message{Source: "late", Community: "delta", Place: "delta:#fen", Person: "delta:ann", Name: "Ann", Text: "/roll 6d6", Time: time.Now()}); err != nil {
		t.Fatal(err)
	}
	if err := h.close(); err != nil {
		t.Fatal(err)
	}
	if err := served(t, dir, func() { away.until(t, 1) }, away, other); err != nil {
		t.Fatal(err)
	}
	if len(away.sent) != 1 || len(other.sent) != 0 {
		t.Errorf("after the start delta was given %v, weir %v", away.sent, other.sent)
	}
}

// A platform that is lost for good leaves the others running; when none is left
// the program ends, and says why.
func TestServeWithPlatformsLost(t *testing.T) {
	gone := errors.New("the token was taken back")
	lost, stays := newGuest("weir"), newGuest("delta", "/roll 2d6")
	lost.lost = gone
	if err := served(t, t.TempDir(), func() { stays.until(t, 2) }, lost, stays); !errors.Is(err, gone) {
		t.Errorf("at the end it said %v", err)
	}
	h, err := openHouse(t.Context(), plan{data: t.TempDir(), log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	defer h.close()
	alone := newGuest("weir")
	alone.lost = gone
	h.adapters["weir"] = alone
	if err := h.serve(t.Context()); !errors.Is(err, gone) {
		t.Errorf("with nobody left it said %v", err)
	}
}

func TestConfigsThatAreRefused(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "drumhead.toml")
	const discord = "[discord]\ntoken-file = \"discord.token\"\n"
	for text, want := range map[string]string{
		"":                             "names no chat platform",
		"data = 3\n":                   "line 1",
		"datum = \"x\"\n" + discord:    "there is no setting datum",
		discord + "colour = \"red\"\n": "there is no setting discord.colour",
		"[discord]\ntoken = \"abc\"\n": "a secret does not stand in the config",
		"[discord]\n":                  "the token must be named once",
		"log = \"loud\"\n" + discord:   "debug, info, warn or error expected",
		"beacon = [\"relay.example\"]\n" + discord:   "as in https://relay.example",
		"name = \"a+b\"\n" + discord:                 "letters, digits, dots and hyphens expected",
		discord:                                      "discord.token",
		"[matrix]\n":                                 "homeserver = \"https://matrix.osier.example\"",
		"[matrix]\npickle-key = \"abc\"\n":           "a secret does not stand in the config",
		"[discord\n":                                 "line 1, column",
		strings.Repeat("# silt\n", 10_000) + discord: "a config has at most",
	} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		code, _, errs := start(t, "", "serve", "--config", path)
		if code != bad || !strings.Contains(errs, want) {
			t.Errorf("%.60q: %d %s, want %q", text, code, errs, want)
		}
		if strings.Contains(errs, "abc") {
			t.Errorf("a secret was shown: %s", errs)
		}
	}
	if code, _, errs := start(t, "", "serve", "--config", filepath.Join(dir, "none.toml")); code != bad || !strings.Contains(errs, "none.toml") {
		t.Errorf("%d %s", code, errs)
	}
}

// The example that errors and the guide show is a config.
func TestExampleConfig(t *testing.T) {
	path := filepath.Join(t.TempDir(), "drumhead.toml")
	if err := os.WriteFile(path, []byte(exampleConfig), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := readConfig(path)
	if err != nil {
		t.Fatal(err)
	}
	if c.Data != filepath.Join(filepath.Dir(path), "games") || c.Discord.TokenFile != filepath.Join(filepath.Dir(path), "discord.token") {
		t.Errorf("paths are not taken from the file's own directory: %+v, %+v", c, c.Discord)
	}
	guide, err := os.ReadFile(filepath.Join("..", "..", "docs", "serve.md"))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.SplitSeq(exampleConfig, "\n") {
		if !strings.Contains(string(guide), line) {
			t.Errorf("docs/serve.md does not show %q", line)
		}
	}
}
