package bolt

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"syscall"
	"testing"
	"unsafe"

	bbolt "go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"

	"drumhead/storage"
)

// pageWrite is how bbolt writes pages: a commit writes its data pages one after
// the other, syncs, writes the page that makes them count, and syncs.
type pageWrite = func(b []byte, at int64) (int, error)

// hook puts a function between bbolt and its file. It reaches into bbolt, so it
// fails loudly if a new bbolt looks otherwise.
func hook(t testing.TB, db *bbolt.DB, around func(write pageWrite) pageWrite) {
	t.Helper()
	field := reflect.ValueOf(db).Elem().FieldByName("ops")
	if field.IsValid() {
		field = field.FieldByName("writeAt")
	}
	if !field.IsValid() || field.Type() != reflect.TypeFor[pageWrite]() {
		t.Fatal("this version of bbolt has no ops.writeAt(b, at) any more: the fault tests must be taught where it writes pages now")
	}
	write := (*pageWrite)(unsafe.Pointer(field.UnsafeAddr()))
	*write = around(*write)
}

// writesOf counts the page writes of one append.
func (e *evening) writesOf(b storage.Batch) (n int) {
	e.Helper()
	e.within(func(write pageWrite) pageWrite {
		return func(p []byte, at int64) (int, error) { n++; return write(p, at) }
	}, func() {
		if err := e.store.Append(e.Context(), b); err != nil {
			e.Fatal(err)
		}
	})
	return n
}

// within does something with a hook and takes the hook away again.
func (e *evening) within(around func(pageWrite) pageWrite, do func()) {
	e.Helper()
	var plain pageWrite
	hook(e, e.store.db, func(write pageWrite) pageWrite { plain = write; return around(write) })
	do()
	hook(e, e.store.db, func(pageWrite) pageWrite { return plain })
}

// startOver gives a new evening that has the file of another.
func startOver(t testing.TB, file []byte) *evening {
	e := newEvening(t)
	e.close()
	writeFile(t, e.path, file)
	e.open()
	return e
}

// Each page write of a packing append fails once, in several ways. Whatever
// the answer is, it is true.
func TestEachWriteFails(t *testing.T) {
	e := newEvening(t)
	e.play()
	for e.append(1, 1).Entries[0].Seq%32 != 30 { // the next append packs a page
	}
	used := e.used()
	e.close()
	file := readFile(t, e.path)
	probe := startOver(t, file)
	writes := probe.writesOf(next(t, probe.store, 1, 3))
	probe.close()
	if writes < 3 || used == 0 {
		t.Fatalf("an append makes %d page writes", writes)
	}
	for name, failure := range map[string]struct {
		err   error
		short bool // half of the page is written
	}{
		"no room": {syscall.ENOSPC, false}, "no room half-way": {syscall.ENOSPC, true},
		"over quota": {errQuota, false}, "input/output": {syscall.EIO, false}, "input/output half-way": {syscall.EIO, true},
	} {
		t.Run(name, func(t *testing.T) {
			for fails := 1; fails <= writes; fails++ {
				failOnce(t, file, fails, failure.err, failure.short)
			}
		})
	}
}

func failOnce(t *testing.T, file []byte, fails int, failure error, short bool) {
	t.Helper()
	e := startOver(t, file)
	before := snapshot(e.store)
	b := next(t, e.store, 1, 3)
	n := 0
	var err error
	e.within(func(write pageWrite) pageWrite {
		return func(p []byte, at int64) (int, error) {
			if n++; n != fails {
				return write(p, at)
			}
			if short {
				write(p[:len(p)/2], at)
			}
			return 0, failure
		}
	}, func() { err = e.store.Append(t.Context(), b) })
	switch {
	case errors.Is(err, storage.ErrFull):
		if failure == syscall.EIO {
			t.Errorf("write %d: an EIO was taken for a full disk", fails)
		}
		if snapshot(e.store) != before {
			t.Errorf("write %d: no room, and something was stored", fails)
		}
		if e.settled(b) {
			t.Errorf("write %d: no room, and the batch was stored", fails)
		}
	case errors.Is(err, storage.ErrUnknown):
		e.inDoubt(b)
	default:
		t.Fatalf("write %d: %v", fails, err)
	}
	e.close()
}

// inDoubt wants a store in doubt to do nothing more, to leave a reminder, and
// to be sound once it is opened again.
func (e *evening) inDoubt(b storage.Batch) {
	e.Helper()
	if err := e.store.Append(e.Context(), b); !errors.Is(err, storage.ErrUnknown) {
		e.Errorf("a store in doubt answers %v", err)
	}
	if _, err := e.store.Outbox(e.Context(), 1); !errors.Is(err, storage.ErrUnknown) {
		e.Errorf("a store in doubt reads: %v", err)
	}
	if _, err := os.Stat(e.store.doubtPath()); err != nil {
		e.Errorf("no reminder was left: %v", err)
	}
	e.close()
	e.open()
	if _, err := os.Stat(e.store.doubtPath()); !errors.Is(err, os.ErrNotExist) {
		e.Errorf("the reminder is still there: %v", err)
	}
	e.settled(b)
}

