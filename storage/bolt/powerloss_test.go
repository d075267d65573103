package bolt

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
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

// powerCut lets power fail in the commits of an evening, and counts what the
// disk then shows.
type powerCut struct {
	*evening
	rng             *rand.Rand
	old, fresh, lie int // images with the old state, with the new one, noticed as damaged
}

// shown opens an image of a file and tells what the store shows and what is
// wrong with it.
func (c *powerCut) shown(image []byte) (state, fault string) {
	c.Helper()
	path := filepath.Join(c.TempDir(), "image")
	writeFile(c, path, image)
	opts := c.opts
	opts.MapSize = 64 << 20
	s, err := Open(path, opts)
	if err != nil {
		return "", err.Error()
	}
	for _, err := range faults(c, s) {
		fault = err.Error()
	}
	state = snapshot(s)
	if err := s.Close(); err != nil {
		fault = err.Error()
	}
	return state, fault
}

// want counts an image that shows one of the states, and keeps one that does not.
func (c *powerCut) want(what string, image []byte, before, after string) {
	c.Helper()
	switch state, fault := c.shown(image); {
	case fault == "" && state == before:
		c.old++
	case fault == "" && state == after:
		c.fresh++
	default:
		kept := filepath.Join(c.ArtifactDir(), "image")
		writeFile(c, kept, image)
		c.Fatalf("%s: another state, or a fault %q; the image is kept in %s if -artifacts is set", what, fault, kept)
	}
}

// commit makes one commit and gives the file before it and its page writes.
func (c *powerCut) commit(entries int) (base []byte, data []written, last written) {
	c.Helper()
	base = readFile(c, c.path)[:c.used()]
	b := next(c, c.store, 1, entries)
	var writes []written
	c.within(func(write pageWrite) pageWrite {
		return func(p []byte, at int64) (int, error) {
			writes = append(writes, written{at, bytes.Clone(p)})
			return write(p, at)
		}
	}, func() {
		if err := c.store.Append(c.Context(), b); err != nil {
			c.Fatal(err)
		}
	})
	return base, writes[:len(writes)-1], writes[len(writes)-1]
}

// cut makes one commit and lets power fail in it in many ways.
func (c *powerCut) cut(entries int) {
	c.Helper()
	before := snapshot(c.store)
	base, data, last := c.commit(entries)
	after := snapshot(c.store)
	for range 8 {
		image := bytes.Clone(base)
		for _, w := range data {
			chance := c.rng.Float64()
			image = w.onto(image, func(int64) bool { return c.rng.Float64() < chance })
		}
		c.want("before the first sync", image, before, before)
	}
	all := func(int64) bool { return true }
	synced := bytes.Clone(base)
	for _, w := range data {
		synced = w.onto(synced, all)
	}
	for range 4 {
		torn := written{last.at, last.bytes[:c.rng.IntN(100)]}
		c.want(fmt.Sprintf("the last page torn at %d", len(torn.bytes)), torn.onto(bytes.Clone(synced), all), before, after)
	}
	c.want("all written", last.onto(synced, all), after, after)
	c.lying(last.onto(bytes.Clone(base), all), after)
}

// lying is the control: a disk that lies, so that the last page is there and the
// data pages are not. If that were never noticed, the test could not fail.
func (c *powerCut) lying(image []byte, after string) {
	c.Helper()
	path := filepath.Join(c.TempDir(), "lie")
	writeFile(c, path, image)
	if state, verdict := checkedApart(c.TB.(*testing.T), path); verdict != sound || state != after {
		c.lie++
	}
}

// Power fails at any moment of a commit. Before the first sync any part of the
// data pages may be on the disk, in any order and torn; the state is the old
// one. After it the last page may be torn; the state is the old or the new one,
// and whole. Every third commit packs a page.
func TestPowerLoss(t *testing.T) {
	c := powerCut{evening: newEvening(t), rng: rand.New(rand.NewPCG(seed(t), 9))}
	c.play()
	c.marksWritten()
	for commit := range 8 * long(t) {
		c.cut(1 + 12*(commit%3))
	}
	t.Logf("%d images showed the old state, %d the new one; %d lying disks were noticed", c.old, c.fresh, c.lie)
	if c.lie == 0 || c.fresh == 0 || c.old == 0 || !strings.Contains(snapshot(c.store), "post of") {
		t.Error("this test cannot fail: it never reached the states that it tells apart")
	}
	c.close()
}
