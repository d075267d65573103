package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestDoctorAtHome: what lies on this machine is looked at, nothing is made, and
// what is wrong is told with what to do.
func TestDoctorAtHome(t *testing.T) {
	c := config{Data: filepath.Join(t.TempDir(), "games")}
	wrong := func() string {
		var all []string
		for _, f := range c.home() {
			if f.wrong != "" {
				all = append(all, f.what+": "+f.wrong)
			}
		}
		return strings.Join(all, "\n")
	}
	if got := wrong(); got != "" {
		t.Errorf("nothing is there yet, and %s", got)
	}
	if _, err := os.Stat(c.Data); err == nil {
		t.Fatal("the directory was made by looking")
	}
	h, err := openHouse(t.Context(), plan{data: c.Data, name: "weir.example"})
	if err != nil {
		t.Fatal(err)
	}
	if got := wrong(); got != "" {
		t.Errorf("while the bot runs: %s", got)
	}
	if err := h.close(); err != nil {
		t.Fatal(err)
	}
	if got := wrong(); got != "" {
		t.Errorf("all is well, and %s", got)
	}
	c.Name = "other.example"
	if got := wrong(); !strings.Contains(got, "a name never changes") {
		t.Errorf("another name: %s", got)
	}
	c.Name = ""
	key := filepath.Join(c.Data, keyFile)
	if err := os.Chmod(key, 0o644); err != nil {
		t.Fatal(err)
	}
	if got := wrong(); !strings.Contains(got, "can be read by others") || !strings.Contains(got, key) {
		t.Errorf("a key for everybody: %s", got)
	}
	if err := os.Chmod(key, 0o600); err != nil {
		t.Fatal(err)
	}
	packs := filepath.Join(c.Data, packsDir)
	if err := os.MkdirAll(packs, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(packs, "silt.toml"), []byte("id = 3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := wrong(); !strings.Contains(got, "silt.toml") || !strings.Contains(got, "bot pack check") {
		t.Errorf("a broken pack: %s", got)
	}
	if err := os.RemoveAll(packs); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(c.Data, storeFile), []byte("silt"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := wrong(); !strings.Contains(got, storeFile) || !strings.Contains(got, "damaged") {
		t.Errorf("a broken store: %s", got)
	}
	c.Data = key
	if got := wrong(); !strings.Contains(got, "is a file") {
		t.Errorf("a file as a directory: %s", got)
	}
}
