package battle

import (
	"slices"
	"testing"
)

// TestElseAndStop: a line goes on to what else was named when its target is gone, and
// the sheet stops where nothing is left to do; the rest waits.
func TestElseAndStop(t *testing.T) {
	tb := begin(t)
	teasel := tb.state.unit("u8")
	teasel.Hurt = 2
	tb.order(`shoot Mortar at Teasel
		shoot Crossbows at Teasel, else Guns with 2
		charge Marram at Teasel, 3 in
		hold Pikes`,
		4, 1, 1, 1, // mortar: one hit
		3,    // wounds: 6 against 3
		1, 1, // Teasel has no save, and a last save for each of two points
		1, 1, // two crossbows at the Guns miss
	)
	if b := of[*Broken](tb); len(b) != 1 || b[0].Unit != "u8" || b[0].By != "u3" || b[0].How != Fallen {
		t.Fatalf("broken: %+v", b)
	}
	shots := of[*Attacked](tb)
	if len(shots) != 2 || shots[1].At != "u6" || shots[1].Models != 2 {
		t.Errorf("shots: %+v", shots)
	}
	stop := of[*Stopped](tb)
	if len(stop) != 1 || stop[0].Line != 3 || stop[0].Why != "battle.refuse.gone" || !slices.Equal(stop[0].Rest, []int{4}) {
		t.Fatalf("stopped: %+v", stop)
	}
	if tb.state.Halted == nil || tb.state.Halted.Line != 3 {
		t.Error("the state does not know where the sheet stopped")
	}
	if !slices.Contains(tb.unit("u3").Broke, "u8") {
		t.Error("the Mortar is not known to have broken Teasel")
	}
	tb.refuses("charge Pikes at Teasel, 3 in", "battle.refuse.gone")
}

// TestElseHold: else hold keeps a unit where it is.
func TestElseHold(t *testing.T) {
	tb := begin(t)
	tb.state.unit("u8").Hurt = 2
	tb.order("shoot Mortar at Teasel; shoot Crossbows at Teasel, else hold", 4, 1, 1, 1, 3, 1, 1)
	if h := of[*Held](tb); len(h) != 1 || h[0].Unit != "u2" {
		t.Errorf("held: %v", h)
	}
}

// TestObjectives: who alone has steady units on an objective scores at the end
// of the own turn; a charger comes to where its target stands, and contests it.
func TestObjectives(t *testing.T) {
	tb := begin(t)
	tb.order("move Pikes to Bridge; hold Crossbows at Well; move Mortar 3 in; done")
	if tb.state.Score != [2]int{2, 0} {
		t.Fatalf("score %v after the first turn, want 2 to 0", tb.state.Score)
	}
	tb.order("charge Riders at Crossbows, 2 in; done",
		1, 1, // 2, 1 was needed
		1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, // six Riders miss twice
		1, 1, 1, 1, 1, 1, 1, 1, 1, 1) // ten knives miss
	if tb.unit("u5").At != "well" || tb.state.Score != [2]int{2, 0} {
		t.Fatalf("Riders at %q, score %v", tb.unit("u5").At, tb.state.Score)
	}
	// The melee stands: done fights it, and the Well is held by nobody.
	tb.order("done",
		1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1)
	if tb.state.Score != [2]int{3, 0} || tb.state.Turn != 2 {
		t.Errorf("score %v in turn %d, want 3 to 0 in turn 2", tb.state.Score, tb.state.Turn)
	}
	if tb.state.Taken[0] != [2]int{2, 0} || tb.state.Taken[1] != [2]int{1, 0} {
		t.Errorf("points by objective: %v", tb.state.Taken)
	}
}

// TestRout: models above nerve flee, and who has nobody left is broken by the
// enemy that felled its models.
func TestRout(t *testing.T) {
	tb := begin(t)
	guns := tb.state.unit("u6")
	guns.Left, guns.Fell, guns.By, guns.Turn.Lost = 1, 5, "u2", 5
	tb.order("done", 6) // 6 + 5 = 11 against 6
	b := of[*Broken](tb)
	if len(b) != 1 || b[0].How != Routed || b[0].By != "u2" {
		t.Fatalf("broken: %+v", b)
	}
	if test := of[*Tested](tb)[0]; test.Fled != 1 || test.Total != 11 {
		t.Errorf("test: %+v", test)
	}
}

