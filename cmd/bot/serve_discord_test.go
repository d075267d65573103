package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"drumhead/cmd/bot/internal/discord/discordtest"
)

// shared is a buffer that the program writes and the test reads.
type shared struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *shared) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *shared) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// The whole program, as an operator starts it: a roll given as a slash command is
// answered in its channel, and the program ends in order when it is told to. The
// log holds neither the token nor what was said.
func TestServeOnDiscord(t *testing.T) {
	server := discordtest.Start(t, discordtest.Options{Guilds: []discordtest.Guild{{ID: discordtest.StageGuild, Name: "Osier"}}})
	channel := server.ID()
	server.Add(discordtest.Channel{ID: channel, Guild: discordtest.StageGuild, Name: "fen"})
	dir := t.TempDir()
	path := filepath.Join(dir, "drumhead.toml")
	t.Setenv("DRUMHEAD_TEST_TOKEN", discordtest.Token)
	config := "name = \"weir.example\"\nlog = \"debug\"\n[discord]\ntoken-env = \"DRUMHEAD_TEST_TOKEN\"\nbase = \"" + server.URL + "\"\nfiles = \"" + server.URL + "\"\n"
	if err := os.WriteFile(path, []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var out, errs shared
	end := make(chan int, 1)
	go func() { end <- Run(ctx, []string{"serve", "--config", path}, strings.NewReader(""), &out, &errs) }()
	server.Until("the bot is there", func() bool { return server.Lines().Sessions > 0 })
	ann := discordtest.Who{ID: server.ID(), Name: "Ann", Guild: discordtest.StageGuild, Channel: channel}
	server.Do(ann, discordtest.SlashCommand, map[string]any{"id": "1", "name": "roll", "type": 1, "resolved": map[string]any{},
		"options": []any{map[string]any{"name": "dice", "type": 3, "value": "12d6 4+ for lantern oil"}}})
	server.Until("the roll stands in its channel", func() bool {
		for _, m := range server.Messages(channel) {
			if strings.Contains(m.Content(), "lantern oil") {
				return true
			}
		}
		return false
	})
	stop()
	if code := <-end; code != good {
		t.Errorf("it ended with %d: %s", code, errs.String())
	}
	for _, secret := range []string{discordtest.Token, "lantern oil"} {
		if strings.Contains(errs.String()+out.String(), secret) {
			t.Errorf("the log holds %q:\n%s", secret, errs.String())
		}
	}
	for _, name := range []string{storeFile, keyFile, "discord.pocket"} {
		if info, err := os.Stat(filepath.Join(dir, "games", name)); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v", name, err)
		}
	}
	if code, _, errs := start(t, "", "play", "--data", filepath.Join(dir, "games"), "--strict"); code != good {
		t.Errorf("the directory cannot be used afterwards: %s", errs)
	}
}

// Doctor finds nothing wrong where the bot can serve, and names a token that
// Discord does not take, without showing it.
func TestDoctorOnDiscord(t *testing.T) {
	server := discordtest.Start(t, discordtest.Options{Guilds: []discordtest.Guild{{ID: discordtest.StageGuild, Name: "Osier"}}})
	dir := t.TempDir()
	path := filepath.Join(dir, "drumhead.toml")
	write := func(token string) {
		t.Helper()
		config := "[discord]\ntoken-file = \"discord.token\"\nbase = \"" + server.URL + "\"\nfiles = \"" + server.URL + "\"\n"
		for name, text := range map[string]string{path: config, filepath.Join(dir, "discord.token"): token} {
			if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	write(discordtest.Token)
	code, out, errs := start(t, "", "doctor", "--config", path)
	if code != good || !strings.Contains(out, "Next: bot serve --config "+path) || strings.Contains(out, "wrong") {
		t.Errorf("%d %s%s", code, out, errs)
	}
	revoked := strings.Replace(discordtest.Token, "osier", "other", 1)
	write(revoked)
	code, out, errs = start(t, "", "doctor", "--config", path)
	if code != bad || !strings.Contains(out, "wrong  discord: ") || !strings.Contains(out, "token") || strings.Contains(out+errs, revoked) {
		t.Errorf("%d %s%s", code, out, errs)
	}
}

// One of several processes takes its part of the servers, and a data directory of its
// own, from the command line; a part that is none is refused before anything starts.
func TestServePart(t *testing.T) {
	server := discordtest.Start(t, discordtest.Options{Shards: 2})
	dir := t.TempDir()
	path := filepath.Join(dir, "drumhead.toml")
	t.Setenv("DRUMHEAD_TEST_TOKEN", discordtest.Token)
	config := "[discord]\ntoken-env = \"DRUMHEAD_TEST_TOKEN\"\nbase = \"" + server.URL + "\"\nfiles = \"" + server.URL + "\"\n"
	if err := os.WriteFile(path, []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := start(t, "", "serve", "--config", path, "--shards", "2/2"); code != bad || !strings.Contains(errs, "4-7/16") {
		t.Errorf("a part that is none: %d %s", code, errs)
	}
	none := filepath.Join(dir, "none.toml")
	if err := os.WriteFile(none, []byte("log = \"info\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := start(t, "", "serve", "--config", none, "--shards", "0/2"); code == good || !strings.Contains(errs, "[discord]") {
		t.Errorf("no Discord: %d %s", code, errs)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var out, errs shared
	end := make(chan int, 1)
	own := filepath.Join(dir, "games-b")
	go func() {
		end <- Run(ctx, []string{"serve", "--config", path, "--shards", "1/2", "--data", own}, strings.NewReader(""), &out, &errs)
	}()
	server.Until("the bot is there", func() bool { return server.Lines().Sessions > 0 })
	if got := server.Lines().Identifies[0].Shard; len(got) != 2 || got[0] != 1 || got[1] != 2 {
		t.Errorf("it is shard %v", got)
	}
	stop()
	if code := <-end; code != good {
		t.Errorf("it ended with %d: %s", code, errs.String())
	}
	if _, err := os.Stat(filepath.Join(own, storeFile)); err != nil {
		t.Errorf("its own directory: %v", err)
	}
}
