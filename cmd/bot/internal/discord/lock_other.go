//go:build !unix

package discord

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// lockFile makes a file that stands for this process. One that was left by a
// process that died must be removed by hand.
func lockFile(path string) (func(), error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("%w (if none runs, remove %s)", errTwice, path)
	}
	if err != nil {
		return nil, fmt.Errorf("discord: the lock file cannot be made: %w", err)
	}
	return func() { _, _ = f.Close(), os.Remove(path) }, nil
}
