// Package sentence reads, writes and rolls dice sentences, such as
//
//	20d6 3+, 4+, save 5+ for the bridge
//
// A sentence is dice with what they need, stage by stage: successes go on to the
// next stage, and after a save the failures do. It may also be a total, kept
// dice, an opposed roll, pools that cancel, or a whole attack into models.
//
// Many spellings are read, one is written: Parse(Format(Parse(x))) == Parse(x).
package sentence

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// The limits of a sentence. Every refusal names the limit it is about.
const (
	MostCharacters = 200
	MostDice       = 1000 // rolled at first, in all
	LeastSides     = attack.LeastSides
	MostSides      = attack.MostSides
	MostStages     = 6
	LeastTimes     = 2
	MostTimes      = 20
	MostKeptFrom   = 40 // dice of which some are kept
	MostNumber     = attack.MostPlus
	MostModels     = 100
	MostWounds     = 40
	MostOpen       = 20   // dice that one open-ended die may bring
	MostDrawn      = 4000 // in the worst case: every die re-rolled, every success going on
	MostBlows      = 300  // attacks that may come to the models, in the worst case
)

// Sentence is a dice sentence. Exactly one of these shapes: a total (Mine alone),
// a chain (Stages, and perhaps Damage), an opposed roll (Theirs), pools (Theirs
// and its Stage, with one stage of Mine), or Again (stages only).
type Sentence struct {
	Again  bool // the dice are those that the last roll here carries on
	Times  int  // 1 unless said
	Mine   Side
	Stages []Stage
	Theirs *Side
	Hurt   *Hurt
	// AtLeast asks whether so many come of it: successes, or damage, or models
	// that fall. 0: not asked.
	AtLeast int
	Label   string // what it is for, in the player's own words; never part of an entry
}

// Side is dice that are added up or looked at one by one.
type Side struct {
	Terms []Term
	Plus  int          // numbers added, in all
	Total *attack.Need // what the sum needs
	Stage *Stage       // of their pool; mine has Sentence.Stages
}

// Term is dice of one kind.
type Term struct {
	Dice  int
	Sides int
	Keep  int  // best so many; negative: worst so many; 0: all
	Open  bool // open-ended: the top face is rolled again and added
	Tens  bool // d66: two d6 read as tens and ones
	Minus bool // subtracted
}

// Stage is what each die needs, and its rules.
type Stage struct {
	Save    bool
	Need    attack.Need
	Rerolls attack.Rerolls // one of ones, misses, passes, one miss; or none
	Top     int            // the die's highest face as said, if a natural one does more; else 0
	Twice   bool           // it counts twice
	Next    bool           // it passes the next stage too
	NoSave  bool           // it cannot be saved
}

// Hurt is what each success does in the end.
type Hurt struct {
	Amount attack.Amount
	Last   *attack.Need // last save, a die for each point
	Models int          // of the target; 0: damage is only added up
	Wounds int          // of each model
}

// Carry is dice that the next roll may go on with.
type Carry struct {
	Dice  int `json:"dice"`
	Sides int `json:"sides"`
}

// Shape says what kind of sentence it is.
type Shape int

// The shapes.
const (
	Total   Shape = iota // dice shown, added up, perhaps judged
	Chain                // each die needs something
	Opposed              // one total against another
	Pools                // successes that cancel successes
)

// Shape tells which of the shapes the sentence has.
func (s Sentence) Shape() Shape {
	switch {
	case s.Theirs != nil && s.Theirs.Stage != nil:
		return Pools
	case s.Theirs != nil:
		return Opposed
	case len(s.Stages) > 0:
		return Chain
	}
	return Total
}

// Dice is how many dice of which kind a chain starts with.
func (s Sentence) Dice() Carry {
	if len(s.Mine.Terms) != 1 {
		return Carry{}
	}
	return Carry{Dice: s.Mine.Terms[0].Dice, Sides: s.Mine.Terms[0].Sides}
}

// On puts the dice that were carried on into an `again`: the sentence that is
// rolled. It refuses when there are none, or when they cannot show what is
// needed. Any other sentence is returned as it is.
func (s Sentence) On(c Carry) (Sentence, error) {
	if !s.Again {
		return s, nil
	}
	if c.Dice < 1 {
		return s, reason.Refuse("20d6 3+", "dice.refuse.no_carry")
	}
	s.Again = false
	s.Mine = Side{Terms: []Term{{Dice: c.Dice, Sides: c.Sides}}}
	return s, s.check()
}

// Then is the sentence that rolls both in one: this chain, and the stages of an
// `again` on what it carried. It gives false where no such sentence may be said.
func (s Sentence) Then(again Sentence) (Sentence, bool) {
	if s.Shape() != Chain || s.Again || s.Times > 1 || s.Hurt != nil || len(s.Stages)+len(again.Stages) > MostStages {
		return Sentence{}, false
	}
	s.Stages = append(append([]Stage(nil), s.Stages...), again.Stages...)
	s.AtLeast, s.Label = 0, ""
	return s, s.check() == nil
}
