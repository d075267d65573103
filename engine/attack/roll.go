package attack

import "drumhead/engine/dice"

// Roll rolls the whole attack. It draws as few dice as the rules of order need
// and never more than Most.
func (a Attack) Roll(d dice.Drawer) Result {
	r := Result{}
	r.NumberDice, r.Attacks = a.Number.roll(d)
	tokens := make([]token, r.Attacks)
	for _, step := range a.Steps {
		var rolled Rolled
		rolled, tokens = step.roll(d, tokens)
		r.Steps = append(r.Steps, rolled)
	}
	r.Through = len(tokens)
	if len(a.Ladder.Segments) > 0 {
		a.strike(d, tokens, &r)
	}
	return r
}

// Roll rolls the step for n plain tokens.
func (e Each) Roll(d dice.Drawer, n int) Rolled {
	rolled, _ := e.roll(d, make([]token, n))
	return rolled
}

// Most is the most dice that the pools can draw.
func (p Pools) Most() int {
	return p.Mine.Most() + p.Theirs.Most()
}

// Roll rolls mine, then theirs, and cancels.
func (p Pools) Roll(d dice.Drawer) PoolsRolled {
	r := PoolsRolled{Mine: p.Mine.Step.Roll(d, p.Mine.Number), Theirs: p.Theirs.Step.Roll(d, p.Theirs.Number)}
	r.Left = max(0, r.Mine.On-r.Theirs.On)
	return r
}

func (n Number) roll(d dice.Drawer) (faces []int, sum int) {
	for range n.Times {
		f, value := n.Per.Roll(d)
		faces = append(faces, f...)
		sum += max(value, n.Least)
	}
	return faces, sum
}

// Where a token stands at a step: the place of its die, from 0, or one of these.
const (
	goesFree = -1
	ends     = -2
)

// roll takes tokens through the step: all dice first, in the order of the
// tokens, then re-rolls, then who goes on.
func (e Each) roll(d dice.Drawer, tokens []token) (Rolled, []token) {
	throw := throw{step: e}
	place := make([]int, len(tokens))
	r := Rolled{}
	for i := range tokens {
		place[i] = e.meet(&tokens[i])
		switch place[i] {
		case goesFree:
			r.Free++
		case ends:
		default:
			place[i] = throw.add(e.worse(tokens[i]))
		}
	}
	throw.roll(d, new(bool))
	r.Dice, r.Again = throw.dice, throw.again
	next := make([]token, 0, len(tokens))
	for i, t := range tokens {
		if place[i] == goesFree {
			next = append(next, t)
		}
		if place[i] < 0 {
			continue
		}
		passed := throw.passed(place[i])
		if passed {
			r.Passed++
		}
		if e.goesOn(passed) {
			f := e.gifts(t, throw.faces[place[i]])
			r.count(f)
			next = f.tokens(next)
		}
	}
	r.On = len(next)
	return r, next
}

// count notes what a natural face gave.
func (r *Rolled) count(f family) {
	r.Extra += f.extra
	if f.alsoSure > 0 {
		r.Sure++
	}
	if f.self.sure > 0 {
		r.Sure++
	}
}

// meet settles what a token does at the step before any die: it goes on free,
// it ends, or (0) it rolls.
func (e Each) meet(t *token) int {
	switch {
	case t.sure > 0, e.Sides == 0, e.On == FailsGoOn && t.noSave:
		return goesFree
	case t.skip > 0:
		t.skip--
		return goesFree
	}
	e.Need = e.Need.Better(-e.worse(*t))
	switch {
	case e.NeedsDie():
		return 0
	case e.goesOn(e.Certain()):
		return goesFree
	}
	return ends
}

// worse is by how much a token's piercing worsens the step: only if it is a save.
func (e Each) worse(t token) int {
	if e.On == FailsGoOn {
		return t.piercing
	}
	return 0
}
