// Package storagetest is what every storage.Store must pass. Run checks one
// backend case by case, Histories plays the same random evenings on several
// backends and on a model that keeps everything in plain lists, and compares
// every answer.
package storagetest

import (
	"testing"
	"time"

	"drumhead/storage"
)

// Options are what a store under test is opened with.
type Options struct {
	Now     func() time.Time
	Key     []byte // for secrets; nil: none
	OldKeys [][]byte
}

// Disk opens one store again and again: what was closed is there again.
type Disk func(Options) (storage.Store, error)

// Maker makes an empty disk for a test.
type Maker func(testing.TB) Disk

// tested is one named case.
type tested struct {
	name string
	run  func(*bench)
}

// Run checks a backend: each case gets a store of its own.
func Run(t *testing.T, maker Maker) {
	for _, group := range []struct {
		name  string
		cases []tested
	}{
		{"append", appendCases()}, {"limits", limitCases()}, {"once only", onceCases()},
		{"packing", packingCases()}, {"posts", postCases()}, {"timers", timerCases()},
		{"beside", besideCases()}, {"secrets", secretCases()}, {"shelves", shelfCases()},
		{"reading", readingCases()}, {"ending", endingCases()},
	} {
		t.Run(group.name, func(t *testing.T) {
			for _, c := range group.cases {
				t.Run(c.name, func(t *testing.T) {
					b := newBench(t, maker)
					c.run(b)
					b.close()
				})
			}
		})
	}
}
