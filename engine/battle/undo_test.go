package battle

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"testing"

	"drumhead/engine/dice"
)

// streams give dice as a ledger does: those of an entry begin where its stream
// does, and dice that stand again go on in the stream of the entry before.
type streams struct {
	from map[uint64]uint64 // entry → the byte of whose stream its dice begin
	of   map[uint64]uint64 // entry → whose stream
	fell map[uint64]dice.Runs
}

func (st *streams) dice(seq uint64, s State, do Do) *dice.Stream {
	st.of[seq] = seq
	if of, after, again := s.Again(do); again {
		d := dice.NewStream("l", st.of[of], "none", dice.Key{byte(st.of[of])})
		d.Seek(st.from[of])
		first, _ := st.fell[of].First(after)
		d.Skip(first)
		st.of[seq], st.from[seq] = st.of[of], d.At()
	}
	d := dice.NewStream("l", st.of[seq], "none", dice.Key{byte(st.of[seq])})
	d.Seek(st.from[seq])
	return d
}

// undoing is a battle whose commands are taken as a ledger takes them.
type undoing struct {
	*testing.T
	state State
	seq   uint64
	dice  streams
}

func newUndoing(t *testing.T) *undoing {
	begun := begin(t)
	return &undoing{T: t, state: begun.state, seq: 1, dice: streams{map[uint64]uint64{}, map[uint64]uint64{}, map[uint64]dice.Runs{}}}
}

// do gives a command and tells whether it was lawful.
func (u *undoing) do(side int, do Do) bool {
	u.Helper()
	o := Order{Player: u.state.Players[side], Seq: u.seq + 1, Do: do}
	mayRoll, err := Check(u.state, o)
	if err != nil {
		return false
	}
	d := u.dice.dice(o.Seq, u.state, do)
	events, err := Decide(u.state, o, d)
	if err != nil {
		u.Fatalf("%s: checked, and then %v", do.Command(), err)
	}
	if d.Drawn() > 0 && !mayRoll {
		u.Fatalf("%s drew %d dice unannounced", do.Command(), d.Drawn())
	}
	var fell [][]int
	if d.Drawn() > 0 {
		fell = d.Faces()
	}
	u.seq = o.Seq
	u.dice.fell[o.Seq] = dice.RunsOf(fell)
	u.state = u.state.Take(o, through(u.T, events), fell)
	return true
}

// sheet gives orders as people type them, in as many entries as they fall into.
func (u *undoing) sheet(text string) {
	u.Helper()
	lines, err := ParseSheet(u.state, u.state.Side, text)
	if err != nil {
		u.Fatalf("%s: %s", text, spell(err))
	}
	for _, part := range u.state.Split(Sheet{Battle: 1, Orders: lines}) {
		if !u.do(u.state.Side, part) {
			u.Fatalf("%s: refused", text)
		}
	}
}

func (u *undoing) undo(of uint64, part int) {
	u.Helper()
	for _, side := range []int{u.state.Side, Other(u.state.Side)} {
		if !u.do(side, Undo{Battle: 1, Of: of, Part: part}) {
			u.Fatalf("undo of %d.%d by %d is refused", of, part, side)
		}
	}
}

// table is what a battle has come to, without what may be taken back.
func (u *undoing) table() State {
	s := u.state
	s.Past, s.Undone, s.Asked, s.Halted = nil, nil, nil, nil
	return s
}

// The same orders after an undo lead to the same battle, in whatever parts they are
// given; another target has dice of its own.
func TestUndoneGivenAgain(t *testing.T) {
	const whole = "shoot Mortar at Riders, 22 in; shoot Crossbows at Riders, 20 in; charge Pikes at Guns, 7 in; done"
	tails := []string{whole, "", "shoot Crossbows at Riders, 20 in; charge Pikes at Guns, 7 in; done", "charge Pikes at Guns, 7 in; done", "done"}
	for part, tail := range tails {
		if tail == "" {
			continue
		}
		u := newUndoing(t)
		u.sheet(whole)
		first, want := u.seq, u.table()
		u.undo(first, part)
		if n := len(u.state.Past); u.state.Side != 0 || n != min(part, 1) || n > 0 && u.state.Past[0].Orders() != part-1 {
			t.Fatalf("after undoing %d.%d: side %d to move, %d commands", first, part, u.state.Side, n)
		}
		before := u.seq
		u.sheet(tail)
		if n := int(u.seq - before); part > 0 && n != 5-part || part == 0 && n != 1 {
			t.Errorf("part %d: %d entries for what was undone", part, n)
		}
		if !reflect.DeepEqual(u.table(), want) {
			t.Errorf("part %d given again leads elsewhere:\n%+v\n%+v", part, u.table(), want)
		}
		u.undo(u.state.Past[0].Order.Seq, 0)
		u.sheet(whole)
		if !reflect.DeepEqual(u.table(), want) {
			t.Errorf("part %d, then the whole given again leads elsewhere", part)
		}
	}
	u := newUndoing(t)
	u.sheet(whole)
	first := u.seq
	u.undo(first, 2)
	before := u.seq
	u.sheet("shoot Crossbows at Guns, 20 in; charge Pikes at Guns, 7 in")
	if u.seq != before+2 || u.dice.of[before+1] != before+1 || u.dice.of[before+2] == before+2 {
		t.Errorf("dice of %v: another target has new ones, the charge its own again", u.dice.of)
	}
}

