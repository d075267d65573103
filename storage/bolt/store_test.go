package bolt

import (
	"path/filepath"
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

func TestHistories(t *testing.T) {
	storagetest.Histories(t, 12, 250, map[string]storagetest.Maker{"bolt": inFile, "mem": inMemory})
}
