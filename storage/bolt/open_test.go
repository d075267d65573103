package bolt

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	bbolt "go.etcd.io/bbolt"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
	"drumhead/storage/storagetest"
)

// The test program is also the other process of some tests.
func TestMain(m *testing.M) {
	switch os.Getenv("DRUMHEAD_CHILD") {
	case "open":
		childOpens()
	case "append":
		childAppends()
	case "check":
		childChecks()
	default:
		os.Exit(m.Run())
	}
}

// child is this program as another process.
func child(t testing.TB, role, path string) *exec.Cmd {
	cmd := exec.CommandContext(t.Context(), os.Args[0])
	cmd.Env = append(os.Environ(), "DRUMHEAD_CHILD="+role, "DRUMHEAD_PATH="+path)
	return cmd
}

func childOpens() {
	_, err := Open(os.Getenv("DRUMHEAD_PATH"), Options{})
	if err == nil {
		os.Exit(0)
	}
	os.Stdout.WriteString(err.Error())
	if errors.Is(err, ErrInUse) {
		os.Exit(3)
	}
	os.Exit(4)
}

// A second process cannot have the store at the same time, so two processes
// that resend at once are one after the other.
func TestSecondProcessIsTurnedAway(t *testing.T) {
	e := newEvening(t)
	out, err := child(t, "open", e.path).Output()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != 3 || !strings.Contains(string(out), e.path) {
		t.Fatalf("the child said %q, %v", out, err)
	}
	e.close()
	if out, err := child(t, "open", e.path).Output(); err != nil {
		t.Fatalf("once it was closed the child said %q, %v", out, err)
	}
}

func TestNewFileIsPrivate(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows keeps no permission bits")
	}
	e := newEvening(t)
	e.close()
	info, err := os.Stat(e.path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
}

func TestFacts(t *testing.T) {
	e := newEvening(t)
	first, err := e.store.Facts(t.Context())
	if err != nil || len(first.ID) != 32 || first.Created != "2026-11-20T19:30:00Z" || first.Closed != "" {
		t.Errorf("%+v, %v", first, err)
	}
	e.clock.Advance(time.Hour)
	e.close()
	e.open()
	second, err := e.store.Facts(t.Context())
	if err != nil || second.ID != first.ID || second.Created != first.Created || second.Closed != "2026-11-20T20:30:00Z" {
		t.Errorf("%+v, %v", second, err)
	}
}

// openFails wants opening to fail with a text that names the file, and to leave
// the file as it is.
func openFails(t *testing.T, path string, words ...string) error {
	t.Helper()
	before := readFile(t, path)
	s, err := Open(path, Options{})
	if err == nil {
		s.Close()
		t.Fatal("it opened")
	}
	for _, word := range append(words, path) {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("the error does not say %q: %v", word, err)
		}
	}
	if !bytes.Equal(before, readFile(t, path)) {
		t.Error("the file was changed")
	}
	return err
}

func TestNewerFormatIsRefused(t *testing.T) {
	e := newEvening(t)
	e.play()
	e.close()
	for name, record := range map[string][]byte{
		"a newer store":  layout.EncodeMeta([]byte(metaFormat), []byte{0, 0, 0, layout.Format + 1}),
		"newer records":  newerRecord(),
		"both, and more": layout.EncodeMeta([]byte(metaFormat), []byte{1, 0, 0, 0}),
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "newer")
			writeFile(t, path, readFile(t, e.path))
			patch(t, path, layout.Meta, []byte(metaFormat), record)
			err := openFails(t, path, "newer version", "format", "restore a backup")
			if !errors.Is(err, storage.ErrFormat) {
				t.Errorf("got %v", err)
			}
		})
	}
}

// newerRecord is a record of a format to come: a format byte that nobody knows
// yet, anything, and the check sum that every record ends with.
func newerRecord() []byte {
	record := []byte{layout.Format + 1, 'x'}
	key := append([]byte{byte(layout.Meta)}, metaFormat...)
	sum := crc32.Checksum(append(key, record...), crc32.MakeTable(crc32.Castagnoli))
	return binary.BigEndian.AppendUint32(record, sum)
}

