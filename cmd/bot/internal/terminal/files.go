package terminal

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"drumhead/commands/chat"
)

// file is a picture or a file of a post, and where it lies now.
type file struct {
	picture bool
	name    string
	path    string // "" if it could not be made
	alt     string
}

// made are the pictures and files of one post.
type made struct{ pictures, files []file }

// line is how a file is shown.
func (f file) line(t *Terminal) string {
	where := f.path
	if where == "" {
		where = t.Say("terminal.notmade", "name", f.name)
	}
	if f.picture {
		return t.Say("terminal.picture", "path", where, "alt", f.alt)
	}
	return t.Say("terminal.file", "path", where)
}

// makeAll makes what a post carries. One that cannot be made is only named: the
// words of a post are enough without it.
func (t *Terminal) makeAll(ctx context.Context, p chat.Post) (m made) {
	for _, r := range p.Pictures {
		m.pictures = append(m.pictures, file{true, chat.FileName(r.Name), t.make(ctx, r), harmless(r.Alt)})
	}
	for _, r := range p.Files {
		m.files = append(m.files, file{false, chat.FileName(r.Name), t.make(ctx, r), harmless(r.Alt)})
	}
	return m
}

func (t *Terminal) make(ctx context.Context, r chat.Recipe) string {
	if t.Make == nil || t.Files == "" {
		return ""
	}
	b, err := t.Make.Make(ctx, r)
	if err != nil {
		t.Log.Error("a file could not be made", "kind", r.Kind, "name", r.Name, "err", err)
		return ""
	}
	path, err := keep(t.Files, chat.FileName(r.Name), b)
	if err != nil {
		t.Log.Error("a file could not be kept", "name", r.Name, "err", err)
		return ""
	}
	return path
}

// mostCopies is how many files of one name may lie side by side.
const mostCopies = 10_000

// keep writes a file under its name, or the name with a number if another file
// has it; the same bytes are kept once.
func keep(dir, name string, b []byte) (string, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", err
	}
	ext := filepath.Ext(name)
	stem := strings.TrimSuffix(name, ext)
	for n := 1; n <= mostCopies; n++ {
		if n > 1 {
			name = fmt.Sprintf("%s-%d%s", stem, n, ext)
		}
		path := filepath.Join(dir, name)
		have, err := os.ReadFile(path)
		if err == nil && bytes.Equal(have, b) {
			return path, nil
		}
		if os.IsNotExist(err) {
			return path, os.WriteFile(path, b, 0o600)
		}
		if err != nil {
			return "", err
		}
	}
	return "", fmt.Errorf("more than %d files are called %s", mostCopies, name)
}
