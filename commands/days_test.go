package commands

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"drumhead/storage"
	"drumhead/storage/faulty"
	"drumhead/storage/mem"
)

// marked are the places that a start looks at.
func (tb *table) marked() []string {
	tb.t.Helper()
	var out []string
	for kv, err := range tb.store.Shelf(shelfUnbound).Each(tb.t.Context(), "") {
		if err != nil {
			tb.t.Fatal(err)
		}
		if kv.Key != allMarked {
			out = append(out, kv.Key)
		}
	}
	return out
}

// day lets the bot start anew and a day go by, and gives how many checkpoints came.
func (tb *table) day() int {
	tb.t.Helper()
	tb.restart(nil)
	tb.turns()
	before := len(tb.posts)
	tb.now = tb.now.Add(25 * time.Hour)
	tb.turns()
	return strings.Count(tb.text(before), "Checkpoint over")
}

// A start reads which places wait for the checkpoint of their day, not every ledger;
// each gets it once, also if the bot ended in between.
func TestDaysAfterAStart(t *testing.T) {
	listed := 0
	store := faulty.Over(mem.New(), func(c faulty.Call) faulty.Fault {
		if c == faulty.Ledgers {
			listed++
		}
		return faulty.Fault{}
	}, nil)
	tb := newTableOn(t, store)
	tb.turns() // a new store is looked through, and has nothing
	listed = 0
	for _, place := range []string{"#fen", "#weir", "#lock"} {
		tb.say("Ann", place, "/roll 2d6")
	}
	if got := tb.marked(); len(got) != 3 {
		t.Errorf("marked: %q", got)
	}
	if n := tb.day(); n != 3 {
		t.Errorf("%d checkpoints for 3 places:\n%s", n, tb.text(0))
	}
	if got := tb.marked(); len(got) != 0 {
		t.Errorf("still marked: %q", got)
	}
	if n := tb.day(); n != 0 {
		t.Errorf("%d checkpoints more for the same day", n)
	}
	tb.say("Ann", "#weir", "/roll 2d6")
	if n := tb.day(); n != 1 || listed != 0 {
		t.Errorf("%d checkpoints for one place; all ledgers were listed %d times", n, listed)
	}
}

// A mark is there before its entry: if the store fails in between, nothing is lost but
// a look at a place that has nothing new.
func TestDaysOfAFailure(t *testing.T) {
	for name, fault := range map[string]faulty.Fault{
		"not stored":           {Before: storage.ErrFull},
		"stored, not answered": {After: storage.ErrFull},
	} {
		t.Run(name, func(t *testing.T) {
			fail := false
			tb := newTableOn(t, faulty.Over(mem.New(), func(c faulty.Call) (f faulty.Fault) {
				if c == faulty.Append && fail {
					f = fault
				}
				return f
			}, nil))
			tb.say("Ann", "#fen", "/roll 2d6")
			tb.day()
			fail = true
			tb.line++
			if _, err := tb.desk.Handle(t.Context(), tb.message("Ann", "#fen", "/roll 2d6")); err == nil {
				t.Fatal("the store did not fail")
			}
			fail = false
			want := 0
			if fault.After != nil {
				want = 1
			}
			if n := tb.day(); n != want {
				t.Errorf("%d checkpoints, expected %d", n, want)
			}
		})
	}
}

// While something is being added, a checkpoint that was just said does not take the
// mark away.
func TestDaysClearedBesideAnAppend(t *testing.T) {
	put := map[string]bool{}
	keep := func(kv storage.KeyValue) error {
		if kv.Value == nil {
			delete(put, kv.Key)
		} else {
			put[kv.Key] = true
		}
		return nil
	}
	d := newDays()
	begin := func() {
		if !d.begin("fen") {
			if err := d.mark("fen", keep); err != nil {
				t.Fatal(err)
			}
		}
	}
	at := time.Date(2026, 10, 24, 18, 0, 0, 0, time.UTC)
	begin()
	d.added("fen", at, false)
	if got := d.over(at.Add(24 * time.Hour)); len(got) != 1 {
		t.Fatalf("over: %v", got)
	}
	begin() // and now the checkpoint is said
	if err := d.clear("fen", keep); err != nil || !put["fen"] {
		t.Errorf("the mark is gone: %v", err)
	}
	d.added("fen", at.Add(24*time.Hour), false)
	if err := d.clear("fen", keep); err != nil || !put["fen"] {
		t.Errorf("the mark is gone: %v", err)
	}
	d.over(at.Add(72 * time.Hour))
	if err := d.clear("fen", keep); err != nil || put["fen"] {
		t.Errorf("the mark stays: %v", err)
	}
	begin()
	if !put["fen"] {
		t.Error("it is not marked again")
	}
}

// A store that an earlier program wrote has no marks, and more ledgers than one change
// of a shelf takes.
func TestDaysOfAnEarlierProgram(t *testing.T) {
	tb := newTable(t)
	tb.say("Ann", "#fen", "/roll 2d6")
	shelf := tb.store.Shelf(shelfUnbound)
	for _, key := range append(tb.marked(), allMarked) {
		if err := shelf.Put(t.Context(), storage.KeyValue{Key: key}); err != nil {
			t.Fatal(err)
		}
	}
	if n := tb.day(); n != 1 {
		t.Errorf("%d checkpoints", n)
	}
	var many []storage.KeyValue
	for i := range 2*storage.MaxParts + 1 {
		many = append(many, storage.KeyValue{Key: "osier" + number64(uint64(i)), Value: []byte{1}})
	}
	if err := putAll(context.Background(), tb.store.Shelf("many"), many); err != nil {
		t.Fatal(err)
	}
	if _, err := tb.store.Shelf("many").Get(t.Context(), many[len(many)-1].Key); errors.Is(err, storage.ErrNone) {
		t.Error("the last is not there")
	}
}
