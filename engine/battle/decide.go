package battle

import (
	"strings"

	"drumhead/engine/dice"
	"drumhead/engine/reason"
)

// Check tells whether an order may be given now and whether it may roll dice.
// It refuses, with a *reason.Refusal, everything that Decide refuses, and
// throws no die.
func Check(s State, o Order) (mayRoll bool, err error) {
	switch do := o.Do.(type) {
	case Begin:
		return true, checkBegin(s, do)
	case Sheet:
		if err := s.unmixed(do); err != nil {
			return false, err
		}
		return checkSheet(s, o, do)
	case Ahead:
		return false, checkAhead(s, o, do)
	case Finish:
		return false, checkFinish(s, o)
	case Play:
		return false, checkPlay(s, o)
	case Agree:
		return false, checkAgree(s, o)
	case Dispute:
		return false, checkDispute(s, o, do)
	case Concede:
		_, err := playing(s, o)
		return false, err
	case Pass:
		return checkPass(s, o)
	case More:
		return false, checkMore(s, o, do)
	case Late:
		return false, checkLate(s, o, do)
	case Undo:
		return false, checkUndo(s, o, do)
	case Keep:
		return false, checkKeep(s, o)
	}
	return false, refuse("battle.refuse.command")
}

// Decide gives the events of an order, in the order in which they happen. It
// reads only its arguments and draws only what the rules ask for. What Check
// refuses it refuses too, before any die.
func Decide(s State, o Order, d dice.Drawer) ([]Event, error) {
	events, _, err := Tell(s, o, d)
	return events, err
}

// Tell is Decide with the story: for each roll what was needed, why, and what
// the dice showed. With the faces of an entry it explains that entry.
func Tell(s State, o Order, d dice.Drawer) ([]Event, []Told, error) {
	if _, err := Check(s, o); err != nil {
		return nil, nil, err
	}
	r := &run{state: s.own(), order: o, drawer: d, openings: openings(s, o.Opened)}
	switch do := o.Do.(type) {
	case Begin:
		r.begin(do)
	case Sheet:
		r.withdraw()
		r.sheet(do.Orders)
	case Ahead:
		r.emit(&Settled{By: s.SideOf(o.Player), Of: o.Seq})
	case Finish:
		r.finish()
	case Play:
		r.withdraw()
	case Agree:
		r.agree()
	case Dispute:
		r.emit(&Disputed{Side: s.SideOf(o.Player)})
	case Concede:
		r.concede()
	case Pass:
		r.withdraw()
		r.sheet([]Line{{Order: Done}})
	case Late:
		r.emit(&TimeUp{Side: do.Side})
	case More:
		r.emit(&Given{Side: s.Side, Hours: do.Hours})
	case Undo:
		r.undo(do)
	case Keep:
		r.emit(&Kept{Side: s.Asked.By})
	}
	return r.events, r.told, nil
}

// run is an order on its way: the state as it has become, and what happened.
type run struct {
	state    State
	order    Order
	drawer   dice.Drawer
	openings [2][]opening
	events   []Event
	told     []Told
	line     int // of the sheet, from 1
}

// emit lets an event happen.
func (r *run) emit(e Event) {
	e.apply(&r.state)
	r.events = append(r.events, e)
}

// playing refuses what needs a battle in play, and tells who asks.
func playing(s State, o Order) (side int, err error) {
	if s.Stage == Over {
		return Nobody, reason.Refuse("/battle status", "battle.refuse.played")
	}
	return seated(s, o)
}

// seated tells who asks; it refuses who does not play here, and everybody where no
// battle has begun or it has ended for good.
func seated(s State, o Order) (side int, err error) {
	side = s.SideOf(o.Player)
	switch {
	case s.Stage == Unborn:
		return Nobody, refuse("battle.refuse.none")
	case s.Stage == Ended:
		return Nobody, refuse("battle.refuse.over")
	case side == Nobody:
		return Nobody, refuse("battle.refuse.stranger", "players", s.people())
	}
	return side, nil
}

// people is the two players, to be shown.
func (s State) people() []reason.Reason {
	return []reason.Reason{
		reason.New("battle.player", "player", reason.Person(s.Players[0])),
		reason.New("battle.player", "player", reason.Person(s.Players[1])),
	}
}

// mover refuses whoever has not the move.
func mover(s State, o Order) error {
	side, err := playing(s, o)
	if err != nil {
		return err
	}
	if side != s.Side {
		example, _, _ := strings.Cut(s.aheadExample(), ";")
		return reason.Refuse(example, "battle.refuse.turn", "player", reason.Person(s.Players[s.Side]), "turn", s.Turn)
	}
	return nil
}