// patch changes one record behind the store's back.
func patch(t testing.TB, path string, table layout.Table, key, record []byte) {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	err = db.Update(func(tx *bbolt.Tx) error {
		bucket := tx.Bucket([]byte{byte(table)})
		if record == nil {
			return bucket.Delete(key)
		}
		return bucket.Put(key, record)
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestOtherFilesAreRefused(t *testing.T) {
	e := newEvening(t)
	e.play()
	used := e.used()
	e.close()
	whole := readFile(t, e.path)
	broken := bytes.Clone(whole)
	for page := range 2 { // both pages that say which state counts
		broken[page*os.Getpagesize()+40] ^= 1
	}
	for name, file := range map[string][]byte{
		"a text file":           bytes.Repeat([]byte("campaign notes\n"), 2000),
		"a short file":          []byte("x"),
		"both first pages lost": broken,
		"cut in half":           whole[:used/2],
		"cut by one page":       whole[:used-os.Getpagesize()],
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "other")
			writeFile(t, path, file)
			openFails(t, path)
		})
	}
	t.Run("a database of another program", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "other")
		db, err := bbolt.Open(path, 0o600, nil)
		if err != nil {
			t.Fatal(err)
		}
		if err := db.Update(func(tx *bbolt.Tx) error { _, err := tx.CreateBucket([]byte("shop")); return err }); err != nil {
			t.Fatal(err)
		}
		db.Close()
		openFails(t, path, "another program")
	})
	t.Run("a directory that is not there", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "none", "store")
		if _, err := Open(path, Options{}); err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("got %v", err)
		}
	})
}

func TestReadOnly(t *testing.T) {
	e := newEvening(t)
	e.play()
	want := snapshot(e.store)
	batch := next(t, e.store, 1, 1)
	waiting, err := e.store.Outbox(t.Context(), 1)
	if err != nil || len(waiting) != 1 {
		t.Fatalf("%d posts, %v", len(waiting), err)
	}
	e.close()
	e.opts.ReadOnly = true
	e.open()
	if got := snapshot(e.store); got != want {
		t.Error("it shows something else")
	}
	for what, err := range map[string]error{
		"append": e.store.Append(t.Context(), batch),
		"put":    e.store.Shelf("settings").Put(t.Context(), storage.KeyValue{Key: "cut"}),
		"mark":   e.store.MarkSent(t.Context(), waiting[0].ID, "m"),
	} {
		if !errors.Is(err, storage.ErrReadOnly) {
			t.Errorf("%s: %v", what, err)
		}
	}
	e.healthy()
	e.close()
	empty := filepath.Join(t.TempDir(), "empty")
	writeFile(t, empty, nil)
	if s, err := Open(empty, Options{ReadOnly: true}); err == nil {
		s.Close()
		t.Error("an empty file was opened for reading")
	}
}

// Nothing of a secret is in the file once a key is set.
func TestSecretsAreNotInTheFile(t *testing.T) {
	e := newEvening(t)
	e.play()
	e.close()
	if bytes.Contains(readFile(t, e.path), []byte("very secret")) {
		t.Error("the file shows a secret")
	}
	e.opts.Key = nil
	e.path += "-clear"
	e.open()
	e.play()
	e.close()
	if !bytes.Contains(readFile(t, e.path), []byte("very secret")) {
		t.Error("this test cannot fail: without a key no secret is in the file either")
	}
}

func TestNoGoroutineIsLeft(t *testing.T) {
	before := runtime.NumGoroutine()
	for range 5 {
		e := newEvening(t)
		e.play()
		e.close()
	}
	for range 100 {
		if runtime.NumGoroutine() <= before {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Errorf("%d goroutines, %d before", runtime.NumGoroutine(), before)
}

// Fingerprints that are alike keep apart what is not.
func TestFingerprintsAlike(t *testing.T) {
	e := newEvening(t)
	e.close()
	e.opts.print = func(s storage.Source) uint64 { return uint64(len(s)%2 + 1) }
	e.open()
	var all []storage.Batch
	for range 80 {
		all = append(all, e.append(1, 1))
	}
	for range 2 {
		for i, b := range all {
			var seen *storage.Seen
			if err := e.store.Append(t.Context(), b); !errors.As(err, &seen) || seen.First != uint64(i) || seen.Last != uint64(i) {
				t.Fatalf("entry %d: %v", i, err)
			}
		}
		for _, other := range []storage.Source{"m-1-99", "n-1-7", "m-2-70"} {
			if err := e.store.Seen(t.Context(), storagetest.LedgerNumber(1), other); err != nil {
				t.Errorf("%s: %v", other, err)
			}
		}
		e.healthy()
		e.close()
		e.open()
	}
	e.close()
}
