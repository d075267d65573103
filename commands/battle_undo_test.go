package commands

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"drumhead/commands/proof"
	"drumhead/engine/dice"
	"drumhead/storage"
)

// both lets a battle's two players undo an entry.
func (tb *table) both(of string) {
	tb.t.Helper()
	asked, done := tb.say("Ann", "#fen", "/battle undo "+of), tb.pick("Bo", "#fen", "Agree")
	if !strings.Contains(asked, "Ann asks to undo #"+of) || !strings.Contains(done, "Undone by both: #"+of) {
		tb.t.Fatalf("%s\n%s", asked, done)
	}
}

// TestUndoAgain: what both undo and is ordered again has the same dice, wherever it
// stands among others; another order has dice of its own. The ledger verifies, and a
// copy in which the dice are others, or stand again without an undo, does not.
func TestUndoAgain(t *testing.T) {
	tb := fen(t)
	mover, other := tb.moves()
	mine, theirs := own[mover], own[other]
	shot := "shoot " + mine + " at " + theirs + ", 12 in"
	tb.say(mover, "#fen", "/order move "+mine+" 3 in; "+shot)
	first := tb.record("#fen", -1)
	tb.both(number64(first.Seq) + ".2")
	wants(t, tb.say(mover, "#fen", "/order "+shot), "Undone before, so with the dice of #"+number64(first.Seq)+" again.")
	again := tb.record("#fen", -1)
	if again.Again == nil || again.Again.Of != first.Seq || again.Again.After != 0 || fmt.Sprint(again.Faces) != fmt.Sprint(first.Faces) {
		t.Fatalf("again %+v with %v, first %v", again.Again, again.Faces, first.Faces)
	}
	wants(t, tb.say(mover, "#fen", "/proof "+number64(again.Seq)), "all good")
	wants(t, tb.say(mover, "#fen", "/explain "+number64(again.Seq)), mine)
	tb.both(number64(again.Seq))
	tb.say(mover, "#fen", "/order shoot "+mine+" at "+theirs+", 11 in; done")
	if rec := tb.record("#fen", -1); rec.Again != nil || rec.Draw == 0 {
		t.Errorf("another order: %+v", rec.Again)
	}
	if r := tb.verified("#fen"); r.Again != 1 || !r.Rules {
		t.Errorf("%d entries with dice again, rules replayed: %v", r.Again, r.Rules)
	}
	tampered := func(change func(*storage.Record)) error {
		r := proof.NewReplay(tb.desk.file)
		for _, line := range tb.entries("#fen") {
			rec, err := storage.Parse(line)
			if err != nil {
				t.Fatal(err)
			}
			change(&rec)
			if _, err := r.Entry(rec, dice.NewShown(rec.Faces)); err != nil {
				return err
			}
		}
		return nil
	}
	last := tb.record("#fen", -1).Seq
	for name, change := range map[string]func(*storage.Record){
		"new dice for what was undone": func(rec *storage.Record) {
			if rec.Seq == again.Seq {
				rec.Again, rec.Seal, rec.Draw = nil, first.Seal, first.Draw+1
			}
		},
		"old dice for what was not undone": func(rec *storage.Record) {
			if rec.Seq == last {
				rec.Again = &storage.Again{Of: first.Seq}
			}
		},
		"the dice after too many": func(rec *storage.Record) {
			if rec.Seq == again.Seq {
				rec.Again = &storage.Again{Of: first.Seq, After: 1}
			}
		},
	} {
		var f *proof.Fault
		if err := tampered(change); !errors.As(err, &f) || f.Rule != proof.RuleAgain {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := tampered(func(*storage.Record) {}); err != nil {
		t.Error(err)
	}
}

// TestUndoCutByBeacon: of a sheet whose orders were undone in part, what is new waits
// for its round and the rest follows with the dice that it had.
func TestUndoCutByBeacon(t *testing.T) {
	tb, b := newBeaconTable(t)
	tb.say("Ann", "@dm", "/force add\nWeir Militia, 500 points\n10 Pikes\n10 Crossbows\nMortar\nMarram\nBarge")
	tb.say("Bo", "@dm", "/force add\nRopewalk Guild, 500 points\n6 Riders\n6 Guns\n8 Rope Guard\nTeasel")
	tb.say("Ann", "#fen", "/battle open Bo 500 Drowned Bridge, dice beacon")
	tb.pick("Bo", "#fen", "Accept")
	tb.wait(15 * time.Second)
	mover, other := tb.moves()
	mine, theirs := own[mover], own[other]
	second := map[string]string{"Ann": "Mortar", "Bo": "Riders"}[mover]
	charge := map[string]string{"Ann": "shoot Mortar at Guns, 20 in", "Bo": "charge Riders at Pikes, 8 in"}[mover]
	tb.say(mover, "#fen", "/order shoot "+mine+" at "+theirs+", 12 in; "+charge)
	wants(t, tb.wait(15*time.Second), mine)
	first := tb.record("#fen", -1)
	seq, _ := storage.Member(first.Args, "of")
	tb.both(string(seq))
	size := tb.size("#fen")
	wants(t, tb.say(mover, "#fen", "/order shoot "+mine+" at "+theirs+", 11 in; "+charge+"; done"), "waits for its cut")
	said := tb.wait(15 * time.Second)
	wants(t, said, second, "Undone before, so with the dice of #"+string(seq)+" again.", "Ann orders done: it waits for its cut.")
	var commands []string
	for n := size; n < tb.size("#fen"); n++ {
		rec := tb.record("#fen", int(n))
		commands = append(commands, fmt.Sprint(rec.Command, rec.Again != nil))
	}
	if want := []string{"orderfalse", "cutfalse", "ordertrue", "orderfalse"}; !slices.Equal(commands, want) {
		t.Errorf("entries %v, want %v", commands, want)
	}
	wants(t, tb.wait(15*time.Second), "to move until")
	tb.good("#fen", b.Chain())
}

// TestUndoRefusals: what cannot be undone leaves no entry.
func TestUndoRefusals(t *testing.T) {
	tb := fen(t)
	mover, _ := tb.moves()
	size := tb.size("#fen")
	wants(t, tb.say(mover, "#fen", "/battle undo"), "Nothing has been ordered yet")
	wants(t, tb.say(mover, "#fen", "/battle keep"), "Nobody asks to undo anything")
	wants(t, tb.say("Dee", "#fen", "/battle undo 3"), "Only the two who play")
	wants(t, tb.say(mover, "#fen", "/battle undo 2"), "is no command of this turn or the last")
	wants(t, tb.say(mover, "#fen", "/battle undo "+strings.Repeat("9", 30)), "Example:")
	if n := tb.size("#fen"); n != size {
		t.Errorf("%d entries of refusals", n-size)
	}
}
