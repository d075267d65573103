package mem_test

import (
	"testing"

	"drumhead/storage"
	"drumhead/storage/mem"
	"drumhead/storage/storagetest"
)

func onDisk(testing.TB) storagetest.Disk {
	disk := mem.NewDisk()
	return func(o storagetest.Options) (storage.Store, error) {
		return mem.Open(disk, mem.Options{Now: o.Now, Key: o.Key, OldKeys: o.OldKeys})
	}
}

func TestConformance(t *testing.T) { storagetest.Run(t, onDisk) }

func TestCopyGoesItsOwnWay(t *testing.T) {
	ctx := t.Context()
	disk := mem.NewDisk()
	s, err := mem.Open(disk, mem.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Shelf("settings").Put(ctx, storage.KeyValue{Key: "cut", Value: []byte("beacon")}); err != nil {
		t.Fatal(err)
	}
	twin, err := mem.Open(disk.Copy(), mem.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Shelf("settings").Put(ctx, storage.KeyValue{Key: "cut", Value: []byte("sealed")}); err != nil {
		t.Fatal(err)
	}
	if value, err := twin.Shelf("settings").Get(ctx, "cut"); err != nil || string(value) != "beacon" {
		t.Errorf("the copy has %q, %v", value, err)
	}
}

func TestNewIsEmpty(t *testing.T) {
	for h := range mem.New().Ledgers(t.Context()) {
		t.Errorf("a new store has ledger %v", h.Ledger)
	}
}

func TestHistories(t *testing.T) {
	storagetest.Histories(t, 6, 250, map[string]storagetest.Maker{"mem": onDisk})
}
