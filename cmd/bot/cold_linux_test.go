package main

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// cold makes the system forget the files of a directory, so that they come from the
// disk when they are read next.
func cold(b *testing.B, dir string) {
	files, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		b.Fatal(err)
	}
	for _, path := range files {
		f, err := os.Open(path)
		if err != nil {
			b.Fatal(err)
		}
		const dontNeed = 4 // POSIX_FADV_DONTNEED
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
		if _, _, e := syscall.Syscall6(syscall.SYS_FADVISE64, f.Fd(), 0, 0, dontNeed, 0, 0); e != 0 {
			b.Skip("the system cannot be told to forget a file: ", e)
		}
		if err := f.Close(); err != nil {
			b.Fatal(err)
		}
	}
}
