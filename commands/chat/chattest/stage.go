// Package chattest holds what every adapter must pass: Conform, a suite about
// the adapter alone, and Scripts, which plays chat scripts through an adapter
// and a whole bot. The same scripts must give the same posts on every platform.
package chattest

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"drumhead/commands/chat"
	"drumhead/commands/chatscript"
)

// Stage is an adapter with people before it, on its real platform or a faithful
// one. Persons are named in lower case, places as in chat scripts.
type Stage interface {
	// Adapter is the one under test.
	Adapter() chat.Adapter
	// Say lets a person say, tap or hand in something, and returns when the
	// desk has answered it and the answers are shown.
	Say(ctx context.Context, m chatscript.Message) error
	// Shown returns what was shown since it was last asked, in order.
	Shown() []chatscript.Shown
	// Person and Place are the ids that the adapter gives.
	Person(name string) chat.Person
	Place(name string) chat.Place
}

// Selective is a stage on whose platform the bot does not hear all that people say
// to each other. What it does not hear there it must hear in private.
type Selective interface {
	Hears(m chatscript.Message) bool
}

// Desk is a desk that notes down what it hears and answers what it was told to.
type Desk struct {
	mu    sync.Mutex
	heard []chat.Message
	reply func(chat.Message) []chat.Post
}

// Handle notes the message down.
func (d *Desk) Handle(_ context.Context, m chat.Message) ([]chat.Post, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.heard = append(d.heard, m)
	if d.reply == nil {
		return nil, nil
	}
	return d.reply(m), nil
}

// Complete offers one way to go on with anything.
func (d *Desk) Complete(_ context.Context, m chat.Message) []chat.Suggestion {
	return []chat.Suggestion{{Text: m.Text + "more", Help: "more"}}
}

// Answer sets what is answered from now on.
func (d *Desk) Answer(reply func(chat.Message) []chat.Post) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.reply = reply
}

// Heard returns the messages since it was last asked.
func (d *Desk) Heard() []chat.Message {
	d.mu.Lock()
	defer d.mu.Unlock()
	heard := d.heard
	d.heard = nil
	return heard
}

// Scripts plays every script of a directory, each with a bot of its own, and
// compares the posts. With update, scripts are rewritten with the posts that
// came instead; a reviewer reads the difference. It fails if there is no script.
func Scripts(t *testing.T, dir string, update bool, open func(t *testing.T, file string) chatscript.Runner) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.txt"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts in %s: %v", dir, err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			Script(t, file, update, open(t, file))
		})
	}
}

// Script plays one script, as Scripts does.
func Script(t *testing.T, file string, update bool, r chatscript.Runner) {
	t.Helper()
	b, err := fs.ReadFile(os.DirFS(filepath.Dir(file)), filepath.Base(file))
	if err != nil {
		t.Fatal(err)
	}
	script, err := chatscript.Read(filepath.Base(file), strings.NewReader(string(b)))
	if err != nil {
		t.Fatal(err)
	}
	got, err := chatscript.Run(t.Context(), script, r)
	if err != nil {
		t.Fatal(err)
	}
	diff := chatscript.Diff(script.Text(), got)
	switch {
	case diff == "":
	case update:
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		t.Logf("rewritten:\n%s", diff)
	default:
		t.Errorf("%s: other posts than expected (-update rewrites):\n%s", script.Name, diff)
	}
}
