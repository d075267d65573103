package discord

import (
	"fmt"
	"os"
	"strconv"
	"strings"
)

// Settings are what the configuration file says of Discord. The token itself
// never stands in it: it is named, and read where it lies.
type Settings struct {
	TokenEnv  string `toml:"token-env"`  // name of the environment variable that holds the token
	TokenFile string `toml:"token-file"` // or the file that holds it
	// Application is the bot's application id. It may be left out; if it stands
	// there, a token of another bot is refused.
	Application string `toml:"application"`
	// Servers are ids of servers to which the commands are given; none: to all,
	// everywhere, which Discord may take a while to show.
	Servers []string `toml:"servers"`
	// Shards is which part of the servers this process hears, "4-7/16"; "" is all.
	Shards string `toml:"shards"`
	Base   string `toml:"base"`  // address of Discord; DefaultBase if ""
	Files  string `toml:"files"` // address of the host of people's files; DefaultFiles if ""
}

// Check says what is wrong with the settings, what was expected, and gives an
// example; nil if nothing is. It reads no secret.
func (s Settings) Check() error {
	if (s.TokenEnv == "") == (s.TokenFile == "") {
		return fmt.Errorf("discord: the token must be named once: token-env or token-file expected, as in token-file = %q", "/etc/drumhead/discord.token")
	}
	for _, id := range append([]string{s.Application}, s.Servers...) {
		if id != "" && created(id).IsZero() {
			return fmt.Errorf("discord: %q is no id of Discord's: a number of about 18 digits expected, as in servers = [%q]", id, "184467440737095516")
		}
	}
	if _, err := parseShards(s.Shards); err != nil {
		return err
	}
	_, err := wire(Config{Base: s.Base, Files: s.Files})
	return err
}

// shards are the parts of the servers that one process hears: first to last of count.
type shards struct{ first, last, count int }

// mostShards bounds what a setting may ask for.
const mostShards = 4096

// parseShards reads "4-7/16" or "4/16"; "" is the only one.
func parseShards(s string) (shards, error) {
	if s == "" {
		return shards{0, 0, 1}, nil
	}
	bad := fmt.Errorf("discord: shards %q: FIRST-LAST/COUNT expected, counted from 0, as in shards = %q", s, "4-7/16")
	which, count, ok := strings.Cut(s, "/")
	if !ok {
		return shards{}, bad
	}
	first, last, several := strings.Cut(which, "-")
	if !several {
		last = first
	}
	var out shards
	for _, n := range []struct {
		text string
		to   *int
	}{{first, &out.first}, {last, &out.last}, {count, &out.count}} {
		v, err := strconv.Atoi(n.text)
		if err != nil || v < 0 || strconv.Itoa(v) != n.text {
			return shards{}, bad
		}
		*n.to = v
	}
	if out.count < 1 || out.count > mostShards || out.first > out.last || out.last >= out.count {
		return shards{}, bad
	}
	return out, nil
}

// all tells whether one process hears everything, direct messages too.
func (s shards) all() bool { return s.first == 0 && s.last == s.count-1 }

// leastToken is shorter than any token of Discord's.
const leastToken = 50

// token reads the token where it lies.
func (s Settings) token() (Token, error) {
	text, from := os.Getenv(s.TokenEnv), "the environment variable "+s.TokenEnv
	if s.TokenFile != "" {
		b, err := os.ReadFile(s.TokenFile)
		if err != nil {
			return "", fmt.Errorf("discord: the token cannot be read: %w", err)
		}
		text, from = string(b), s.TokenFile
	}
	text = strings.TrimPrefix(strings.TrimSpace(text), "Bot ")
	if len(text) < leastToken || strings.ContainsAny(text, " \t\n\r") || strings.Count(text, ".") != 2 {
		return "", fmt.Errorf("discord: %s holds no token: three parts with dots between expected, as the bot's page shows it once", from)
	}
	return Token(text), nil
}
