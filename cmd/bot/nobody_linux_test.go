package main

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// nobody is a user without rights on every Linux (common practice, no source).
const nobody = 65534

// asNobody starts a copy of this program as a user who may read nothing of ours.
func asNobody(t *testing.T) {
	dir, err := os.MkdirTemp("", "drumhead-nobody-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	bot := filepath.Join(dir, "bot")
	copyFile(t, os.Args[0], bot)
	cmd := exec.CommandContext(t.Context(), bot, "play", "--data", filepath.Join(dir, "data"))
	cmd.Env, cmd.Dir = []string{"DRUMHEAD_AS=nobody"}, dir
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
	out, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	if errors.Is(err, syscall.EPERM) || errors.Is(err, syscall.EACCES) {
		t.Skip("this root may not start a program as somebody else; run the tests as somebody else")
	}
	if !errors.As(err, &exit) || exit.ExitCode() != bad || !strings.Contains(string(out), "no right to use "+filepath.Join(dir, "data")) {
		t.Errorf("%v: %s", err, out)
	}
}

func copyFile(t *testing.T, from, to string) {
	in, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE, 0o755)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(out, in); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
}