// TestMoraleBound: at nerve nobody flees, one above it one does. Common practice, no source.
func TestMoraleBound(t *testing.T) {
	for face, fled := range map[int]int{2: 0, 3: 1, 6: 4} {
		tb := begin(t)
		tb.state.unit("u6").Turn.Lost = 4 // nerve 6
		tb.order("done", face)
		if got := of[*Tested](tb)[0].Fled; got != fled {
			t.Errorf("face %d: %d fled, want %d", face, got, fled)
		}
	}
}

// TestRun: a run goes as far as its die lets it, and not to the objective beyond.
func TestRun(t *testing.T) {
	tb := begin(t)
	tb.order("run Pikes 9 in to Bridge; run Crossbows 9 in to Well", 3, 4) // 5 + 3 < 9 = 5 + 4
	m := of[*Moved](tb)
	if m[0].Tenths != 80 || m[0].At != "" || m[1].Tenths != 90 || m[1].At != "well" {
		t.Errorf("runs: %+v %+v", m[0], m[1])
	}
	if !tb.unit("u1").Has("ran") {
		t.Error("the Pikes do not know that they ran")
	}
}

// TestBarge: what does not reach stays silent, a light weapon is used instead.
func TestBarge(t *testing.T) {
	b := opened(t)
	b.Forces[0] = append(b.Forces[0], Model{Kind: "barge", Size: 1, Key: "barge 1"}, Model{Kind: "lock-captain", Size: 1, Key: "lock-captain 1"})
	tb := &table{T: t, state: New(pack(t))}
	tb.do("bot", b, 5, 3)
	barge, _ := tb.state.Unit("u5")
	if got := len(tb.state.weapons(barge, Aim{At: "u7", Tenths: 50})); got != 2 {
		t.Errorf("the Barge uses %d weapons at 5 inches, want 2: it shoots every weapon", got)
	}
	captain, _ := tb.state.Unit("u6")
	if w := tb.state.weapons(captain, Aim{At: "u7", Tenths: 80}); len(w) != 1 || w[0].Light() {
		t.Errorf("the Captain uses %d weapons at 8 inches, want the arbalest alone", len(w))
	}
	tb.order("split Barge: deck swivel at Riders 12 in, fire pot at Guns 5 in",
		1, 1, 1, // d3+1 attacks: 2, both miss
		1, 1) // d3 attacks: 1, misses
	shots := of[*Attacked](tb)
	if len(shots) != 2 || shots[0].Attacks != 2 || shots[1].At != "u8" {
		t.Errorf("split: %+v %+v", shots[0], shots[1])
	}
	tb.refuses("split Captain: arbalest at Riders, pistol at Guns 5 in", "battle.refuse.instead")
}

// TestEnds: the last turn, the agreement of both, and what the result says.
func TestEnds(t *testing.T) {
	tb := begin(t)
	tb.state.Terms.Turns = 1
	tb.order("hold Pikes at Bridge; done")
	tb.order("done")
	if tb.state.Stage != Over || tb.state.Why != LastTurn {
		t.Fatalf("stage %d, why %q", tb.state.Stage, tb.state.Why)
	}
	tb.refuses("done", "battle.refuse.played")
	tb.do("p2", Agree{Battle: 1})
	if tb.state.Stage != Over {
		t.Fatal("one alone has ended the battle")
	}
	tb.do("p1", Agree{Battle: 1})
	o := tb.state.Outcome()
	if !o.Ended || o.Winner != 0 || o.Score != [2]int{1, 0} || o.Size != [2]int{24, 23} || o.Taken[0].Points != [2]int{1, 0} {
		t.Errorf("outcome: %+v", o)
	}
}

// TestStandsByItself: time ends a battle that nobody disputes, as a draw on equal scores.
func TestStandsByItself(t *testing.T) {
	tb := begin(t)
	tb.state.Terms.Turns = 1
	tb.order("done")
	tb.order("done")
	tb.do("p1", Dispute{Battle: 1})
	if _, err := Check(tb.state, Order{Player: Bot, Do: Agree{Battle: 1}}); err == nil {
		t.Fatal("a disputed result stands by itself")
	}
	tb.do("p1", Agree{Battle: 1})
	tb.do(Bot, Agree{Battle: 1})
	if o := tb.state.Outcome(); !o.Ended || o.Winner != Nobody {
		t.Errorf("outcome: %+v", o)
	}
}

