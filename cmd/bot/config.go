package main

import (
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	toml "github.com/pelletier/go-toml/v2"

	"drumhead/cmd/bot/internal/discord"
	"drumhead/cmd/bot/internal/matrix"
	"drumhead/commands/beacon"
)

// config is the file of bot serve. Secrets never stand in it: it names the
// environment variable or the file that holds them.
type config struct {
	Data    string            `toml:"data"`   // data directory, from where the file lies
	Name    string            `toml:"name"`   // who signs checkpoints
	Beacon  []string          `toml:"beacon"` // relays of the public beacon; none: dice are not cut by it
	Log     string            `toml:"log"`    // least level: debug, info, warn or error
	Discord *discord.Settings `toml:"discord"`
	Matrix  *matrix.Settings  `toml:"matrix"`
}

// exampleConfig is what an error shows.
const exampleConfig = `data = "games"
name = "drumhead.example"

[discord]
token-file = "discord.token"`

// mostConfig is how many bytes a config has at most.
const mostConfig = 64 << 10

// readConfig reads the file and checks all that can be checked without a network.
func readConfig(path string) (config, error) {
	var c config
	text, err := os.ReadFile(path)
	if err != nil {
		return c, fmt.Errorf("the config cannot be read: %w", err)
	}
	if len(text) > mostConfig {
		return c, fmt.Errorf("%s has %d bytes; a config has at most %d", path, len(text), mostConfig)
	}
	d := toml.NewDecoder(strings.NewReader(string(text))).DisallowUnknownFields()
	if err := d.Decode(&c); err != nil {
		return c, fmt.Errorf("%s, %w", path, configFault(err))
	}
	c.at(filepath.Dir(path))
	return c, c.check(path)
}

// configFault says what is wrong with the TOML, and where.
func configFault(err error) error {
	var missing *toml.StrictMissingError
	var broken *toml.DecodeError
	switch {
	case errors.As(err, &missing) && len(missing.Errors) > 0:
		one := missing.Errors[0]
		line, _ := one.Position()
		key := strings.Join(one.Key(), ".")
		if last := strings.ToLower(key[strings.LastIndex(key, ".")+1:]); last == "token" || last == "password" || last == "pickle-key" || last == "recovery-key" {
			return fmt.Errorf("line %d: %s: a secret does not stand in the config; name the environment variable or the file that holds it, as in token-file = \"discord.token\"", line, key)
		}
		return fmt.Errorf("line %d: there is no setting %s; an example of a whole config:\n%s", line, key, exampleConfig)
	case errors.As(err, &broken):
		line, column := broken.Position()
		return fmt.Errorf("line %d, column %d: %s; an example of a whole config:\n%s", line, column, strings.TrimPrefix(broken.Error(), "toml: "), exampleConfig)
	}
	return err
}

// at takes paths from the directory in which the config lies.
func (c *config) at(dir string) {
	if c.Data == "" {
		c.Data = "games"
	}
	files := []*string{&c.Data}
	if c.Discord != nil {
		files = append(files, &c.Discord.TokenFile)
	}
	if c.Matrix != nil {
		files = append(files, &c.Matrix.PickleFile)
	}
	for _, f := range files {
		if *f != "" && !filepath.IsAbs(*f) {
			*f = filepath.Join(dir, *f)
		}
	}
}

func (c config) check(path string) error {
	if c.Discord == nil && c.Matrix == nil {
		return fmt.Errorf("%s names no chat platform; an example of a whole config:\n%s", path, exampleConfig)
	}
	if _, err := c.level(); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if len(c.Beacon) > 0 {
		if _, err := beacon.ParseRelays(strings.Join(c.Beacon, ",")); err != nil {
			return fmt.Errorf("%s: beacon: %w", path, err)
		}
	}
	if c.Discord != nil {
		if err := c.Discord.Check(); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
	}
	if c.Matrix != nil {
		if err := c.Matrix.Check(); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
	}
	return nil
}

func (c config) level() (slog.Level, error) {
	if c.Log == "" {
		return slog.LevelInfo, nil
	}
	var l slog.Level
	if err := l.UnmarshalText([]byte(c.Log)); err != nil {
		return l, fmt.Errorf("log %q: debug, info, warn or error expected, as in log = \"info\"", c.Log)
	}
	return l, nil
}

// relays are the beacon's, cleaned.
func (c config) relays() []string {
	if len(c.Beacon) == 0 {
		return nil
	}
	relays, err := beacon.ParseRelays(strings.Join(c.Beacon, ","))
	if err != nil {
		return nil // check has said so
	}
	return relays
}
