//go:build unix

package main

import (
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// A pipe that nobody writes to is no file: it is refused, and nothing waits for it.
func TestPipeHandedIn(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "pipe.toml")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Skip("no pipe can be made here:", err)
	}
	code, out, errs := start(t, "ann @dm: /force add (file "+pipe+")\n", "play", "--practice", "00")
	if code != good || !strings.Contains(strings.Join(strings.Fields(out), " "), "it is no file") {
		t.Errorf("exit %d: %s\n%s", code, errs, out)
	}
}
