package bolt

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"

	bbolt "go.etcd.io/bbolt"
)

// After a failed sync the system may show bytes that the disk does not have.
// A file beside the store remembers that, so that the next opening writes every
// page once more before anybody relies on it.

// doubtPath is that file.
func (s *Store) doubtPath() string { return s.path + ".doubt" }

// newest is the number of the newest transaction that the file shows.
func (s *Store) newest() (id int) {
	err := s.look(func(tx *bbolt.Tx) error {
		id = tx.ID()
		return nil
	})
	if err != nil {
		return math.MaxInt
	}
	return id
}

// leaveDoubt makes the file. It is tried once: if the disk takes nothing at
// all any more, the error names it, and the next opening goes without.
func (s *Store) leaveDoubt(why error) error {
	f, err := os.OpenFile(s.doubtPath(), os.O_CREATE|os.O_WRONLY|os.O_TRUNC, fileMode)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(f, "%v\n", why)
	return errors.Join(err, f.Sync(), f.Close(), syncDirectory(filepath.Dir(s.path)))
}

// settleDoubt, if the last store ended in doubt, writes the file again as it
// reads, checks every record, and removes the reminder.
func (s *Store) settleDoubt() error {
	if _, err := os.Stat(s.doubtPath()); errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err := s.rewrite(); err != nil {
		return fmt.Errorf("store %s was left in doubt by a failed disk and cannot be written again: %w", s.path, err)
	}
	for fault := range s.Check(context.Background()) {
		return damaged(s.path, fault)
	}
	if err := errors.Join(os.Remove(s.doubtPath()), syncDirectory(filepath.Dir(s.path))); err != nil {
		return fmt.Errorf("store %s is whole again, but %s cannot be removed: %w", s.path, s.doubtPath(), err)
	}
	return nil
}

// rewrite writes all pages in place with the bytes they have, and syncs; then
// the two pages that say which state counts, and syncs. The order is that of a
// commit, so a crash in between leaves the older or the newer state.
func (s *Store) rewrite() error {
	f, err := os.OpenFile(s.path, os.O_RDWR, fileMode)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	metas := int64(2 * s.db.Info().PageSize)
	if err := copyOnto(f, metas, info.Size()-metas); err != nil {
		return err
	}
	return copyOnto(f, 0, metas)
}

// copyOnto reads n bytes from an offset and writes them to the same place.
func copyOnto(f *os.File, from, n int64) error {
	if _, err := io.Copy(io.NewOffsetWriter(f, from), io.NewSectionReader(f, from, n)); err != nil {
		return err
	}
	return f.Sync()
}
