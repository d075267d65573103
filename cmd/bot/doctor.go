package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"drumhead/storage/bolt"
)

// finding is one thing that doctor looked at.
type finding struct {
	what  string // what was looked at
	found string // what was found there
	wrong string // what is wrong, and what to do; "" if all is well
}

// doctor looks for what is wrong with a set-up, changes nothing, and says what
// to do.
func doctor(c *call) error {
	path := c.flags.String("config", "", "the config of bot serve")
	if _, err := c.parse(0); err != nil {
		return err
	}
	if *path == "" {
		return fmt.Errorf("%w: which config? As in bot doctor --config drumhead.toml", errUsage)
	}
	cfg, err := readConfig(*path)
	if err != nil {
		return err
	}
	all := []finding{{what: "config", found: *path}}
	all = append(all, cfg.home()...)
	all = append(all, cfg.abroad(c.ctx)...)
	bad := 0
	for _, f := range all {
		if f.wrong == "" {
			fmt.Fprintf(c.out, "good   %s: %s\n", f.what, f.found)
			continue
		}
		bad++
		fmt.Fprintf(c.out, "wrong  %s: %s\n", f.what, strings.TrimPrefix(f.found+"; "+f.wrong, "; "))
	}
	if bad > 0 {
		fmt.Fprintf(c.out, "%d of %d are wrong.\n", bad, len(all))
		return errSaid
	}
	fmt.Fprintf(c.out, "All %d are good. Next: bot serve --config %s\n", len(all), *path)
	return nil
}

// home looks at what lies on this machine.
func (c config) home() []finding {
	return []finding{c.directory(), c.store(), c.packsRead()}
}

// directory looks at the data directory and its key, and makes neither.
func (c config) directory() finding {
	f := finding{what: "data directory"}
	info, err := os.Stat(c.Data)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		f.found = c.Data + " will be made at the first start"
		return f
	case err != nil:
		f.wrong = err.Error()
		return f
	case !info.IsDir():
		f.wrong = c.Data + " is a file; name a directory as data"
		return f
	}
	d := directory{path: c.Data}
	switch err := d.readKey(); {
	case errors.Is(err, fs.ErrNotExist):
		f.found = c.Data + " is there; a key will be made at the first start"
	case err != nil:
		f.wrong = err.Error()
	case c.Name != "" && c.Name != d.name:
		f.wrong = fmt.Sprintf("%s signs as %s, and a name never changes; leave name out of the config, or use another data", c.Data, d.name)
	default:
		f.found = fmt.Sprintf("%s, signs as %s", c.Data, d.name)
		if info, err := os.Stat(filepath.Join(c.Data, keyFile)); err == nil && info.Mode().Perm()&0o077 != 0 {
			f.wrong = fmt.Sprintf("%s can be read by others; whoever has it can sign in your name: chmod 600 it", filepath.Join(c.Data, keyFile))
		}
	}
	return f
}

// store looks whether the store opens; it is in use while the bot runs.
func (c config) store() finding {
	f := finding{what: "store"}
	path := directory{path: c.Data}.store()
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		f.found = "will be made at the first start"
		return f
	}
	s, err := bolt.Open(path, bolt.Options{ReadOnly: true})
	switch {
	case errors.Is(err, bolt.ErrInUse):
		f.found = "in use: the bot is running, or another process has it"
	case err != nil:
		f.wrong = rights(path, err).Error()
	default:
		f.found = path
		if err := s.Close(); err != nil {
			f.wrong = err.Error()
		}
	}
	return f
}

// packsRead reads the packs of one's own, and tells those that would be left out.
func (c config) packsRead() finding {
	f := finding{what: "packs"}
	var said strings.Builder
	own := directory{path: c.Data}.ownPacks(slog.New(slog.NewTextHandler(&said, nil)))
	if said.Len() > 0 {
		f.wrong = fmt.Sprintf("some are left out; look with bot pack check FILE: %s", strings.TrimSpace(said.String()))
		return f
	}
	f.found = fmt.Sprintf("%d of your own", len(own))
	return f
}

// abroad looks at the platforms.
func (c config) abroad(ctx context.Context) []finding {
	var all []finding
	for _, p := range c.platforms() {
		if p.look == nil {
			continue
		}
		all = append(all, p.look(ctx)...)
	}
	return all
}
