package proof

import (
	"bytes"
	"encoding/json"
	"fmt"

	"drumhead/engine/dice"
	"drumhead/engine/reason"
	"drumhead/engine/sentence"
	"drumhead/storage"
)

// MostRolls is how many rolls back of a ledger can still be gone on with.
const MostRolls = 32

// Rolling is the room of bare dice: the command `roll`.
type Rolling struct{}

// RollArgs are the args of a roll. Dice is a dice sentence in its one spelling,
// without a label. Of is the entry whose dice an `again` goes on with; Said
// stands for the label, which lies beside the entry.
type RollArgs struct {
	Dice string `json:"dice"`
	Of   uint64 `json:"of,omitempty"`
	Said string `json:"said,omitempty"`
}

// RollEvent is the one event of a roll. Dice is the sentence as it was rolled:
// of an `again`, with the dice that it went on with.
type RollEvent struct {
	Type string `json:"type"` // "rolled"
	Dice string `json:"dice"`
	sentence.Outcome
}

// Rolled is a roll that may be gone on with: its entry, the one that it went on
// with itself (0 for none), who rolled, the sentence as it was rolled, and what
// it carries on.
type Rolled struct {
	Seq   uint64
	Of    uint64
	By    string // pseudonym
	Dice  string
	Carry sentence.Carry
}

// Rolls are the newest rolls of a ledger, in order: the state of the room. It is
// a value; nothing in it is ever changed.
type Rolls []*Rolled

// RollsOf finds the rolls of a game.
func RollsOf(g Game) Rolls {
	r, _ := g.Rooms[Rolling{}.Name()].(Rolls)
	return r
}

// Newest is the last roll, false if there is none.
func (r Rolls) Newest() (Rolled, bool) {
	if len(r) == 0 {
		return Rolled{}, false
	}
	return *r[len(r)-1], true
}

// Of is the roll of an entry, false if it is none or too long ago.
func (r Rolls) Of(seq uint64) (Rolled, bool) {
	for _, roll := range r {
		if roll.Seq == seq {
			return *roll, true
		}
	}
	return Rolled{}, false
}

// Carried is the roll that went on with an entry's dice already, if one did:
// dice are carried once, or a failed carry could be had again with a better need.
func (r Rolls) Carried(seq uint64) (Rolled, bool) {
	for _, roll := range r {
		if seq > 0 && roll.Of == seq {
			return *roll, true
		}
	}
	return Rolled{}, false
}

// Chain is the whole chain that ends with the roll of an entry, as one sentence,
// and its first roll. last is that roll's own sentence. A chain that no sentence
// can hold begins later.
func (r Rolls) Chain(seq uint64, last sentence.Sentence) (sentence.Sentence, Rolled, bool) {
	now, ok := r.Of(seq)
	if !ok {
		return sentence.Sentence{}, now, false
	}
	if before, ok := r.Of(now.Of); ok && now.Of < now.Seq {
		s, err := sentence.Parse(before.Dice)
		if err != nil {
			return last, now, true
		}
		if s, first, ok := r.Chain(now.Of, s); ok {
			if whole, ok := s.Then(last); ok {
				return whole, first, true
			}
		}
	}
	return last, now, true
}

// Name is the key of the room's state.
func (Rolling) Name() string { return "rolls" }

// Owns tells whether a command is played here.
func (Rolling) Owns(command string) bool { return command == "roll" }

// Check refuses what cannot be rolled. A roll always rolls.
func (Rolling) Check(g Game, c Command) (mayRoll bool, err error) {
	if _, err = roll(g, c); err != nil {
		return true, err
	}
	of, goesOn := numberIn(c.Args, "of")
	for seq, w := range g.Waiting {
		if with, ok := numberIn(w.Args, "of"); goesOn && ok && with == of && w.Name == c.Name {
			return true, reason.Refuse("/roll 20d6 3+", "dice.refuse.carried", "of", int64(of), "by", int64(seq))
		}
	}
	return true, nil
}

// Decide rolls.
func (Rolling) Decide(g Game, c Command, d dice.Drawer) ([]storage.Object, error) {
	s, err := roll(g, c)
	if err != nil {
		return nil, err
	}
	if d.Left() < sentence.MostDrawn {
		return nil, dice.ErrSpent
	}
	event, err := storage.Canon(RollEvent{Type: "rolled", Dice: s.Plain(), Outcome: s.Roll(d)})
	return []storage.Object{event}, err
}

// Apply remembers what can be gone on with. It looks only at the members that
// it needs: ledgers are long, and decoding whole events is what folding costs.
func (Rolling) Apply(g Game, c Command, events []storage.Object) (any, error) {
	if len(events) != 1 {
		return nil, fmt.Errorf("proof: a roll has one event, not %d", len(events))
	}
	rolled := &Rolled{Seq: c.Seq, By: c.Player}
	said, _ := storage.Member(events[0], "dice")
	var ok bool
	if rolled.Dice, ok = storage.Text(said); !ok {
		return nil, fmt.Errorf("proof: the event of a roll names no dice")
	}
	rolled.Of, _ = numberIn(c.Args, "of")
	if carry, ok := storage.Member(events[0], "carry"); ok {
		dice, _ := numberIn(carry, "dice")
		sides, _ := numberIn(carry, "sides")
		rolled.Carry = sentence.Carry{Dice: int(dice), Sides: int(sides)}
	}
	rolls := RollsOf(g)
	rolls = rolls[max(0, len(rolls)-MostRolls+1):]
	next := make(Rolls, len(rolls)+1)
	next[copy(next, rolls)] = rolled
	return next, nil
}

// RollOf finds the event of a roll.
func RollOf(events []storage.Object) (RollEvent, error) {
	var e RollEvent
	if len(events) != 1 {
		return e, fmt.Errorf("proof: a roll has one event, not %d", len(events))
	}
	if err := json.Unmarshal(events[0], &e); err != nil {
		return e, err
	}
	if e.Type != "rolled" || len(e.Rounds) == 0 {
		return e, fmt.Errorf("proof: %q is no event of a roll", e.Type)
	}
	return e, nil
}

// roll reads the args of a roll as the sentence that is rolled.
func roll(g Game, c Command) (sentence.Sentence, error) {
	var args RollArgs
	read := json.NewDecoder(bytes.NewReader(c.Args))
	read.DisallowUnknownFields()
	if err := read.Decode(&args); err != nil {
		return sentence.Sentence{}, fmt.Errorf("proof: args of a roll: %w", err)
	}
	s, err := sentence.Parse(args.Dice)
	if err != nil {
		return s, err
	}
	if s.Plain() != args.Dice || s.Label != "" || s.Again != (args.Of > 0) {
		return s, fmt.Errorf("proof: %q is not how a roll is written in an entry", args.Dice)
	}
	if by, twice := RollsOf(g).Carried(args.Of); twice {
		return s, reason.Refuse("/roll 20d6 3+", "dice.refuse.carried", "of", int64(args.Of), "by", int64(by.Seq))
	}
	before, _ := RollsOf(g).Of(args.Of)
	return s.On(before.Carry)
}
