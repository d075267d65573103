package main

import (
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"drumhead/storage"
)

// Files of a data directory.
const (
	storeFile   = "drumhead.db"
	keyFile     = "signing.key"
	firstFile   = "first-start" // until there are a store and the key that signs it
	historyFile = "history"
	filesDir    = "files"
)

// defaultName is who signs checkpoints if --name says nothing.
const defaultName = "drumhead.local"

// directory is a data directory: where all lies, and who signs its checkpoints.
type directory struct {
	path string
	name string // fixed when the directory was made
	key  ed25519.PrivateKey
	made bool // the key is new, and counts when it is kept
}

func (d directory) store() string   { return filepath.Join(d.path, storeFile) }
func (d directory) files() string   { return filepath.Join(d.path, filesDir) }
func (d directory) history() string { return filepath.Join(d.path, historyFile) }

// nameForm is what a name may be: one that stands in checkpoints for ever.
var nameForm = regexp.MustCompile(`^[a-zA-Z0-9][a-zA-Z0-9.-]{0,63}$`)

// openDirectory opens a data directory, or makes it with a new key. Name "" is
// the one that it has. A directory made for practice, whose name begins with
// storage.PracticeName, is opened for practice only, and no other is.
func openDirectory(path, name string, practice bool, entropy io.Reader) (directory, error) {
	if name != "" && !nameForm.MatchString(name) {
		return directory{}, fmt.Errorf("--name %q: letters, digits, dots and hyphens expected, as in --name drumhead.example", name)
	}
	if err := os.MkdirAll(path, 0o700); err != nil {
		return directory{}, rights(path, err)
	}
	d := directory{path: path}
	err := d.readKey()
	if err == nil {
		err = d.keptStore()
	}
	if errors.Is(err, fs.ErrNotExist) {
		if name == "" {
			name = defaultName
		}
		if practice && !strings.HasPrefix(name, storage.PracticeName) {
			name = storage.PracticeName + name
		}
		d.name = name
		err = d.makeKey(entropy)
	}
	if err != nil {
		return directory{}, err
	}
	if name != "" && name != d.name && storage.PracticeName+name != d.name {
		return directory{}, fmt.Errorf("data directory %s signs as %s, and a name never changes; leave --name out, or use another --data", path, d.name)
	}
	switch made := strings.HasPrefix(d.name, storage.PracticeName); {
	case made && !practice:
		return directory{}, fmt.Errorf("data directory %s is for practice (it signs as %s); add --practice 00ff, or use another --data", path, d.name)
	case !made && practice:
		return directory{}, fmt.Errorf("data directory %s holds real games (it signs as %s); practice in another --data", path, d.name)
	}
	return d, nil
}

// keptStore refuses a directory whose games are gone while its key is there: a new
// store would begin as if nobody had ever played. A directory that is new has its
// store before the first word is said.
func (d directory) keptStore() error {
	f, err := os.Stat(d.store())
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s is not there, but %s is: the games are gone. Restore the last backup of them; to begin anew, use another --data", d.store(), filepath.Join(d.path, keyFile))
	case err == nil && f.Mode().IsRegular() && f.Size() == 0:
		return fmt.Errorf("%s is empty, but %s is there: the games are gone. Restore the last backup of them; to begin anew, use another --data", d.store(), filepath.Join(d.path, keyFile))
	}
	return nil
}

// sameSigner refuses a key that is not the one by which the games in a store are
// signed: nobody could check their checkpoints any more.
func (d directory) sameSigner(ctx context.Context, s storage.Store) error {
	for h, err := range s.Ledgers(ctx) {
		if err != nil || h.Size == 0 {
			return err
		}
		for e, err := range s.Read(ctx, h.Ledger, 0, 1) {
			if err != nil {
				return err
			}
			if by := signedBy(e.Bytes); by != nil && !by.Equal(d.key.Public()) {
				return fmt.Errorf("%s is another key than the one that signs the games in %s; put the kept copy of that back", filepath.Join(d.path, keyFile), d.store())
			}
		}
		return nil // one key signs them all
	}
	return nil
}

