// Package bolt keeps ledgers in one bbolt file. Appends that wait at the same
// time are made durable together, by one goroutine; reading never waits for
// them. A commit whose outcome is not certain ends the store: it answers
// ErrUnknown until the file is opened again.
package bolt

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"time"

	bbolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
	"drumhead/storage/internal/ledgers"
)

// Options are what a store is told. The zero value will do.
type Options struct {
	Now      func() time.Time // the clock; time.Now if nil
	Key      []byte           // seals secrets, 32 bytes; nil leaves them in clear
	OldKeys  [][]byte         // keys that sealed secrets before; at opening all are sealed anew
	Random   io.Reader        // random bytes; those of the system if nil
	ReadOnly bool             // other processes may read at the same time; every append is refused
	MapSize  int              // address space set aside for the file; 0: enough
	print    layout.Print     // for tests: fingerprint of a source
}

// ErrInUse: another process has the file open.
var ErrInUse = errors.New("bolt: the file is in use by another process")

const (
	lockWait = time.Second // how long to wait for another process to let go
	fileMode = 0o600
)

// mapSize is the address space for the file. If the file outgrows it, a writer
// must wait for every reader, so it is large; on Windows it would be the file's
// size, and on 32 bits there is not so much.
func (o Options) mapSize() int {
	switch {
	case o.MapSize != 0:
		return o.MapSize
	case runtime.GOOS == "windows" || strconv.IntSize < 64:
		return 0
	}
	wide := int64(16) << 30
	return int(wide)
}

// Open opens the file, or makes it. Its errors name the file and say what can
// be done: ErrInUse, ErrFormat, or a damaged file.
func Open(path string, o Options) (*Store, error) {
	keeper, err := ledgers.New(ledgers.Options{Now: o.Now, Key: o.Key, OldKeys: o.OldKeys, Random: o.Random, Print: o.print})
	if err != nil {
		return nil, fmt.Errorf("store %s: %w", path, err)
	}
	db, file, err := openFile(path, o)
	if err != nil {
		return nil, err
	}
	s := newStore(db, file, keeper, o.ReadOnly)
	if err := s.prepare(o); err != nil {
		s.release()
		return nil, err
	}
	if !o.ReadOnly {
		go s.commits()
	}
	return s, nil
}

// openFile opens the file as a bbolt file. bbolt reads some pages at once and
// may fault or panic on damaged ones; then it leaves the file open.
func openFile(path string, o Options) (db *bbolt.DB, file *os.File, err error) {
	var under opened
	err = guarded(func() (err error) {
		db, err = bbolt.Open(path, fileMode, &bbolt.Options{
			Timeout: lockWait, FreelistType: bbolt.FreelistMapType, InitialMmapSize: o.mapSize(), ReadOnly: o.ReadOnly, NoStatistics: true,
			OpenFile: under.open,
		})
		return err
	})
	if err == nil {
		return db, under.File, nil
	}
	if broken(err) && under.File != nil {
		letGo(under.File)
	}
	return nil, nil, openError(path, err)
}

// openError says what is wrong with a file that does not open, and what can be done.
func openError(path string, err error) error {
	switch {
	case errors.Is(err, bolterrors.ErrTimeout):
		return fmt.Errorf("%w: %s; end that process, or use another data directory", ErrInUse, path)
	case errors.Is(err, bolterrors.ErrVersionMismatch):
		return newer(path, "of the file itself")
	case broken(err), errors.Is(err, bolterrors.ErrInvalid), errors.Is(err, bolterrors.ErrChecksum):
		return damaged(path, err)
	}
	return fmt.Errorf("store %s does not open: %w", path, err)
}

func newer(path, format string) error {
	return fmt.Errorf("%w: store %s has format %s, this program knows format %d; use the newer program, or restore a backup made by this one; nothing was changed",
		storage.ErrFormat, path, format, layout.Format)
}

func damaged(path string, err error) error {
	return fmt.Errorf("store %s is damaged or no store at all: %w; keep the file as it is, and restore the last backup into another data directory", path, err)
}

// Names in the table Meta.
const (
	metaFormat  = "format"
	metaStore   = "store"
	metaCreated = "created"
	metaClosed  = "closed"
)

