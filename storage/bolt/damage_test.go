package bolt

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	bbolt "go.etcd.io/bbolt"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
	"drumhead/storage/storagetest"
)

// damagedTail is the key of an entry of ledger 1 that lies in the tail.
func damagedTail(t testing.TB, e *evening) []byte {
	t.Helper()
	return e.rows(layout.Ledgers, byte(layout.KindTail))[0].Key
}

type found struct{ Key, Value []byte }

// rows gives the rows of a table, of the table of ledgers those of one kind.
func (e *evening) rows(table layout.Table, kind byte) (rows []found) {
	e.Helper()
	db, err := bbolt.Open(e.path, 0o600, &bbolt.Options{ReadOnly: true})
	if err != nil {
		e.Fatal(err)
	}
	defer db.Close()
	err = db.View(func(tx *bbolt.Tx) error {
		return tx.Bucket([]byte{byte(table)}).ForEach(func(k, v []byte) error {
			if table != layout.Ledgers || k[16] == kind {
				rows = append(rows, found{bytes.Clone(k), bytes.Clone(v)})
			}
			return nil
		})
	})
	if err != nil || len(rows) == 0 {
		e.Fatalf("table %c, kind %c: %d rows, %v", table, kind, len(rows), err)
	}
	return rows
}

// A flipped bit in a record of every kind is found and named, with the ledger
// where there is one; and a record that is gone is missed.
func TestFlippedBitIsFoundAndNamed(t *testing.T) {
	e := newEvening(t)
	e.play()
	e.close()
	rng := rand.New(rand.NewPCG(3, 2))
	kinds := []struct {
		table  layout.Table
		kind   layout.Kind
		named  string
		missed bool // its absence is noticed, too
	}{
		{layout.Ledgers, layout.KindHead, "head", true}, {layout.Ledgers, layout.KindPage, "page", true},
		{layout.Ledgers, layout.KindTail, "tail", true}, {layout.Ledgers, layout.KindPosts, "posts", true},
		{layout.Ledgers, layout.KindTimer, "timer", true}, {layout.Ledgers, layout.KindSecret, "secret", false},
		{layout.Ledgers, layout.KindWord, "word", false}, {layout.Ledgers, layout.KindPlayer, "player", false},
		{layout.Places, 0, "place", true}, {layout.Timers, 0, "timer", true}, {layout.Waiting, 0, "posts", true},
		{layout.Sent, 0, "posts", true}, {layout.Receipts, 0, "receipt", true}, {layout.Shelves, 0, "shelf", false},
	}
	for _, k := range kinds {
		t.Run(fmt.Sprintf("%c %s", k.table, k.named), func(t *testing.T) {
			for _, row := range e.rows(k.table, byte(k.kind))[:1] {
				for range 10 {
					bad := bytes.Clone(row.Value)
					bad[rng.IntN(len(bad))] ^= 1 << rng.IntN(8)
					patch(t, e.path, k.table, row.Key, bad)
					named(t, e, k.named, k.table == layout.Ledgers)
				}
				if k.missed {
					patch(t, e.path, k.table, row.Key, nil)
					named(t, e, "", false)
				}
				patch(t, e.path, k.table, row.Key, row.Value)
			}
			e.open()
			e.healthy()
			e.close()
		})
	}
}

// named wants Check to report damage under a name.
func named(t *testing.T, e *evening, name string, ofLedger bool) {
	t.Helper()
	e.open()
	defer e.close()
	var all []error
	for _, fault := range faults(t, e.store) {
		var damaged *storage.Damaged
		if !errors.As(fault, &damaged) {
			t.Errorf("not *storage.Damaged: %v", fault)
			continue
		}
		if strings.Contains(damaged.What, name) && (!ofLedger || damaged.Ledger != storage.LedgerID{}) {
			return
		}
		all = append(all, fault)
	}
	t.Errorf("no %s is named: %v", name, all)
}

