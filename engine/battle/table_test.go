package battle

import (
	"errors"
	"testing"

	"drumhead/engine/dice"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// said is a Drawer that shows the faces it was told, in order, and fails the
// test when the rules ask for a die too many or one that cannot show that face.
type said struct {
	t     *testing.T
	faces []int
	drawn int
}

func (s *said) Draw(sides int) int {
	s.t.Helper()
	if s.drawn == len(s.faces) {
		s.t.Fatalf("die %d, a d%d, is asked for and no face is left", s.drawn+1, sides)
	}
	face := s.faces[s.drawn]
	if face > sides {
		s.t.Fatalf("die %d is a d%d and cannot show %d", s.drawn+1, sides, face)
	}
	s.drawn++
	return face
}

func (s *said) Left() int { return dice.MostDice - s.drawn }

// pack is the built-in game that the tests play.
func pack(t testing.TB) *rules.Pack {
	t.Helper()
	p, err := rules.LoadBuiltin("osier")
	if err != nil || p == nil {
		t.Fatal("the built-in pack osier does not load:", err)
	}
	return p
}

func terms(p *rules.Pack) Terms {
	return Terms{Pack: p.ID, Edition: p.Edition, SHA256: p.Hash, Scenario: "drowned-bridge", Points: 500, Turns: 6, Hours: 48}
}

// opening is Ann's militia (u1 Pikes, u2 Crossbows, u3 Mortar, u4 Marram) against
// Bo's guild (u5 Riders, u6 Guns, u7 Rope Guard, u8 Teasel).
func opened(t testing.TB) Begin {
	return Begin{
		Offer: OfferRef{Ledger: "x", Seq: 2, Leaf: "y"}, Players: []string{"p1", "p2"}, Terms: terms(pack(t)),
		Forces: [][]Model{
			{{Kind: "weir-pikes", Size: 10, Key: "weir-pikes 1"}, {Kind: "ferry-crossbows", Size: 10, Key: "ferry-crossbows 1"},
				{Kind: "bell-mortar", Size: 3, Key: "bell-mortar 1"}, {Kind: "marram", Size: 1, Key: "marram 1"}},
			{{Kind: "fen-riders", Size: 6, Key: "fen-riders 1"}, {Kind: "toll-guns", Size: 6, Key: "toll-guns 1"},
				{Kind: "rope-guard", Size: 10, Key: "rope-guard 1"}, {Kind: "teasel", Size: 1, Key: "teasel 1"}},
		},
	}
}

// table plays a battle in a test.
type table struct {
	*testing.T
	state    State
	seq      uint64
	openings []Opening
	events   []Event // of the latest order
	told     []Told
}

// begin lays the table; Ann (side 0) wins the roll-off 5 to 3.
func begin(t *testing.T) *table {
	t.Helper()
	tb := &table{T: t, state: New(pack(t))}
	tb.do("bot", opened(t), 5, 3)
	return tb
}

// do gives an order with the dice it is to show, all of them and no more, and
// folds what came of it, through JSON.
func (tb *table) do(player string, do Do, faces ...int) {
	tb.Helper()
	d := &said{t: tb.T, faces: faces}
	tb.seq++
	o := Order{Player: player, Seq: tb.seq, Do: do, Opened: tb.openings}
	events, told, err := Tell(tb.state, o, d)
	if err != nil {
		tb.Fatalf("%s refused: %s", do.Command(), spell(err))
	}
	if d.drawn != len(faces) {
		tb.Fatalf("%s drew %d dice of the %d told", do.Command(), d.drawn, len(faces))
	}
	tb.events, tb.told = events, told
	tb.state = tb.state.Fold(through(tb.T, events))
}

// order gives a sheet as people type it.
func (tb *table) order(sheet string, faces ...int) {
	tb.Helper()
	lines, err := ParseSheet(tb.state, tb.state.Side, sheet)
	if err != nil {
		tb.Fatalf("%q cannot be read: %s", sheet, spell(err))
	}
	tb.do(tb.state.Players[tb.state.Side], Sheet{Battle: 1, Orders: lines}, faces...)
}

// refuses gives a sheet that must be refused, and returns why.
func (tb *table) refuses(sheet, id string) *reason.Refusal {
	tb.Helper()
	side := tb.state.Side
	lines, err := ParseSheet(tb.state, side, sheet)
	if err == nil {
		o := Order{Player: tb.state.Players[side], Do: Sheet{Battle: 1, Orders: lines}}
		_, err = Check(tb.state, o)
		if _, again := Decide(tb.state, o, &said{t: tb.T}); (again == nil) != (err == nil) {
			tb.Errorf("%q: Check says %v, Decide says %v", sheet, spell(err), spell(again))
		}
	}
	var why *reason.Refusal
	if !errors.As(err, &why) || why.Reason.ID != id {
		tb.Fatalf("%q: got %s, want %s", sheet, spell(err), id)
	}
	return why
}

// of lists the latest events of one type.
func of[E Event](tb *table) []E {
	var out []E
	for _, e := range tb.events {
		if e, ok := e.(E); ok {
			out = append(out, e)
		}
	}
	return out
}

// unit is a unit as it stands now.
func (tb *table) unit(id string) Unit {
	u, ok := tb.state.Unit(id)
	if !ok {
		tb.Fatalf("there is no unit %s", id)
	}
	return u
}

// through writes events as JSON and reads them again.
func through(t testing.TB, events []Event) []Event {
	t.Helper()
	var out []Event
	for _, e := range events {
		b, err := MarshalEvent(e)
		if err != nil {
			t.Fatal(err)
		}
		again, err := ParseEvent(b)
		if err != nil {
			t.Fatalf("%s: %v", b, err)
		}
		out = append(out, again)
	}
	return out
}

// spell shows a refusal with its slots.
func spell(err error) string {
	var why *reason.Refusal
	if errors.As(err, &why) {
		s := why.Reason.ID
		for _, a := range why.Reason.Args {
			s += " " + a.Name + "=" + show(a.Value)
		}
		return s
	}
	return show(err)
}
