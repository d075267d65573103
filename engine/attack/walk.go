package attack

import "drumhead/engine/odds"

// leafKind says what a token that came out of the last step does.
type leafKind int

const (
	damaging leafKind = iota // a packet of damage
	counting                 // it counts as one rung
)

// walk follows one token through the steps to what it does to the ladder. It
// remembers the climbs that it has found: spots that are alike are reckoned once.
type walk struct {
	attack *Attack
	leaf   leafKind
	foot   *odds.Footing
	pooled []int // by step: the bit of its re-roll that acts once, 0 for none
	save   int   // the bit of the saves, and of the last saves
	last   int
	cells  int // that climbs may still take
	known  map[spot]odds.Climb
	points map[[2]int]odds.Climb // of a packet, by segment and more damage
	err    error
}

// spot is a token before a step.
type spot struct {
	step  int
	token token
}

// walk prepares the footing: bits for re-rolls that act once, runs of like rungs.
func (a *Attack) walk(start odds.Law, top int, leaf leafKind) (*walk, error) {
	w := &walk{attack: a, leaf: leaf, known: map[spot]odds.Climb{}, points: map[[2]int]odds.Climb{}, cells: MostCells}
	modes := w.bits()
	reach := a.reach(leaf)
	highest := start.Least + len(start.Chance) - 1
	top = min(top, highest+a.Number.Most()*min(reach, MostRungs))
	if modes > 1<<MostPooled || top*modes > MostRungs || a.Number.Most() > MostAttacks {
		return nil, tooLarge()
	}
	foot := odds.NewFooting(top, modes)
	if leaf == damaging {
		foot = odds.FootingOf(a.runs(), top, modes, min(reach, top))
	}
	w.foot = &foot
	return w, nil
}

// bits gives every re-roll that acts once a bit, and returns the number of modes.
func (w *walk) bits() int {
	modes := 1
	bit := func(e Each) int {
		if e.Rerolls&OneMiss == 0 {
			return 0
		}
		modes *= 2
		return modes / 2
	}
	for _, s := range w.attack.Steps {
		w.pooled = append(w.pooled, bit(s))
	}
	if w.leaf == counting {
		return modes
	}
	var save, last Each // one re-roll for the saves of all segments
	for _, s := range w.attack.Ladder.Segments {
		save.Rerolls |= s.Save.Rerolls | s.Other.Rerolls
		last.Rerolls |= s.Last.Rerolls
	}
	w.save, w.last = bit(save), bit(last)
	return modes
}

// reach is the most rungs that one attack can climb.
func (a *Attack) reach(leaf leafKind) int {
	tokens := 1
	for _, s := range a.Steps {
		tokens *= 1 + s.siblings()
	}
	if leaf == counting {
		return tokens
	}
	points := a.Damage.Amount.Most() + a.moreDamage()
	if !a.Damage.Spill {
		wounds := 0
		for _, s := range a.Ladder.Segments {
			wounds = max(wounds, s.Wounds)
		}
		points = min(points, wounds)
	}
	return tokens * (points + a.surePoints())
}

// surePoints is the most sure damage that one token can come to.
func (a *Attack) surePoints() int {
	sum := 0
	for _, s := range a.Steps {
		for _, n := range s.Naturals {
			if n.Gift == Sure || n.Gift == AlsoSure {
				sum += n.Amount
			}
		}
	}
	return sum
}

// runs are the segments as runs of like rungs. Where damage spills it does not
// matter how much a model has left.
func (a *Attack) runs() []odds.Run {
	var runs []odds.Run
	for _, s := range a.Ladder.Segments {
		run := odds.Run{Rungs: s.Models * s.Wounds, Period: s.Wounds}
		if a.Damage.Spill {
			run.Period = 1
		}
		runs = append(runs, run)
	}
	return runs
}

// one is the climb of one attack.
func (w *walk) one() (odds.Climb, error) {
	c := w.at(spot{})
	return c, w.err
}

// spend takes room for so many numbers, and tells whether there was any.
func (w *walk) spend(cells int) bool {
	if w.cells -= cells; w.cells < 0 && w.err == nil {
		w.err = tooLarge()
	}
	return w.err == nil
}

// climb is a new climb, if there is room for it.
func (w *walk) climb(reach int) odds.Climb {
	if !w.spend(w.foot.Cells(reach)) {
		return w.foot.NewClimb(0)
	}
	return w.foot.NewClimb(reach)
}

