// Package attack is the algebra of an attack: tokens that pass through steps,
// packets of damage that climb a ladder of wounds, totals, pools and opposed
// rolls. Every value here is numbers only. Whoever compiles one (a rules pack,
// a dice sentence) has already settled distance, cover, charts and modifiers,
// so that what is left depends on nothing but dice.
//
// A token is one attack on its way. Each step rolls one die for each token; the
// tokens that go on come to the next step, and what is left after the last one
// becomes packets of damage, applied one by one in the order of the dice.
//
// The rules of order, the same for everybody:
//
//  1. A natural face is the face after its re-roll, before modifiers. A miss is
//     judged after modifiers. No die is re-rolled twice.
//  2. Modifiers are added, then capped, then natural 1 and natural maximum
//     count. Piercing is no modifier and is not capped.
//  3. A need above the die is met by a natural maximum where the step says so,
//     else by nothing, and no die is rolled. A need of 1 or less is 2 where a
//     natural 1 fails, else the step is passed without a die.
//  4. Damage is applied as rolled: attack by attack in the order of the dice, an
//     extra token right after its parent.
//  5. Saves are rolled one after another, and stop when nobody is left. Dice
//     that were not needed are not drawn.
//  6. A last save is that of the model hit first by the packet, for all its points.
package attack

// Attack is everything that one weapon's attacks on one target depend on.
// Its zero values are harmless: no steps, no damage, no target.
type Attack struct {
	Number Number // how many tokens start
	Steps  []Each // in order; a save of the models themselves stands in Ladder
	Damage Damage
	Ladder Ladder // the target; without segments tokens are only counted
}

// Number is how many attacks there are: Per is rolled Times times (once for
// each model, say), each result raised to Least, and all are added.
type Number struct {
	Per   Amount
	Times int
	Least int
}

// Exactly is a Number of n attacks.
func Exactly(n int) Number { return Number{Per: Amount{Plus: n}, Times: 1} }

// Most is the highest number that n can give.
func (n Number) Most() int { return n.Times * max(n.Per.Most(), n.Least) }

// Damage is what one token does that nothing stopped. Spill lets what is beyond
// a model's last wound go on to the next model; else it is lost.
type Damage struct {
	Amount Amount
	Spill  bool
}

// Most is the most dice that Roll can draw, for whoever must ask the Drawer
// first. It counts every token as going on and every die as re-rolled.
func (a Attack) Most() int {
	tokens := a.Number.Most()
	drawn := a.Number.Times * a.Number.Per.Dice
	for _, s := range a.Steps {
		drawn += tokens * s.dicePerToken()
		tokens *= 1 + s.extras()
	}
	if len(a.Ladder.Segments) == 0 {
		return drawn
	}
	return drawn + tokens*a.dicePerPacket()
}

// dicePerPacket is the most dice that one packet can need: its save, its damage,
// and a last save for each point.
func (a Attack) dicePerPacket() int {
	save, last := 0, 0
	for _, s := range a.Ladder.Segments {
		save = max(save, s.Save.dicePerToken(), s.Other.dicePerToken())
		last = max(last, s.Last.dicePerToken())
	}
	points := a.Damage.Amount.Most() + a.moreDamage()
	return save + a.Damage.Amount.Dice + points*last
}

// moreDamage is the most damage that naturals can add to one token.
func (a Attack) moreDamage() int {
	sum := 0
	for _, s := range a.Steps {
		for _, n := range s.Naturals {
			if n.Gift == MoreDamage {
				sum += n.Amount
			}
		}
	}
	return sum
}

// Blows is the most tokens that can come to the models.
func (a Attack) Blows() int {
	tokens := a.Number.Most()
	for _, s := range a.Steps {
		tokens *= 1 + s.siblings()
	}
	return tokens
}
