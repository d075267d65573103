package discord

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

// stageSpecs are commands for a desk that knows none.
var stageSpecs = []args.Spec{
	{Name: "roll", Help: "roll", Params: []args.Param{{Name: "dice", Kind: args.Sentence, Help: "dice"}}},
	{Name: "order", Help: "order", OnText: "Use as orders", Params: []args.Param{{Name: "lines", Kind: args.Sheet, Optional: true, Help: "orders"}}},
	{Name: "force add", Help: "force", Files: true, Mode: args.Direct, Params: []args.Param{{Name: "list", Kind: args.Force, Help: "list"}}},
	{Name: "battle open", Help: "open", Stays: true, Params: []args.Param{{Name: "opponent", Kind: args.Person, Optional: true, Help: "whom"}, {Name: "terms", Optional: true, Help: "terms"}}},
	{Name: "explain", Help: "explain", OnPost: "Explain", Mode: args.Private, Params: []args.Param{{Name: "entry", Kind: args.Entry, Optional: true, Help: "entry"}}},
	{Name: "unit", Help: "unit", Mode: args.Private, Params: []args.Param{{Name: "name", Kind: args.Unit, Help: "unit"}}},
	{Name: "help", Help: "help", Mode: args.Private, Params: []args.Param{{Name: "word", Optional: true, Help: "word"}}},
}

// sayID is a catalogue for tests: the id and what fills its slots.
func sayID(id string, slots ...any) string {
	var b strings.Builder
	b.WriteString(id)
	for i := 1; i < len(slots); i += 2 {
		if s, ok := slots[i].(string); ok && s != "" {
			b.WriteString(" " + s)
		}
	}
	return b.String()
}

// buffer is a log that many write.
type buffer struct {
	mu sync.Mutex
	b  strings.Builder
}