// What nobody learnt anything from is taken back without asking; a die, the other's
// move, or the end of the turn make it the other's word as well.
func TestTakenBackFree(t *testing.T) {
	u := newUndoing(t)
	want := u.table()
	u.sheet("move Pikes 5 in")
	u.sheet("move Crossbows 5 in")
	u.do(0, Undo{Battle: 1, Of: u.seq - 1})
	if !reflect.DeepEqual(u.table(), want) || len(u.state.Undone) != 0 {
		t.Errorf("taken back: %+v", u.state)
	}
	u.sheet("move Pikes 5 in")
	u.sheet("shoot Mortar at Riders, 22 in")
	moved, shot := u.table(), u.seq
	u.do(0, Undo{Battle: 1, Of: shot - 1})
	if !reflect.DeepEqual(u.table(), moved) || u.state.Asked == nil || u.state.Asked.By != 0 {
		t.Fatalf("dice fell since, and it is taken back without asking: %+v", u.state.Asked)
	}
	for _, c := range []struct {
		side int
		do   Do
		ok   bool
	}{
		{0, Undo{Battle: 1, Of: shot - 1}, false}, // asked already
		{1, Undo{Battle: 1, Of: shot}, false},     // the other's question comes first
		{1, Keep{Battle: 1}, true},
		{1, Keep{Battle: 1}, false},
		{0, Undo{Battle: 1, Of: 1}, false},                  // the beginning
		{0, Undo{Battle: 1, Of: shot, Part: 1}, false},      // one spelling: all of it
		{0, Undo{Battle: 1, Of: shot, Part: 2}, false},      // it has one order
		{0, Undo{Battle: 1, Of: shot, Said: "no"}, false},   // no hash
		{1, Undo{Battle: 1, Of: shot, Said: hash(7)}, true}, // either may ask
	} {
		if got := u.do(c.side, c.do); got != c.ok {
			t.Errorf("%+v by %d: lawful %v", c.do, c.side, got)
		}
	}
}

// Two turns back and no further; standing orders that were sealed since stay sealed.
func TestUndoReach(t *testing.T) {
	u := newUndoing(t)
	handovers := u.state.Handovers
	u.sheet("shoot Crossbows at Riders, 20 in; done")
	first := u.seq
	u.do(1, Ahead{Battle: 1, Said: hash(1)})
	u.sheet("shoot Guns at Pikes, 18 in")
	u.undo(first, 0)
	if u.state.Side != 0 || u.state.Handovers != handovers || len(u.state.Ahead[1]) != 1 {
		t.Errorf("side %d moves after %d handovers, sealed %v", u.state.Side, u.state.Handovers, u.state.Ahead)
	}
	u.sheet("shoot Crossbows at Riders, 20 in; done")
	again := u.seq
	u.sheet("shoot Guns at Pikes, 18 in")
	if u.dice.of[u.seq] == u.seq {
		t.Error("the other's orders, undone as well, have new dice")
	}
	u.sheet("done")
	u.sheet("done")
	if u.do(0, Undo{Battle: 1, Of: again}) {
		t.Error("three turns back")
	}
	if len(u.state.Undone) != 0 {
		t.Errorf("orders of turns that are over can be given again: %+v", u.state.Undone)
	}
}

// FuzzUndo: whatever was ordered and taken back, a command that was undone and is
// given again at the same place leads to the same battle.
func FuzzUndo(f *testing.F) {
	for seed := range uint64(8) {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, seed uint64) {
		r := rand.New(rand.NewPCG(seed, 7))
		u := newUndoing(t)
		for range 40 {
			lines := []Line{randomLine(r, u.state)}
			if r.IntN(4) == 0 {
				lines = append(lines, Line{Order: Done})
			}
			before := u.table()
			sheet := Sheet{Battle: 1, Orders: lines}
			if u.state.Stage != Playing || len(u.state.Split(sheet)) > 1 || !u.do(u.state.Side, sheet) {
				continue
			}
			after, side := u.table(), u.state.Side
			free := u.state.free(u.seq, side)
			of := u.seq
			if u.do(side, Undo{Battle: 1, Of: of}); !free {
				u.do(Other(side), Undo{Battle: 1, Of: of})
			}
			before.Proposed, before.Overdue = Nobody, false
			if got := u.table(); fmt.Sprint(got.Units, got.Score, got.Turn, got.Side, got.Stage) != fmt.Sprint(before.Units, before.Score, before.Turn, before.Side, before.Stage) {
				t.Fatalf("seed %d, entry %d: undone, and not as before", seed, of)
			}
			if !u.do(u.state.Side, sheet) || !reflect.DeepEqual(u.table(), after) {
				t.Fatalf("seed %d, entry %d: given again, and another battle", seed, of)
			}
		}
	})
}

// TestUndoStopsNoClock: whose time is up has no more of it for taking back what is
// free, and the other's proposal to end the battle stands.
func TestUndoStopsNoClock(t *testing.T) {
	u := newUndoing(t)
	u.sheet("hold Pikes")
	of := u.seq
	if !u.do(1, Finish{Battle: 1}) {
		t.Fatal("nothing is proposed")
	}
	late := Order{Player: Bot, Seq: u.seq + 1, Do: Late{Battle: 1, Side: 0, Turn: 1}}
	events, err := Decide(u.state, late, dice.NewShown(nil))
	if err != nil {
		t.Fatal(spell(err))
	}
	u.state, u.seq = u.state.Take(late, events, nil), late.Seq
	if !u.do(0, Undo{Battle: 1, Of: of}) || u.state.stepOf(of) >= 0 {
		t.Fatal("what is free was not taken back")
	}
	if !u.state.Overdue || u.state.Proposed != 1 {
		t.Errorf("overdue %v, proposed by %d", u.state.Overdue, u.state.Proposed)
	}
	if !u.do(1, Pass{Battle: 1}) {
		t.Error("who waits cannot decide any more")
	}
}
