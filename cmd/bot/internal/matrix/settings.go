package matrix

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"

	"drumhead/commands/chat"
)

// Name begins the ids of this adapter's persons and places.
const Name = "matrix"

// Usual settings.
const (
	DefaultPrefix    = "!"
	DefaultPickleEnv = "DRUMHEAD_MATRIX_KEY"
	DefaultPerMinute = 20
	leastPickleKey   = 16 // characters
)

// Settings is what an operator says about the bot's account.
type Settings struct {
	Homeserver string `toml:"homeserver"`      // address of the homeserver: https://matrix.osier.example
	User       string `toml:"user"`            // the bot's account: @drumhead:osier.example
	PickleEnv  string `toml:"pickle-key-env"`  // environment variable with the key of the encryption keys; DefaultPickleEnv if ""
	PickleFile string `toml:"pickle-key-file"` // or a file that has it
	Prefix     string `toml:"prefix"`          // what a command begins with; DefaultPrefix if ""
	PerMinute  int    `toml:"per-minute"`      // how often one person may ask for something; DefaultPerMinute if 0

	// Who may invite the bot: anybody of a server, into a room, or one person.
	// If nothing is named, people of the bot's own server may.
	Servers []string `toml:"servers"`
	Rooms   []string `toml:"rooms"`
	People  []string `toml:"people"`
}

// Parts is what the adapter is given. Pocket must be there.
type Parts struct {
	Pocket chat.Pocket
	Make   chat.Maker                           // makes pictures and files; nil: they are only named
	Say    func(id string, slots ...any) string // a sentence of the catalogue
	// OnPost is the command that a label means on the post of an entry, as in a reply
	// "Explain" to a roll; nil: none.
	OnPost    func(label, entry string) (string, bool)
	Settle    func(ctx context.Context) error // sends what waits in the store; nil: nothing does
	Log       *slog.Logger
	Now       func() time.Time  // the house's clock; the network is waited for by the real one
	Transport http.RoundTripper // nil for the usual one
}

func (p Parts) filled() (Parts, error) {
	if p.Pocket == nil {
		return p, errors.New("matrix: no pocket to keep keys in")
	}
	if p.Say == nil {
		p.Say = func(id string, _ ...any) string { return id }
	}
	if p.Log == nil {
		p.Log = slog.New(slog.DiscardHandler)
	}
	if p.Now == nil {
		p.Now = time.Now
	}
	if p.Transport == nil {
		p.Transport = http.DefaultTransport
	}
	return p, nil
}

var (
	userForm   = regexp.MustCompile(`^@[^:\s]{1,200}:[^\s/]{1,200}$`)
	roomForm   = regexp.MustCompile(`^![^\s]{1,254}$`)
	serverForm = regexp.MustCompile(`^[A-Za-z0-9.\-\[\]:]{1,230}$`)
	prefixForm = regexp.MustCompile(`^[^\s\pL\pN/@#<>]{1,3}$`)
)

// Check tells what is wrong with the settings, nil if nothing is.
func (s Settings) Check() error {
	at, err := url.Parse(s.Homeserver)
	if err != nil || at.Host == "" || at.Scheme != "https" && at.Scheme != "http" || at.RawQuery != "" || at.User != nil {
		return fmt.Errorf("matrix: homeserver %q: expected an address, as in homeserver = \"https://matrix.osier.example\"", s.Homeserver)
	}
	if at.Scheme == "http" && !slices.Contains([]string{"127.0.0.1", "::1", "localhost"}, at.Hostname()) {
		return fmt.Errorf("matrix: homeserver %q: the bot's token would go unencrypted over the net; expected https, as in homeserver = \"https://%s\"", s.Homeserver, at.Host)
	}
	if !userForm.MatchString(s.User) {
		return fmt.Errorf("matrix: user %q: expected the bot's whole id, as in user = \"@drumhead:osier.example\"", s.User)
	}
	if s.Prefix != "" && !prefixForm.MatchString(s.Prefix) {
		return fmt.Errorf("matrix: prefix %q: expected one to three signs that are neither letters, figures, spaces nor one of / @ # < >, as in prefix = \"!\"", s.Prefix)
	}
	if s.PerMinute < 0 {
		return fmt.Errorf("matrix: per-minute %d: expected how often one person may ask for something, as in per-minute = %d", s.PerMinute, DefaultPerMinute)
	}
	for _, l := range []struct {
		key, example string
		list         []string
		form         *regexp.Regexp
	}{
		{"servers", "osier.example", s.Servers, serverForm}, {"rooms", "!mill:osier.example", s.Rooms, roomForm}, {"people", "@ann:osier.example", s.People, userForm},
	} {
		for _, one := range l.list {
			if !l.form.MatchString(one) {
				return fmt.Errorf("matrix: %s has %q; expected one like %s = [%q]", l.key, one, l.key, l.example)
			}
		}
	}
	return nil
}

// server is the part of a Matrix id behind the first colon.
func server(user string) string {
	_, s, _ := strings.Cut(user, ":")
	return s
}

// admits tells whether somebody may invite the bot into a room.
func (s Settings) admits(room, inviter string) bool {
	if len(s.Servers)+len(s.Rooms)+len(s.People) == 0 {
		return server(inviter) == server(s.User)
	}
	return slices.Contains(s.Rooms, room) || slices.Contains(s.People, inviter) || slices.Contains(s.Servers, server(inviter))
}

func (s Settings) prefix() string {
	if s.Prefix == "" {
		return DefaultPrefix
	}
	return s.Prefix
}

func (s Settings) perMinute() int {
	if s.PerMinute == 0 {
		return DefaultPerMinute
	}
	return s.PerMinute
}

// pickleKey is the key that the encryption keys lie under in the pocket.
func (s Settings) pickleKey() ([]byte, error) {
	if s.PickleFile != "" {
		b, err := os.ReadFile(s.PickleFile)
		if err != nil {
			return nil, fmt.Errorf("matrix: pickle-key-file cannot be read: %w", err)
		}
		return longEnough(strings.TrimSpace(string(b)), "the file "+s.PickleFile)
	}
	name := s.PickleEnv
	if name == "" {
		name = DefaultPickleEnv
	}
	return longEnough(os.Getenv(name), "the environment variable "+name)
}

func longEnough(key, where string) ([]byte, error) {
	if len(key) < leastPickleKey {
		return nil, fmt.Errorf("matrix: %s should hold the key that the bot's encryption keys are kept under, at least %d characters, always the same; make one with: openssl rand -hex 32", where, leastPickleKey)
	}
	return []byte(key), nil
}

// Errors of the adapter.
var (
	ErrAbsent   = errors.New("built without Matrix: build with -tags goolm, as in go build -tags goolm ./cmd/bot")
	ErrNoLogin  = errors.New("matrix: the bot has not logged in yet; run bot matrix login")
	ErrLoggedIn = errors.New("matrix: the bot is logged in already; run bot matrix logout first, or serve with it")
	ErrSignedUp = errors.New("matrix: the account has signing keys already; use bot matrix login --recover with its recovery key, so that nobody's trust is lost")
	ErrHalfway  = errors.New("matrix: the login broke off before the bot's keys were signed; run bot matrix login again")
	ErrToken    = errors.New("matrix: the homeserver does not know the bot's login any more; the device is gone: run bot matrix login --recover with the recovery key")
)

// Finding is one thing that Doctor looked at.
type Finding struct {
	What string // "homeserver", "login", …
	Good bool
	Says string // what was found, and what to do if it is not good
}
