package bolt

import (
	"errors"
	"fmt"
	"os"
	"runtime/debug"

	bbolt "go.etcd.io/bbolt"
)

// errBroken is what is left of a panic: bbolt panics, or follows a page number
// out of the file, where a page is damaged.
type errBroken struct{ cause any }

func (e errBroken) Error() string {
	return fmt.Sprintf("what should be its pages cannot be read (%v)", e.cause)
}

// guarded runs f and turns a panic, or a fault on a mapped page, into errBroken.
func guarded(f func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if p := recover(); p != nil {
			err = errBroken{p}
		}
	}()
	return f()
}

// alter runs one bbolt transaction for writing. It commits if f says so. Unlike
// bbolt's own Update it gives errBroken on a damaged file.
func (s *Store) alter(f func(*bbolt.Tx) (commit bool, err error)) error {
	return guarded(func() error {
		tx, err := s.begin()
		if err != nil {
			return err
		}
		defer s.end(tx) // after a commit it does nothing
		if commit, err := f(tx); err != nil || !commit {
			return err
		}
		return tx.Commit()
	})
}

// begin begins a transaction for writing. If bbolt panics already here, no
// transaction is left that could give its lock for writers back.
func (s *Store) begin() (tx *bbolt.Tx, err error) {
	err = guarded(func() (err error) {
		tx, err = s.db.Begin(true)
		return err
	})
	if broken(err) {
		s.stuck.Store(true)
	}
	return tx, err
}

// end rolls a transaction back. With a damaged list of free pages even that may
// panic; then bbolt has its lock for writers for ever, and the store is stuck.
func (s *Store) end(tx *bbolt.Tx) {
	if err := guarded(tx.Rollback); err != nil && tx.DB() != nil {
		s.stuck.Store(true)
	}
}

// release lets go of the file. bbolt cannot close a file whose lock for writers
// is lost, so then only the file itself is closed, for the next to open it.
func (s *Store) release() error {
	if s.stuck.Load() {
		return letGo(s.file)
	}
	return guarded(s.db.Close)
}

// opened is the file under a bbolt database, which bbolt itself keeps private.
type opened struct{ *os.File }

// open is what bbolt opens its file with.
func (o *opened) open(path string, flag int, mode os.FileMode) (*os.File, error) {
	f, err := os.OpenFile(path, flag, mode)
	if err == nil && o.File == nil {
		o.File = f
	}
	return f, err
}

// broken tells whether an error says that the file is damaged.
func broken(err error) bool {
	var b errBroken
	return errors.As(err, &b)
}