// TestFinishEarly: one proposes, the other agrees; a handover withdraws it.
func TestFinishEarly(t *testing.T) {
	tb := begin(t)
	tb.do("p1", Finish{Battle: 1})
	tb.order("done")
	if _, err := Check(tb.state, Order{Player: "p2", Do: Agree{Battle: 1}}); err == nil {
		t.Fatal("an old proposal can still be agreed to")
	}
	tb.do("p2", Finish{Battle: 1})
	tb.do("p1", Agree{Battle: 1})
	if tb.state.Stage != Ended || tb.state.Why != AsStands {
		t.Errorf("stage %d, why %q", tb.state.Stage, tb.state.Why)
	}
}

// TestConcede: who concedes loses, whatever the score.
func TestConcede(t *testing.T) {
	tb := begin(t)
	tb.order("hold Pikes at Bridge; done")
	tb.do("p1", Concede{Battle: 1})
	if o := tb.state.Outcome(); !o.Ended || o.Winner != 1 || o.Conceded != 0 {
		t.Errorf("outcome: %+v", o)
	}
}

// TestPass: the one who waits ends the other's turn, and only they.
func TestPass(t *testing.T) {
	tb := begin(t)
	if _, err := Check(tb.state, Order{Player: "p1", Do: Pass{Battle: 1}}); err == nil {
		t.Fatal("who moves may pass for themselves only by done")
	}
	if _, err := Check(tb.state, Order{Player: "p2", Do: Pass{Battle: 1}}); err == nil {
		t.Fatal("the other's turn can be ended before its time is up")
	}
	tb.do(Bot, Late{Battle: 1, Turn: 1, Side: 0})
	tb.do("p2", More{Battle: 1, Hours: 24})
	if tb.state.Overdue {
		t.Error("time was given, and is up all the same")
	}
	tb.do(Bot, Late{Battle: 1, Turn: 1, Side: 0})
	tb.do("p2", Pass{Battle: 1})
	if tb.state.Side != 1 {
		t.Error("the turn was not handed over")
	}
}

// TestRollOff: ties are rolled again, the higher die goes first.
func TestRollOff(t *testing.T) {
	tb := &table{T: t, state: New(pack(t))}
	tb.do("bot", opened(t), 4, 4, 2, 2, 1, 6)
	if tb.state.First != 1 || tb.state.Side != 1 {
		t.Errorf("first %d", tb.state.First)
	}
	begun := tb.events[0].(*Begun)
	if len(begun.Rolls) != 3 {
		t.Errorf("rolls: %v", begun.Rolls)
	}
}

// TestReplayNeedsOnlyWhatActed: Decide with all sealed orders and Decide with
// only those that were opened give the same events on the same dice.
func TestReplayNeedsOnlyWhatActed(t *testing.T) {
	tb := begin(t)
	var all []Opening
	for i, o := range []Standing{
		{Reroll: &RerollOrder{}},                    // any save of anybody's
		{Reroll: &RerollOrder{Unit: "u5", Need: 2}}, // but a Rider's only at 2+
		{Counter: &CounterOrder{AtLeast: 12}},       // never countered below
		{Falls: &FallsOrder{}},
	} {
		value, err := o.Marshal()
		if err != nil {
			t.Fatal(err)
		}
		tb.do("p2", Ahead{Battle: 1, Said: hash(i)})
		all = append(all, Opening{Of: tb.seq, Salt: "00", Value: value})
	}
	tb.openings = all
	lines := tb.read("cast Undertow at Riders; shoot Mortar at Riders; shoot Crossbows at Guns with 2")
	faces := []int{4, 4, 2, // cast 8, no counter: 12 was asked; d3 = 2 wounds
		4, 4, 1, 1, 3, 3, 1, 1, // two hits, two wounds, both saves lost: the newer order forbids a re-roll
		4, 4, 4, 4, 2, 5, 2} // two hits, two wounds, a save lost, rolled again and made, one lost
	do := Sheet{Battle: 1, Orders: lines}
	with, err := Decide(tb.state, Order{Player: "p1", Seq: 90, Do: do, Opened: all}, &said{t: t, faces: faces})
	if err != nil {
		t.Fatal(spell(err))
	}
	var acted []Opening
	for _, e := range with {
		if o, ok := e.(*Opened); ok {
			acted = append(acted, Opening{Of: o.Of, Salt: o.Salt, Value: o.Value})
		}
	}
	if len(acted) != 3 {
		t.Errorf("%d standing orders were opened, want 3", len(acted))
	}
	again, err := Decide(tb.state, Order{Player: "p1", Seq: 90, Do: do, Opened: acted}, &said{t: t, faces: faces})
	if err != nil {
		t.Fatal(spell(err))
	}
	if show(jsonOf(t, with)) != show(jsonOf(t, again)) {
		t.Errorf("with what acted alone:\n%v\nwant\n%v", jsonOf(t, again), jsonOf(t, with))
	}
}

