package sentence

import (
	"drumhead/engine/attack"
	"drumhead/engine/odds"
)

// Quantity is what the odds of a sentence are about.
type Quantity string

// The quantities.
const (
	Successes Quantity = "successes" // dice that came through all stages
	GoThrough Quantity = "through"   // and that no save stopped
	Damage    Quantity = "damage"    // in all
	Models    Quantity = "models"    // that fall
	Sum       Quantity = "total"
	Left      Quantity = "left"   // of a pool
	Winner    Quantity = "winner" // 0 the second side, 1 neither, 2 the first
)

// Odds is the exact law of what one round of the sentence comes to, and what that
// is. It refuses with odds.refuse.large what would take too long; an `again` must
// be put on its dice first.
func (s Sentence) Odds() (law odds.Law, what Quantity, err error) {
	switch s.Shape() {
	case Opposed:
		law, err = s.opposed().Law()
		return law, Winner, err
	case Pools:
		law, err = s.pools().Law()
		return law, Left, err
	case Total:
		law, err = s.Mine.total().Law()
		return law, Sum, err
	}
	a := s.attack()
	if s.Hurt == nil {
		law, err = a.Through()
		if s.Stages[len(s.Stages)-1].Save {
			return law, GoThrough, err
		}
		return law, Successes, err
	}
	solved, err := a.Solve()
	switch {
	case err != nil:
		return law, Damage, err
	case s.Hurt.Models == 0:
		return solved.Crossed(0), Damage, nil
	}
	return solved.Fell(0), Models, nil
}

// Attack is the sentence as an attack; one that adds up or is opposed has none.
func (s Sentence) Attack() attack.Attack { return s.attack() }

// Short tells by how much a roll fell short of what the sentence asked: of so many
// at least, or of a total (negative: it was so much too high). It is false for one
// that did not, or that asks nothing.
func (s Sentence) Short(r Round) (by int, short bool) {
	switch {
	case s.AtLeast > 0 && !r.Met:
		return s.AtLeast - s.Count(r), true
	case r.Sum != nil && s.Mine.Total != nil && !r.Sum.Passed:
		return s.Mine.Total.Face - r.Sum.Total, true
	}
	return 0, false
}

// Asked is the chance that the sentence comes to what it asks: at least so many, or
// a total that is made. It gives false for one that asks nothing.
func (s Sentence) Asked(law odds.Law) (chance float64, ok bool) {
	switch {
	case s.AtLeast > 0:
		return law.AtLeast(s.AtLeast), true
	case s.Mine.Total == nil:
		return 0, false
	case s.Mine.Total.OrLess:
		return law.AtMost(s.Mine.Total.Face), true
	}
	return law.AtLeast(s.Mine.Total.Face), true
}
