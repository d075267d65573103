package bolt

import (
	"encoding/binary"
	"errors"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"drumhead/storage"
)

// freePages gives the part of a file that names its free pages, with room for
// as many as there are pages. The offsets are those of bbolt's page header and
// meta page (version 2 of its file).
func freePages(t *testing.T, file []byte) (list []byte, pages uint64) {
	t.Helper()
	number := binary.NativeEndian.Uint64
	size := len(file[:4096])
	meta := file[:size]
	if other := file[size : 2*size]; number(other[64:]) > number(meta[64:]) {
		meta = other
	}
	at, pages := number(meta[48:]), number(meta[56:])
	list = file[at*uint64(size) : (at+1)*uint64(size)]
	if flags := binary.NativeEndian.Uint16(list[8:]); flags != 0x10 || pages > uint64(size-16)/8 {
		t.Fatal("this version of bbolt keeps its free pages elsewhere")
	}
	return list, pages
}

// A list of free pages that names pages in use makes bbolt panic in the middle
// of a commit, and again when that is rolled back. The store then says which
// file is damaged and what to do, and lets go of it; nothing panics.
func TestListOfFreePagesDamaged(t *testing.T) {
	e := newEvening(t)
	e.play()
	batch := next(t, e.store, 1, 3)
	e.close()
	file := readFile(t, e.path)
	list, pages := freePages(t, file)
	rng := rand.New(rand.NewPCG(seed(t), 1))
	refused, unclosed, stuck := 0, 0, 0
	for try := 0; try < 40*long(t) || stuck == 0 && try < 2000; try++ {
		n := 0
		for page := uint64(2); page < pages; page++ {
			if rng.IntN(3) == 0 {
				binary.NativeEndian.PutUint64(list[16+8*n:], page)
				n++
			}
		}
		binary.NativeEndian.PutUint16(list[10:], uint16(n))
		e.path = filepath.Join(t.TempDir(), "store")
		writeFile(t, e.path, file)
		e.open()
		if try%2 == 0 { // else closing is the first to write
			if err := e.store.Append(t.Context(), batch); err != nil {
				refused++
				e.names(err, storage.ErrUnknown)
			}
		}
		if e.store.stuck.Load() {
			stuck++
		}
		if err := e.store.Close(); err != nil {
			unclosed++
			e.names(err, nil)
		}
		if again, err := Open(e.path, e.opts); errors.Is(err, ErrInUse) {
			t.Fatal("the file was not let go of")
		} else if err == nil {
			again.Close()
		}
	}
	t.Logf("%d appends were refused, %d times rolling back was not possible either, %d times closing", refused, stuck, unclosed)
	if refused == 0 || unclosed == 0 || stuck == 0 {
		t.Error("this test did not reach every kind of damage")
	}
}

// names wants an error of a kind that names the file as damaged and says what to do.
func (e *evening) names(err, kind error) {
	e.Helper()
	for _, part := range []string{e.path, "damaged", "restore the last backup"} {
		if !strings.Contains(err.Error(), part) {
			e.Errorf("%q is not in: %v", part, err)
		}
	}
	if kind != nil && !errors.Is(err, kind) {
		e.Errorf("not %v: %v", kind, err)
	}
}