// What is damaged is not served: each call that needs it says so.
func TestDamagedRecordsAreNotServed(t *testing.T) {
	e := newEvening(t)
	e.play()
	e.close()
	ctx, l := t.Context(), storagetest.LedgerNumber(1)
	read := func() (err error) {
		for _, err = range e.store.Read(ctx, l, 0, 1<<40) {
		}
		return err
	}
	for name, c := range map[string]struct {
		table layout.Table
		kind  layout.Kind
		ask   func() error
	}{
		"head":    {layout.Ledgers, layout.KindHead, func() error { _, err := e.store.Head(ctx, l); return err }},
		"page":    {layout.Ledgers, layout.KindPage, read},
		"tail":    {layout.Ledgers, layout.KindTail, read},
		"secret":  {layout.Ledgers, layout.KindSecret, func() error { _, err := e.store.Secret(ctx, l); return err }},
		"word":    {layout.Ledgers, layout.KindWord, func() error { _, err := e.store.Words(ctx, l, 0); return err }},
		"player":  {layout.Ledgers, layout.KindPlayer, func() error { _, err := e.store.Players(ctx, l); return err }},
		"posts":   {layout.Ledgers, layout.KindPosts, func() error { _, err := e.store.Outbox(ctx, 100); return err }},
		"waiting": {layout.Waiting, 0, func() error { _, err := e.store.Outbox(ctx, 100); return err }},
		"timer":   {layout.Timers, 0, func() error { _, _, err := e.store.Due(ctx, time.Now().AddDate(99, 0, 0), 100); return err }},
		"place":   {layout.Places, 0, func() error { _, err := e.store.Of(ctx, "mill"); return err }},
		"shelf":   {layout.Shelves, 0, func() error { _, err := e.store.Shelf("settings").Get(ctx, "cut"); return err }},
		"resend": {layout.Ledgers, layout.KindPage, func() error {
			return e.store.Seen(ctx, l, "m-1-0")
		}},
	} {
		t.Run(name, func(t *testing.T) {
			row := e.rows(c.table, byte(c.kind))[0]
			bad := bytes.Clone(row.Value)
			bad[len(bad)/2] ^= 4
			patch(t, e.path, c.table, row.Key, bad)
			e.open()
			var damaged *storage.Damaged
			if err := c.ask(); !errors.As(err, &damaged) {
				t.Errorf("got %v", err)
			}
			e.close()
			patch(t, e.path, c.table, row.Key, row.Value)
		})
	}
}

// childChecks opens a store that may be damaged anywhere, checks it, prints what
// it shows, and closes it. Exit code 5 says that damage was found.
func childChecks() {
	s, err := Open(os.Getenv("DRUMHEAD_PATH"), Options{Key: bytes.Repeat([]byte{7}, 32), Now: storagetest.NewClock().Now})
	if err != nil {
		os.Exit(5)
	}
	code, n := 0, 0
	for fault := range s.Check(context.Background()) {
		fmt.Fprintln(os.Stderr, fault)
		code = 5
		if n++; n == 3 {
			break
		}
	}
	if code == 0 {
		os.Stdout.WriteString(snapshot(s))
	}
	if err := s.Close(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		code = 5
	}
	os.Exit(code)
}

// What checkedApart found out about a file.
const (
	sound  = "no fault"
	fault  = "found"
	ended  = "the process ended" // by the system, for its time or its stack
	panics = "a panic"
)

// checkedApart lets another process look at a file that may be damaged in any
// way, for bbolt may follow pages in a circle there. A panic is never right.
func checkedApart(t *testing.T, path string) (state, verdict string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, os.Args[0])
	cmd.Env = append(os.Environ(), "DRUMHEAD_CHILD=check", "DRUMHEAD_PATH="+path, "GOMEMLIMIT=256MiB")
	out, err := cmd.Output()
	var exit *exec.ExitError
	switch {
	case err == nil:
		return string(out), sound
	case errors.As(err, &exit) && exit.ExitCode() == 5:
		return "", fault
	case exit != nil && bytes.Contains(exit.Stderr, []byte("panic:")):
		t.Errorf("the process that looks at a damaged file panics:\n%s", exit.Stderr)
		return "", panics
	}
	return "", ended
}

// Bytes flipped anywhere in the file: the store must not show other entries
// without saying so.
func TestFlippedByteAnywhere(t *testing.T) {
	e := newEvening(t)
	e.play()
	want := snapshot(e.store)
	used := e.used()
	e.close()
	file := readFile(t, e.path)
	rng := rand.New(rand.NewPCG(5, 0))
	count := map[string]int{}
	path := filepath.Join(t.TempDir(), "flipped")
	for range 60 * long(t) {
		at := rng.IntN(used)
		bad := bytes.Clone(file)
		bad[at] ^= 1 << rng.IntN(8)
		writeFile(t, path, bad)
		state, verdict := checkedApart(t, path)
		if verdict == sound && state != want {
			t.Errorf("byte %d flipped: the store shows something else and finds no fault", at)
		}
		count[verdict]++
	}
	t.Log(count)
	if count[fault] == 0 || count[sound] == 0 {
		t.Errorf("this test did not reach both kinds of bytes: %v", count)
	}
}