// scarce is a Drawer with few dice left, each of which shows 1.
type scarce struct{ left int }

func (s *scarce) Draw(int) int { s.left--; return 1 }
func (s *scarce) Left() int    { return s.left }

// TestDiceRunOut: a sheet stops before a line that could need more dice than the
// entry has left, and done in the middle of itself; neither draws one too many.
func TestDiceRunOut(t *testing.T) {
	tb := begin(t)
	lines := tb.read("shoot Mortar at Riders; shoot Crossbows at Riders; hold Pikes")
	d := &scarce{left: 30}
	events, err := Decide(tb.state, Order{Player: "p1", Do: Sheet{Battle: 1, Orders: lines}}, d)
	if err != nil {
		t.Fatal(spell(err))
	}
	stop, ok := events[len(events)-1].(*Stopped)
	if !ok || stop.Line != 2 || stop.Why != "battle.refuse.dice" || len(stop.Rest) != 1 || d.left < 0 {
		t.Fatalf("%d dice left, last event %+v", d.left, events[len(events)-1])
	}
	u := tb.state.unit("u6")
	u.Turn.Lost = 2
	tb.state.unit("u5").Turn.Lost = 1
	d = &scarce{left: 1}
	events, err = Decide(tb.state, Order{Player: "p1", Do: Sheet{Battle: 1, Orders: []Line{{Order: Done}}}}, d)
	if err != nil {
		t.Fatal(spell(err))
	}
	if stop, ok := events[len(events)-1].(*Stopped); !ok || stop.Line != 1 || d.left != 0 {
		t.Fatalf("%d dice left, last event %+v", d.left, events[len(events)-1])
	}
	if tb.state = tb.state.Fold(events); tb.state.Side != 0 {
		t.Fatal("the turn was handed over in the middle of done")
	}
	events, err = Decide(tb.state, Order{Player: "p1", Do: Sheet{Battle: 1, Orders: []Line{{Order: Done}}}}, &scarce{left: 1})
	if _, ok := events[len(events)-1].(*Handed); err != nil || !ok {
		t.Fatal("done said again does not go on where it stopped")
	}
}

// TestOptions: what a unit may do, and why not, as things stand.
func TestOptions(t *testing.T) {
	tb := begin(t)
	tb.order("run Pikes 8 in", 3)
	for _, o := range tb.state.Options("u1") {
		switch o.Order {
		case Charge:
			if o.Why == nil || o.Why.Reason.ID != "battle.refuse.may_not" {
				t.Errorf("charge after running: %v", o.Why)
			}
		case Move, Run:
			if o.Why == nil || o.Why.Reason.ID != "battle.refuse.moved" {
				t.Errorf("%s after running: %v", o.Order, o.Why)
			}
		default:
			t.Errorf("Pikes may think of %s", o.Order)
		}
	}
	shots := 0
	for _, o := range tb.state.Options("u2") {
		if o.Order == Shoot && o.Why == nil {
			shots = len(o.At)
		}
	}
	if shots != 4 {
		t.Errorf("the Crossbows may shoot at %d units, want all four", shots)
	}
}
