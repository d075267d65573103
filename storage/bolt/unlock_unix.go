//go:build unix && !solaris && !aix

package bolt

import (
	"errors"
	"os"
	"syscall"
)

// letGo closes a file that bbolt has locked and still has in its memory: the
// lock would live as long as that.
func letGo(f *os.File) error {
	return errors.Join(syscall.Flock(int(f.Fd()), syscall.LOCK_UN), f.Close())
}
