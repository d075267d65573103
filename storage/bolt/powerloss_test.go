package bolt

import (
	"bytes"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"drumhead/storage/storagetest"
)

// sector is what a disk writes whole or not at all.
const sector = 512

// written is one page write of a commit.
type written struct {
	at    int64
	bytes []byte
}

// onto applies a write to an image of the file, as far as keep says for each sector.
func (w written) onto(image []byte, keep func(at int64) bool) []byte {
	if need := int(w.at) + len(w.bytes); need > len(image) {
		image = append(image, make([]byte, need-len(image))...)
	}
	for at := 0; at < len(w.bytes); at += sector {
		if end := min(at+sector, len(w.bytes)); keep(w.at + int64(at)) {
			copy(image[int(w.at)+at:], w.bytes[at:end])
		}
	}
	return image
}

// shown opens an image of a file and tells what the store shows and what is
// wrong with it.
func shown(t *testing.T, image []byte) (state, fault string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "image")
	writeFile(t, path, image)
	s, err := Open(path, Options{Now: storagetest.NewClock().Now, Key: bytes.Repeat([]byte{7}, 32), MapSize: 64 << 20})
	if err != nil {
		return "", err.Error()
	}
	defer s.Close()
	for _, err := range faults(t, s) {
		return "", err.Error()
	}
	return snapshot(s), ""
}

// Power fails at any moment of a commit. Before the first sync any part of the
// data pages may be on the disk, in any order and torn; the state is the old
// one. After it the last page may be torn; the state is the old or the new one,
// and whole. Every third commit packs a page.
func TestPowerLoss(t *testing.T) {
	e := newEvening(t)
	e.play()
	rng := rand.New(rand.NewPCG(9, 9))
	old, fresh, blank := 0, 0, 0
	for commit := range 8 * long(t) {
		before, base := snapshot(e.store), readFile(t, e.path)[:e.used()]
		b := next(t, e.store, 1, 1+12*(commit%3))
		var writes []written
		e.within(func(write pageWrite) pageWrite {
			return func(p []byte, at int64) (int, error) {
				writes = append(writes, written{at, bytes.Clone(p)})
				return write(p, at)
			}
		}, func() {
			if err := e.store.Append(t.Context(), b); err != nil {
				t.Fatal(err)
			}
		})
		after := snapshot(e.store)
		data, last := writes[:len(writes)-1], writes[len(writes)-1]
		for range 8 {
			image := bytes.Clone(base)
			for _, w := range data {
				chance := rng.Float64()
				image = w.onto(image, func(int64) bool { return rng.Float64() < chance })
			}
			if state, fault := shown(t, image); fault != "" || state != before {
				t.Fatalf("commit %d, before the first sync: not the old state, %s", commit, fault)
			}
			old++
		}
		all := func(int64) bool { return true }
		synced := bytes.Clone(base)
		for _, w := range data {
			synced = w.onto(synced, all)
		}
		for range 4 {
			torn := last
			torn.bytes = last.bytes[:rng.IntN(100)]
			switch state, fault := shown(t, torn.onto(bytes.Clone(synced), all)); {
			case fault != "" || state != before && state != after:
				t.Fatalf("commit %d, the last page torn at %d: neither old nor new, %s", commit, len(torn.bytes), fault)
			case state == after:
				fresh++
			default:
				old++
			}
		}
		if state, fault := shown(t, last.onto(synced, all)); fault != "" || state != after {
			t.Fatalf("commit %d, all written: not the new state, %s", commit, fault)
		}
		// The control: a disk that lies, so that the last page is there and the
		// data pages are not. If that were never noticed, this test could not fail.
		if state, fault := shown(t, last.onto(bytes.Clone(base), all)); fault != "" || state != after {
			blank++
		}
	}
	t.Logf("%d images showed the old state, %d the new one; %d lying disks were noticed", old, fresh, blank)
	if blank == 0 || fresh == 0 || !strings.Contains(snapshot(e.store), "post of") {
		t.Error("this test cannot fail: it never reached the states that it tells apart")
	}
	e.close()
}
