//go:build !unix || solaris || aix

package bolt

import "os"

// letGo closes a file that bbolt has locked; here the lock goes with it.
func letGo(f *os.File) error { return f.Close() }
