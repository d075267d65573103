package sentence

import (
	"drumhead/engine/attack"
	"drumhead/engine/dice"
	"drumhead/engine/odds"
)

// Outcome is what a sentence came to. As JSON it holds whole numbers, truth
// values and needs such as "4+", so that it can stand in an entry.
type Outcome struct {
	Rounds []Round `json:"rounds"`         // one, or as many as `times` said
	Carry  Carry   `json:"carry,omitzero"` // what `again` would go on with
}

// Round is one roll of the sentence. Exactly one of Sum, Chain, Opposed and Pools
// is there, as the sentence's shape says.
type Round struct {
	Sum     *attack.Sum           `json:"sum,omitempty"`
	Chain   *attack.Result        `json:"chain,omitempty"`
	Opposed *attack.OpposedRolled `json:"opposed,omitempty"`
	Pools   *attack.PoolsRolled   `json:"pools,omitempty"`
	Met     bool                  `json:"met,omitempty"` // at least as many as asked
}

// Roll rolls a sentence that Parse or On returned; an `again` must be put on its
// dice first. It draws at most MostDrawn dice.
func (s Sentence) Roll(d dice.Drawer) Outcome {
	var o Outcome
	for range s.Times {
		o.Rounds = append(o.Rounds, s.round(d))
	}
	if s.Times == 1 {
		o.Carry = s.carry(o.Rounds[0])
	}
	return o
}

func (s Sentence) round(d dice.Drawer) Round {
	r := Round{}
	switch s.Shape() {
	case Total:
		sum := s.Mine.total().Roll(d)
		r.Sum = &sum
	case Chain:
		result := s.attack().Roll(d)
		r.Chain = &result
	case Opposed:
		rolled := s.opposed().Roll(d)
		r.Opposed = &rolled
	case Pools:
		rolled := s.pools().Roll(d)
		r.Pools = &rolled
	}
	r.Met = s.AtLeast > 0 && s.Count(r) >= s.AtLeast
	return r
}

// Count is what `at least` counts: models that fell, else damage, else what came
// through the last stage, else what is left of a pool.
func (s Sentence) Count(r Round) int {
	switch {
	case r.Pools != nil:
		return r.Pools.Left
	case r.Chain == nil:
		return r.total()
	case s.Hurt == nil:
		return r.Chain.Through
	case s.Hurt.Models == 0:
		return r.Chain.Crossed
	}
	return r.Chain.Fell
}

func (r Round) total() int {
	if r.Sum != nil {
		return r.Sum.Total
	}
	return 0
}

// carry is what a next roll may go on with: the successes of a chain or a pool.
func (s Sentence) carry(r Round) Carry {
	if r.Pools == nil && (r.Chain == nil || s.Hurt != nil) {
		return Carry{}
	}
	if n := s.Count(r); n > 0 {
		return Carry{Dice: n, Sides: s.Dice().Sides}
	}
	return Carry{}
}

// Through is the exact law of what comes through the stages of a chain without
// damage. It gives false for any other sentence, and for what is too large.
func (s Sentence) Through() (odds.Law, bool) {
	if s.Shape() != Chain || s.Again || s.Hurt != nil {
		return odds.Law{}, false
	}
	law, err := s.attack().Through()
	return law, err == nil
}

// Chance is the chance that one die of so many sides passes the stage. It gives
// false where one miss of a whole throw is re-rolled.
func (st Stage) Chance(sides int) (float64, bool) {
	return st.each(sides).Chance(), st.Rerolls&attack.OneMiss == 0
}

// Law is the exact law of a total. It gives false for what is no total, or is
// too large to reckon while somebody waits.
func (s Side) Law() (odds.Law, bool) {
	law, err := s.total().Law()
	return law, err == nil
}

// Made is the chance that a judged total is made. It gives false as Law does, or
// if the total is not judged.
func (s Side) Made() (float64, bool) {
	law, ok := s.Law()
	switch {
	case !ok || s.Total == nil:
		return 0, false
	case s.Total.OrLess:
		return law.AtMost(s.Total.Face), true
	}
	return law.AtLeast(s.Total.Face), true
}