// signedBy is the public key that a ledger's first entry names, nil if it names none:
// behind the last + of its vkey, one byte of algorithm and the key.
func signedBy(first []byte) ed25519.PublicKey {
	var open struct {
		Args struct {
			VKey string `json:"vkey"`
		} `json:"args"`
	}
	if json.Unmarshal(first, &open) != nil {
		return nil
	}
	parts := strings.SplitN(open.Args.VKey, "+", 3)
	b, err := base64.StdEncoding.DecodeString(parts[len(parts)-1])
	if err != nil || len(parts) != 3 || len(b) != 1+ed25519.PublicKeySize {
		return nil
	}
	return b[1:]
}

// The key's file: three lines, so that it can be read and kept by hand.
const keyHead = "drumhead signing key 1"

func (d *directory) readKey() error {
	path := filepath.Join(d.path, keyFile)
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		if _, err := os.Stat(filepath.Join(d.path, firstFile)); err == nil {
			return fs.ErrNotExist // the first start did not end: nobody has played
		}
		if _, err := os.Stat(d.store()); err == nil {
			return fmt.Errorf("%s is missing, but %s is there: put the kept copy of the key back; a new key would sign the same games as somebody else", path, d.store())
		}
		return fs.ErrNotExist
	}
	if err != nil {
		return rights(path, err)
	}
	lines := strings.Split(string(b), "\n")
	broken := fmt.Errorf("%s is damaged: put the kept copy of it back; the games themselves are in %s", path, d.store())
	if len(lines) != 4 || lines[0] != keyHead || lines[3] != "" || !nameForm.MatchString(lines[1]) {
		return broken
	}
	seed, err := base64.StdEncoding.Strict().DecodeString(lines[2])
	if err != nil || len(seed) != ed25519.SeedSize {
		return broken
	}
	d.name, d.key = lines[1], ed25519.NewKeyFromSeed(seed)
	return nil
}

// makeKey makes a key, which counts when keepKey has been called.
func (d *directory) makeKey(entropy io.Reader) error {
	seed := make([]byte, ed25519.SeedSize)
	if _, err := io.ReadFull(entropy, seed); err != nil {
		return err
	}
	d.key, d.made = ed25519.NewKeyFromSeed(seed), true
	f, err := os.OpenFile(filepath.Join(d.path, firstFile), os.O_WRONLY|os.O_CREATE, 0o600)
	if err != nil {
		return rights(d.path, err)
	}
	return f.Close()
}

// keepKey keeps a new key, now that there is a store and it is nobody else's: a
// first start that ends before leaves nothing that has to be cleared away by hand.
func (d *directory) keepKey() error {
	var err error
	if _, there := os.Stat(filepath.Join(d.path, keyFile)); there == nil && d.made {
		err = d.readKey() // another process began here at the same time, and has ended
	} else if d.made {
		err = d.writeKey()
	}
	if err != nil {
		return err
	}
	d.made = false
	if err := os.Remove(filepath.Join(d.path, firstFile)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return rights(d.path, err)
	}
	return nil
}

// writeKey writes the key's file, whole or not at all.
func (d directory) writeKey() error {
	path := filepath.Join(d.path, keyFile)
	f, err := os.OpenFile(path+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return rights(path, err)
	}
	_, err = fmt.Fprintf(f, "%s\n%s\n%s\n", keyHead, d.name, base64.StdEncoding.EncodeToString(d.key.Seed()))
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return rights(path, os.Rename(path+".new", path))
}

// rights names a file that may not be used, and what to do.
func rights(path string, err error) error {
	if errors.Is(err, fs.ErrPermission) {
		return fmt.Errorf("no right to use %s: %w; use another --data, or change the rights", path, err)
	}
	return err
}

// usualDirectory is the data directory if --data says nothing.
func usualDirectory() string {
	if base, err := os.UserConfigDir(); err == nil {
		return filepath.Join(base, "drumhead")
	}
	return "drumhead-data"
}