// The limit that bbolt has itself stands for a full disk: nothing half done,
// reading goes on, marks are kept, and with room again so does appending.
func TestFullThenRoomAgain(t *testing.T) {
	e := newEvening(t)
	e.play()
	before := snapshot(e.store)
	e.store.db.MaxSize = e.used()
	var refused storage.Batch
	for i := 0; ; i++ {
		if i == 2000 {
			t.Fatal("the disk never became full")
		}
		refused = next(t, e.store, 1, storage.MaxEntries)
		if err := e.store.Append(t.Context(), refused); errors.Is(err, storage.ErrFull) && errors.Is(err, bolterrors.ErrMaxSizeReached) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		before = snapshot(e.store)
	}
	if snapshot(e.store) != before {
		t.Error("something was half done")
	}
	waiting, err := e.store.Outbox(t.Context(), 1)
	if err != nil || len(waiting) == 0 {
		t.Fatalf("reading: %d posts, %v", len(waiting), err)
	}
	if err := e.store.MarkSent(t.Context(), waiting[0].ID, "late"); err != nil {
		t.Error(err)
	}
	e.store.db.MaxSize = 0
	if e.settled(refused) {
		t.Error("a refused batch was stored")
	}
	e.close()
	e.open()
	if id, err := e.store.PostOf(t.Context(), waiting[0].Place, "late"); err != nil || id != waiting[0].ID {
		t.Errorf("the mark was lost: %v, %v", id, err)
	}
	e.close()
}

// A reminder of doubt without any damage is settled by opening; with damage the
// store does not open.
func TestDoubtIsSettled(t *testing.T) {
	e := newEvening(t)
	e.play()
	want := snapshot(e.store)
	doubt := e.store.doubtPath()
	e.close()
	writeFile(t, doubt, []byte("input/output error\n"))
	e.open()
	if snapshot(e.store) != want {
		t.Error("it shows something else")
	}
	e.close()
	if _, err := os.Stat(doubt); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the reminder is still there: %v", err)
	}
	writeFile(t, doubt, nil)
	patch(t, e.path, 'L', damagedTail(t, e), []byte("{}"))
	if _, err := Open(e.path, e.opts); err == nil {
		t.Fatal("a damaged store in doubt was opened")
	} else {
		var damaged *storage.Damaged
		if !errors.As(err, &damaged) {
			t.Errorf("got %v", err)
		}
	}
	if _, err := os.Stat(doubt); err != nil {
		t.Errorf("the reminder went though the store is damaged: %v", err)
	}
}

// diskMount gives a file on a small disk of its own.
func diskMount(t *testing.T, options string) (dir string, remount func(string) error) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "disk")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	mount := func(options string) error { return mountTmpfs(dir, options) }
	if err := mount(options); err != nil {
		t.Skipf("a disk cannot be mounted here (needs the rights of root): %v", err)
	}
	t.Cleanup(func() { unmount(dir) })
	return dir, func(options string) error { return mount("remount," + options) }
}

// A real file system of a few megabytes fills up.
func TestRealDiskFull(t *testing.T) {
	dir, remount := diskMount(t, "size=4m")
	e := newEvening(t)
	e.close()
	e.path = filepath.Join(dir, "store")
	e.open()
	var refused storage.Batch
	for i := 0; ; i++ {
		if i == 20_000 {
			t.Fatal("the disk never became full")
		}
		refused = next(t, e.store, 1, storage.MaxEntries)
		for n := range refused.Posts {
			refused.Posts[n].Bytes = make([]byte, 60_000)
		}
		if err := e.store.Append(t.Context(), refused); errors.Is(err, storage.ErrFull) && errors.Is(err, syscall.ENOSPC) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	e.healthy()
	if err := remount("size=16m"); err != nil {
		t.Fatal(err)
	}
	if e.settled(refused) {
		t.Error("a refused batch was stored")
	}
	e.close()
}

// On a disk that became read-only, opening to write fails and says why;
// opening to read works.
func TestReadOnlyDisk(t *testing.T) {
	dir, remount := diskMount(t, "size=64m")
	e := newEvening(t)
	e.close()
	e.path = filepath.Join(dir, "store")
	e.open()
	e.play()
	want := snapshot(e.store)
	e.close()
	if err := remount("ro"); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(e.path, e.opts); !errors.Is(err, syscall.EROFS) {
		t.Errorf("got %v", err)
	}
	e.opts.ReadOnly = true
	e.open()
	if snapshot(e.store) != want {
		t.Error("it shows something else")
	}
	e.close()
}
