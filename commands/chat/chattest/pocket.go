package chattest

import (
	"bytes"
	"context"
	"errors"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"

	"drumhead/commands/chat"
)

// Pocket is a pocket in memory, for tests.
type Pocket struct {
	mu      sync.Mutex
	fail    func(changes map[string][]byte) error
	kept    map[string][]byte
	commits int
}

// NewPocket makes an empty pocket.
func NewPocket() *Pocket { return &Pocket{kept: map[string][]byte{}} }

// Get returns what is kept under a key.
func (p *Pocket) Get(key string) ([]byte, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return bytes.Clone(p.kept[key]), nil
}

// Scan calls f with every key that begins with prefix, in order.
func (p *Pocket) Scan(prefix string, f func(key string, value []byte) error) error {
	p.mu.Lock()
	kept := maps.Clone(p.kept)
	p.mu.Unlock()
	for _, key := range slices.Sorted(maps.Keys(kept)) {
		if !strings.HasPrefix(key, prefix) {
			continue
		}
		if err := f(key, bytes.Clone(kept[key])); err != nil {
			return err
		}
	}
	return nil
}

// Commit makes the changes.
func (p *Pocket) Commit(ctx context.Context, changes map[string][]byte) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	for key, value := range changes {
		if key == "" || len(key) > chat.MostKey || len(value) > chat.MostValue {
			return errors.New("pocket: a key or value over its limit")
		}
	}
	if p.fail != nil {
		if err := p.fail(changes); err != nil {
			return err
		}
	}
	for key, value := range changes {
		if value == nil {
			delete(p.kept, key)
		} else {
			p.kept[key] = append([]byte{}, value...)
		}
	}
	if len(changes) > 0 {
		p.commits++
	}
	return nil
}

// Fail has f asked before each commit from now on: its error is returned, and
// nothing is changed. Nil ends it.
func (p *Pocket) Fail(f func(changes map[string][]byte) error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.fail = f
}

// Commits tells how many commits there were that changed something.
func (p *Pocket) Commits() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.commits
}

// Copy is another pocket with what this one holds now, as a restored backup
// would be.
func (p *Pocket) Copy() *Pocket {
	p.mu.Lock()
	defer p.mu.Unlock()
	return &Pocket{kept: maps.Clone(p.kept)}
}

// ConformPocket tests a pocket. Open opens the same pocket again each time it is
// called, empty at first; close lets it go.
func ConformPocket(t *testing.T, open func(t *testing.T) (p chat.Pocket, close func())) {
	ctx := t.Context()
	p, end := open(t)
	commit := func(changes map[string][]byte) {
		t.Helper()
		if err := p.Commit(ctx, changes); err != nil {
			t.Fatal(err)
		}
	}
	if v, err := p.Get("nothing"); v != nil || err != nil {
		t.Fatalf("an empty pocket gave %q, %v", v, err)
	}
	mine := []byte("three")
	commit(map[string][]byte{"a/1": []byte("one"), "a/2": {}, "a/3": mine, "b": []byte("other"), "a": []byte("short")})
	mine[0] = 'X'
	commit(map[string][]byte{"a/1": nil, "missing": nil, "a/4": []byte("four")})
	commit(nil)
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	for name, bad := range map[string]map[string][]byte{
		"no key":          {"": []byte("x"), "b": []byte("changed")},
		"too long a key":  {strings.Repeat("k", chat.MostKey+1): []byte("x"), "b": []byte("changed")},
		"too large value": {"large": make([]byte, chat.MostValue+1), "b": []byte("changed")},
	} {
		if err := p.Commit(ctx, bad); err == nil {
			t.Errorf("%s: kept", name)
		}
	}
	if err := p.Commit(stopped, map[string][]byte{"b": []byte("changed")}); !errors.Is(err, context.Canceled) {
		t.Errorf("a commit whose context had ended gave %v", err)
	}
	commit(map[string][]byte{strings.Repeat("k", chat.MostKey): make([]byte, chat.MostValue)})
	for range 2 { // the second time after it was closed and opened again
		want := []string{"a/2=", "a/3=three", "a/4=four"}
		var got []string
		if err := p.Scan("a/", func(key string, value []byte) error {
			got = append(got, key+"="+string(value))
			return nil
		}); err != nil || !slices.Equal(got, want) {
			t.Errorf("scan gave %q, %v; expected %q", got, err, want)
		}
		if v, err := p.Get("a/2"); v == nil || len(v) != 0 || err != nil {
			t.Errorf("an empty value came back as %v, %v", v, err)
		}
		if v, err := p.Get("b"); string(v) != "other" || err != nil {
			t.Errorf("b is %q, %v: a refused commit changed something", v, err)
		}
		end()
		p, end = open(t)
	}
	enough := errors.New("enough")
	n := 0
	if err := p.Scan("", func(string, []byte) error { n++; return enough }); !errors.Is(err, enough) || n != 1 {
		t.Errorf("a scan that was to end after one went on to %d, %v", n, err)
	}
	end()
}
