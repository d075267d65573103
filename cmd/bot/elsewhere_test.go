package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"drumhead/commands/beacon"
	"drumhead/commands/beacon/beacontest"
	"drumhead/commands/chatscript"
	"drumhead/storage"
	"drumhead/storage/faulty"
)

// playElsewhere plays every chat script of the terminal on another platform, and
// compares the posts with those at the terminal.
func playElsewhere(t *testing.T, parallel bool, open func(t *testing.T, dir string, with ...func(*plan)) chatscript.Runner) {
	play := func(dir string, with ...func(*plan)) {
		files, err := filepath.Glob(filepath.Join(dir, "*.txt"))
		if err != nil || len(files) == 0 {
			t.Fatalf("no scripts in %s: %v", dir, err)
		}
		for _, file := range files {
			t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
				if parallel {
					t.Parallel()
				}
				b, err := os.ReadFile(file)
				if err != nil {
					t.Fatal(err)
				}
				script, err := chatscript.Read(filepath.Base(file), strings.NewReader(string(b)))
				if err != nil {
					t.Fatal(err)
				}
				got, err := chatscript.Run(t.Context(), script, open(t, dir, with...))
				if err != nil {
					t.Error(err)
				}
				if diff := chatscript.Diff(alike(script.Text()), alike(got)); diff != "" {
					t.Errorf("%s: other posts than at the terminal:\n%s", script.Name, diff)
				}
			})
		}
	}
	play(chats)
	play(chats+"/beacon", func(p *plan) {
		p.beacon = func(c *clock) (beacon.Source, *beacon.Chain) {
			b := beacontest.New(c.Now)
			return b, b.Chain()
		}
	})
}

// quietly does what is due in a house, never while somebody waits there: two at once
// would find what is due in either order.
func quietly(ctx context.Context, h *house) error {
	h.turn.Lock()
	defer h.turn.Unlock()
	_, err := h.due(ctx)
	return err
}

// doubtful makes a store whose next append, if fail is set, is kept and its answer
// lost.
func doubtful(fail *atomic.Bool) func(storage.Store) storage.Store {
	return func(s storage.Store) storage.Store {
		return faulty.Over(s, func(c faulty.Call) (f faulty.Fault) {
			if c == faulty.Append && fail.CompareAndSwap(true, false) {
				f.After = storage.ErrUnknown
			}
			return f
		}, nil)
	}
}