// prepare looks whether the file can be served, and makes it ready.
func (s *Store) prepare(o Options) error {
	if err := s.checkLength(); err != nil {
		return err
	}
	made, err := s.checkFormat()
	if err != nil {
		return err
	}
	if o.ReadOnly {
		if !made {
			return fmt.Errorf("store %s is empty; open it for writing once", s.path)
		}
		return nil
	}
	if !made {
		if err := s.create(); err != nil {
			return fmt.Errorf("store %s cannot be made: %w", s.path, errors.Join(err, s.leaveDoubt(err)))
		}
	}
	if err := s.settleDoubt(); err != nil {
		return err
	}
	if len(o.OldKeys) == 0 {
		return nil
	}
	if err := s.alter(func(tx *bbolt.Tx) (bool, error) { return true, s.Reseal(over(tx)) }); err != nil {
		return fmt.Errorf("store %s: secrets could not be sealed with the new key: %w", s.path, err)
	}
	return nil
}

// checkLength compares the file's length with the pages it claims to have:
// touching a page beyond the end would kill the process.
func (s *Store) checkLength() error {
	info, err := os.Stat(s.path)
	if err != nil {
		return fmt.Errorf("store %s: %w", s.path, err)
	}
	return s.db.View(func(tx *bbolt.Tx) error {
		if info.Size() < tx.Size() {
			return damaged(s.path, fmt.Errorf("it has %d bytes of %d", info.Size(), tx.Size()))
		}
		return nil
	})
}

// checkFormat reads the store's format; made is false for a file without any table.
func (s *Store) checkFormat() (made bool, err error) {
	err = s.look(func(tx *bbolt.Tx) error {
		if name, _ := tx.Cursor().First(); name == nil {
			return nil
		}
		made = true
		key := []byte(metaFormat)
		meta := tx.Bucket([]byte{byte(layout.Meta)})
		if meta == nil || meta.Get(key) == nil {
			return damaged(s.path, errors.New("it is a database of another program"))
		}
		value, err := layout.DecodeMeta(key, meta.Get(key))
		if errors.Is(err, storage.ErrFormat) {
			return newer(s.path, "of records unknown here")
		}
		if err != nil || len(value) != 4 {
			return damaged(s.path, fmt.Errorf("its format is unreadable: %v", err))
		}
		if format := binary.BigEndian.Uint32(value); format > layout.Format {
			return newer(s.path, strconv.Itoa(int(format)))
		}
		return nil
	})
	return made, err
}

// create makes the tables of a new store.
func (s *Store) create() error {
	id := make([]byte, 16)
	if err := s.Fill(id); err != nil {
		return err
	}
	err := s.alter(func(tx *bbolt.Tx) (bool, error) {
		for _, t := range layout.Tables() {
			if _, err := tx.CreateBucket([]byte{byte(t)}); err != nil {
				return false, err
			}
		}
		t := over(tx)
		putMeta(t, metaFormat, binary.BigEndian.AppendUint32(nil, layout.Format))
		putMeta(t, metaStore, id)
		putMeta(t, metaCreated, s.moment())
		return true, nil
	})
	if err != nil {
		return err
	}
	return syncDirectory(filepath.Dir(s.path))
}

func (s *Store) moment() []byte { return []byte(s.Now().UTC().Format(time.RFC3339)) }

func putMeta(tx ledgers.Tx, name string, value []byte) {
	key := []byte(name)
	tx.Put(layout.Meta, key, layout.EncodeMeta(key, value))
}

// Facts are what a store knows of itself.
type Facts struct {
	ID      string // 32 hex digits, random, another one after every restore
	Created string // RFC 3339
	Closed  string // when it was last closed in order, "" if never
}

// Facts reads them.
func (s *Store) Facts(context.Context) (f Facts, err error) {
	err = s.View(func(tx ledgers.Tx) error {
		for name, into := range map[string]*string{metaStore: &f.ID, metaCreated: &f.Created, metaClosed: &f.Closed} {
			key := []byte(name)
			rec := tx.Get(layout.Meta, key)
			if rec == nil {
				continue
			}
			value, err := layout.DecodeMeta(key, rec)
			if err != nil {
				return layout.Damage(storage.LedgerID{}, 0, "the store's "+name, err)
			}
			*into = string(value)
		}
		return nil
	})
	f.ID = hex.EncodeToString([]byte(f.ID))
	return f, err
}

// syncDirectory makes a new, renamed or removed file's name durable. Windows
// cannot, and needs it not.
func syncDirectory(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
