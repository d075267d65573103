package bolt

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"drumhead/storage"
	"drumhead/storage/mem"
	"drumhead/storage/storagetest"
)

func inFile(t testing.TB) storagetest.Disk {
	path := filepath.Join(t.TempDir(), "store")
	return func(o storagetest.Options) (storage.Store, error) {
		return Open(path, Options{Now: o.Now, Key: o.Key, OldKeys: o.OldKeys})
	}
}

func inMemory(testing.TB) storagetest.Disk {
	disk := mem.NewDisk()
	return func(o storagetest.Options) (storage.Store, error) {
		return mem.Open(disk, mem.Options{Now: o.Now, Key: o.Key, OldKeys: o.OldKeys})
	}
}

func TestConformance(t *testing.T) { storagetest.Run(t, inFile) }

// long is how many times more of everything random is tried. One is enough
// while working; DRUMHEAD_LONG=20 is for a night.
func long(t testing.TB) int {
	text := os.Getenv("DRUMHEAD_LONG")
	if text == "" {
		return 1
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("DRUMHEAD_LONG=%q: a number from 1 on expected, say 20", text)
	}
	return n
}

// seed begins a test's random numbers: another one each time, or the one of
// DRUMHEAD_SEED. A test that fails says which it had.
func seed(t testing.TB) uint64 {
	n := rand.Uint64()
	if text := os.Getenv("DRUMHEAD_SEED"); text != "" {
		var err error
		if n, err = strconv.ParseUint(text, 10, 64); err != nil {
			t.Fatalf("DRUMHEAD_SEED=%q: a number expected, say 9", text)
		}
	}
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("again with DRUMHEAD_SEED=%d; which pages bbolt takes is its own chance", n)
		}
	})
	return n
}

func TestHistories(t *testing.T) {
	storagetest.Histories(t, 8*long(t), 200, map[string]storagetest.Maker{"bolt": inFile, "mem": inMemory})
}
