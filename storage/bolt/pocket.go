package bolt

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	bbolt "go.etcd.io/bbolt"

	"drumhead/storage"
)

// Pocket is a file of small values by name, of one adapter's own: nothing of a
// game lies in it, and no backup holds it. Other than a store's ledgers, what it
// keeps is overwritten.
type Pocket struct {
	db   *bbolt.DB
	file *os.File
}

// pocketFormat is the format that this program writes and reads.
const pocketFormat = 1

// Limits of a pocket.
const (
	mostPocketKey   = 512     // bytes of a key
	mostPocketValue = 1 << 20 // bytes of a value
)

var (
	pocketRoom   = []byte("pocket")
	pocketAbout  = []byte("about")
	pocketNumber = []byte("format")
)

// OpenPocket opens a pocket's file, or makes it, readable by its owner only.
// Errors are those of Open: ErrInUse, ErrFormat, or a damaged file.
func OpenPocket(path string) (*Pocket, error) {
	db, file, err := openFile(path, Options{MapSize: 64 << 20})
	if err != nil {
		return nil, err
	}
	p := &Pocket{db: db, file: file}
	if err := guarded(func() error { return p.prepare(path) }); err != nil {
		p.release()
		if broken(err) {
			return nil, damaged(path, err)
		}
		return nil, err
	}
	return p, nil
}

// prepare makes the rooms of a new file, or looks whether those of an old one
// can be read.
func (p *Pocket) prepare(path string) error {
	made := false
	err := p.db.Update(func(tx *bbolt.Tx) error {
		if name, _ := tx.Cursor().First(); name != nil {
			return checkPocket(tx, path)
		}
		made = true
		about, err := tx.CreateBucket(pocketAbout)
		if err != nil {
			return err
		}
		if _, err := tx.CreateBucket(pocketRoom); err != nil {
			return err
		}
		return about.Put(pocketNumber, binary.BigEndian.AppendUint32(nil, pocketFormat))
	})
	if err != nil || !made {
		return err
	}
	return syncDirectory(filepath.Dir(path))
}

func checkPocket(tx *bbolt.Tx, path string) error {
	about := tx.Bucket(pocketAbout)
	if about == nil || tx.Bucket(pocketRoom) == nil {
		return damaged(path, errors.New("it is a database of another program"))
	}
	format := about.Get(pocketNumber)
	if len(format) != 4 {
		return damaged(path, errors.New("its format is unreadable"))
	}
	if n := binary.BigEndian.Uint32(format); n > pocketFormat {
		return fmt.Errorf("%w: pocket %s has format %d, this program knows format %d; use the newer program; nothing was changed", storage.ErrFormat, path, n, pocketFormat)
	}
	return nil
}

// Get returns what is kept under a key, nil if nothing is.
func (p *Pocket) Get(key string) (value []byte, err error) {
	err = p.look(func(b *bbolt.Bucket) error {
		if v := b.Get([]byte(key)); v != nil {
			value = append([]byte{}, v...) // bbolt's own is gone with the transaction
		}
		return nil
	})
	return value, err
}

// Scan calls f with every key that begins with prefix, in order.
func (p *Pocket) Scan(prefix string, f func(key string, value []byte) error) error {
	return p.look(func(b *bbolt.Bucket) error {
		c := b.Cursor()
		for k, v := c.Seek([]byte(prefix)); k != nil && bytes.HasPrefix(k, []byte(prefix)); k, v = c.Next() {
			if err := f(string(k), v); err != nil {
				return err
			}
		}
		return nil
	})
}

func (p *Pocket) look(f func(*bbolt.Bucket) error) error {
	return guarded(func() error {
		return p.db.View(func(tx *bbolt.Tx) error { return f(tx.Bucket(pocketRoom)) })
	})
}

// Commit makes changes, all or none; they are durable when it returns nil. A nil
// value deletes.
func (p *Pocket) Commit(ctx context.Context, changes map[string][]byte) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	for key, value := range changes {
		if len(key) == 0 || len(key) > mostPocketKey || len(value) > mostPocketValue {
			return fmt.Errorf("pocket: key %.40q with %d bytes: keys have 1 to %d bytes, values at most %d", key, len(value), mostPocketKey, mostPocketValue)
		}
	}
	if len(changes) == 0 {
		return nil
	}
	return guarded(func() error {
		return p.db.Update(func(tx *bbolt.Tx) error { return carry(tx.Bucket(pocketRoom), changes) })
	})
}

func carry(b *bbolt.Bucket, changes map[string][]byte) error {
	for key, value := range changes {
		var err error
		if value == nil {
			err = b.Delete([]byte(key))
		} else {
			err = b.Put([]byte(key), value)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// Close lets the file go.
func (p *Pocket) Close() error { return p.db.Close() }

// release lets go of a file that cannot be used.
func (p *Pocket) release() {
	if err := guarded(p.db.Close); err != nil {
		letGo(p.file)
	}
}
