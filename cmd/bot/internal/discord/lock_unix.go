//go:build unix

package discord

import (
	"errors"
	"fmt"
	"os"
	"syscall"
)

// lockFile takes a file for this process. The system gives it back when the
// process ends, however it ends.
func lockFile(path string) (func(), error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("discord: the lock file cannot be made: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		_ = f.Close() // it was only looked at
		if errors.Is(err, syscall.EWOULDBLOCK) {
			err = errTwice
		}
		return nil, err
	}
	return func() { _ = f.Close() }, nil
}