func (b *buffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *buffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

// player is the adapter on a stage.
type player struct {
	*discordtest.Stage
	bot    *Adapter
	pocket *chattest.Pocket
	desk   chat.Desk
	log    *buffer
	end    chan error
	stop   context.CancelFunc
}

// Adapter is the one under test.
func (p *player) Adapter() chat.Adapter { return p.Stage.Carrier(p.bot) }

// settingsFor are those of a test's server, with the token in a file.
func settingsFor(t testing.TB, s *discordtest.Server) Settings {
	t.Helper()
	path := filepath.Join(t.TempDir(), "discord.token")
	if err := os.WriteFile(path, []byte(discordtest.Token+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return Settings{TokenFile: path, Base: s.URL, Files: s.URL}
}

// play starts the adapter before people; it ends with the test.
func play(t testing.TB, o discordtest.Options, d chat.Desk, with ...func(*Settings, *Parts)) *player {
	t.Helper()
	o.Guilds = append(o.Guilds, discordtest.Guild{ID: discordtest.StageGuild, Name: "Fen"})
	s := discordtest.Start(t, o)
	p := &player{Stage: discordtest.NewStage(t, s, stageSpecs), pocket: chattest.NewPocket(), desk: d, log: &buffer{}}
	p.start(t, with...)
	t.Cleanup(func() {
		p.stop()
		<-p.end
		if strings.Contains(p.log.String(), discordtest.Token) || strings.Contains(p.log.String(), "interaction-secret") {
			t.Error("a secret stands in the log")
		}
		if t.Failed() {
			t.Log(p.log.String())
		}
	})
	return p
}

// start starts the adapter on the pocket that there is.
func (p *player) start(t testing.TB, with ...func(*Settings, *Parts)) {
	t.Helper()
	set := settingsFor(t, p.Server)
	parts := Parts{Pocket: p.pocket, Specs: stageSpecs, Say: sayID, Now: p.Server.Now, Log: logTo(p.log),
		Settle: p.Settle(func(context.Context) error { return nil })}
	for _, f := range with {
		f(&set, &parts)
	}
	var err error
	if p.bot, err = New(set, parts); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	p.stop, p.end = cancel, make(chan error, 1)
	sessions := len(p.Server.Lines().Identifies)
	go func() { p.end <- p.bot.Run(ctx, p.Stage.Desk(p.desk)) }()
	p.Server.Until("the bot is there", func() bool {
		l := p.Server.Lines()
		return len(l.Identifies) > sessions && l.Sessions > 0
	})
}

func TestConformance(t *testing.T) {
	chattest.Conform(t, "weir.toml", func(t *testing.T, d chat.Desk) chattest.Stage {
		t.Parallel()
		p := play(t, discordtest.Options{}, d)
		p.Open = func(name string) ([]byte, error) {
			if name != "weir.toml" {
				return nil, os.ErrNotExist
			}
			return []byte(chattest.File), nil
		}
		return p
	})
}

// Settings that are wrong say what was expected; those that are right pass.
func TestSettings(t *testing.T) {
	file := Settings{TokenFile: "x"}
	for what, c := range map[string]struct {
		change func(*Settings)
		want   string
	}{
		"right":            {func(*Settings) {}, ""},
		"shards":           {func(s *Settings) { s.Shards = "4-7/16" }, ""},
		"one shard":        {func(s *Settings) { s.Shards = "3/4" }, ""},
		"a server":         {func(s *Settings) { s.Servers = []string{"184467440737095516"} }, ""},
		"no token":         {func(s *Settings) { s.TokenFile = "" }, "token-file = "},
		"two tokens":       {func(s *Settings) { s.TokenEnv = "TOKEN" }, "token-file = "},
		"no id":            {func(s *Settings) { s.Servers = []string{"Fen"} }, "Fen"},
		"no application":   {func(s *Settings) { s.Application = "drumhead" }, "drumhead"},
		"shards too high":  {func(s *Settings) { s.Shards = "4-16/16" }, "4-7/16"},
		"shards backwards": {func(s *Settings) { s.Shards = "7-4/16" }, "4-7/16"},
		"shards in words":  {func(s *Settings) { s.Shards = "all" }, "4-7/16"},
		"shards spelled":   {func(s *Settings) { s.Shards = "04/16" }, "4-7/16"},
		"no address":       {func(s *Settings) { s.Base = "discord" }, "https://discord.com"},
	} {
		s := file
		c.change(&s)
		err := s.Check()
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", what, err, c.want)
		}
	}
	for _, text := range []string{"", "abc", "a b.c.d" + strings.Repeat("x", 60), strings.Repeat("x", 70)} {
		t.Setenv("OSIER_TOKEN", text)
		if _, err := (Settings{TokenEnv: "OSIER_TOKEN"}).token(); err == nil || text != "" && strings.Contains(err.Error(), text) {
			t.Errorf("%q: %v", text, err)
		}
	}
	t.Setenv("OSIER_TOKEN", "Bot "+discordtest.Token)
	if got, err := (Settings{TokenEnv: "OSIER_TOKEN"}).token(); err != nil || string(got) != discordtest.Token {
		t.Errorf("%v", err)
	}
}

// A second process with the same token and shard refuses to start; one with
// another shard starts, and when the first has gone the second may.
func TestOneProcessAShard(t *testing.T) {
	base := "test://" + t.Name() + time.Now().String()
	first, err := lock(base, "token", shards{0, 1, 4})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := lock(base, "token", shards{1, 2, 4}); err == nil || !strings.Contains(err.Error(), "another process") {
		t.Errorf("twice: %v", err)
	}
	other, err := lock(base, "token", shards{2, 3, 4})
	if err != nil {
		t.Errorf("shard 2 was not given back: %v", err)
	} else {
		other()
	}
	first()
	again, err := lock(base, "token", shards{0, 1, 4})
	if err != nil {
		t.Fatal(err)
	}
	again()
}

func logTo(b *buffer) *slog.Logger { return slog.New(slog.NewTextHandler(b, nil)) }