// at is what one token at a spot does in the end.
func (w *walk) at(s spot) odds.Climb {
	if c, ok := w.known[s]; ok {
		return c
	}
	if w.err != nil {
		return w.foot.Stay()
	}
	var c odds.Climb
	switch {
	case s.step < len(w.attack.Steps):
		c = w.step(s)
	case w.leaf == counting:
		c = w.climb(1)
		w.always(c, 1)
	case s.token.sure > 0:
		c = w.climb(s.token.sure)
		w.always(c, s.token.sure)
	default:
		c = w.packet(s.token)
	}
	w.known[s] = c
	return c
}

// always lets a climb rise by so much for certain.
func (w *walk) always(c odds.Climb, rise int) {
	for class := range w.foot.Classes() {
		for mode := range w.foot.Modes {
			c.Add(class, mode, mode, rise, 1)
		}
	}
}

// step is what a token does that stands before a step.
func (w *walk) step(s spot) odds.Climb {
	e, t := w.attack.Steps[s.step], s.token
	switch e.meet(&t) {
	case goesFree:
		return w.at(spot{s.step + 1, t})
	case ends:
		return w.foot.Stay()
	}
	e.Need = e.Need.Better(-e.worse(t))
	var ways []way
	reach := 0
	for face := 1; face <= e.Sides; face++ {
		f := family{}
		goes := e.goesOn(e.Passes(face))
		if goes {
			f = e.gifts(t, face)
		}
		if n := len(ways); n > 0 && ways[n-1].goes == goes && ways[n-1].family == f {
			ways[n-1].last = face
			continue
		}
		c := w.foot.Stay()
		if goes {
			c = w.family(s.step+1, f)
		}
		reach = max(reach, c.Reach())
		ways = append(ways, way{goes: goes, family: f, climb: c, first: face, last: face})
	}
	return w.mix(e, w.pooled[s.step], ways, reach)
}

// way is what comes of a run of faces that do the same.
type way struct {
	goes        bool
	family      family
	climb       odds.Climb
	first, last int
}

// mix mixes the ways of a step by the chances of their faces.
func (w *walk) mix(e Each, bit int, ways []way, reach int) odds.Climb {
	c := w.climb(reach)
	if w.err != nil {
		return c
	}
	for mode := range w.foot.Modes {
		plain, again := e.faces(bit == 0 || mode&bit != 0)
		for _, v := range ways {
			c.Mix(mode, sum(plain, v.first, v.last), v.climb, mode)
			if again != nil {
				c.Mix(mode, sum(again, v.first, v.last), v.climb, mode|bit)
			}
		}
	}
	return c
}

// family is what all tokens of a family do, in their order.
func (w *walk) family(step int, f family) odds.Climb {
	c := w.at(spot{step, f.self})
	if f.extra > 0 {
		c = w.then(c, w.at(spot{step, f.before}), f.extra)
	}
	if f.alsoSure > 0 {
		c = w.then(c, w.at(spot{step, token{sure: f.alsoSure}}), 1)
	}
	return c
}

// then is a climb and n times another after it.
func (w *walk) then(c, next odds.Climb, n int) odds.Climb {
	for range n {
		if !w.spend(w.foot.Cells(c.Reach() + next.Reach())) {
			return c
		}
		c = c.Then(next)
	}
	return c
}

// sum adds the chances of the faces from one to another.
func sum(chance []float64, first, last int) float64 {
	total := 0.0
	for _, p := range chance[first-1 : last] {
		total += p
	}
	return total
}

// faces is the chance of each face, the first for 1: plain of those that come
// with re-rolls that act on each die, again of those for which the re-roll that
// acts once was used. spent tells that it is used up already; then, and where
// there is none, again is nil. All are whole numbers over the square of the
// sides, divided once.
func (e Each) faces(spent bool) (plain, again []float64) {
	fresh, single := 0, 0
	counts := make([]int, e.Sides)
	for i := range counts {
		switch passed := e.Passes(i + 1); {
		case e.Rerolls.picks(i+1, passed, false):
			fresh++
		case !spent && e.Rerolls.picks(i+1, passed, true):
			single++
		default:
			counts[i] = e.Sides
		}
	}
	square := float64(e.Sides * e.Sides)
	plain = make([]float64, e.Sides)
	for i, n := range counts {
		plain[i] = float64(n+fresh) / square
	}
	if single == 0 {
		return plain, nil
	}
	again = make([]float64, e.Sides)
	for i := range again {
		again[i] = float64(single) / square
	}
	return plain, again
}

// Chance is the chance that one die of the step passes, re-rolls that act on each
// die included.
func (e Each) Chance() float64 {
	total := 0.0
	plain, _ := e.faces(true)
	for i, p := range plain {
		if e.Passes(i + 1) {
			total += p
		}
	}
	return total
}
