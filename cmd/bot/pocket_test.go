package main

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
	"drumhead/storage/bolt"
)

// TestPocket: the pocket in a file keeps what the one in memory does, also when
// it is closed and opened again.
func TestPocket(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fen.pocket")
	chattest.ConformPocket(t, func(t *testing.T) (chat.Pocket, func()) {
		p, err := bolt.OpenPocket(path)
		if err != nil {
			t.Fatal(err)
		}
		return p, func() {
			if err := p.Close(); err != nil {
				t.Error(err)
			}
		}
	})
	if info, err := os.Stat(path); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("others may read the pocket: %v, %v", info.Mode(), err)
	}
}

func TestPocketsThatDoNotOpen(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "fen.pocket")
	p, err := bolt.OpenPocket(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := bolt.OpenPocket(path); !errors.Is(err, bolt.ErrInUse) {
		t.Errorf("a pocket in use opened a second time: %v", err)
	}
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	store := filepath.Join(dir, "store.db")
	s, err := bolt.Open(store, bolt.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	torn := filepath.Join(dir, "torn.pocket")
	if err := os.WriteFile(torn, []byte(strings.Repeat("silt", 5000)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, file := range []string{store, torn} {
		if _, err := bolt.OpenPocket(file); err == nil || !strings.Contains(err.Error(), file) || !strings.Contains(err.Error(), "damaged") {
			t.Errorf("%s: %v", filepath.Base(file), err)
		}
	}
}
