package attack

// On says which dice of a step go on to the next.
type On int

// Successes go on, except that after a save the failures do.
const (
	PassesGoOn On = iota
	FailsGoOn
)

// Each is the step that rolls one die for each token. The zero value is no step
// at all: where it stands for a save, there is none.
type Each struct {
	Sides     int  // of the die; 0 for no step
	Need      Need // after charts, modifiers and piercing
	OneFails  bool // a natural 1 misses, whatever the need
	TopPasses bool // a natural maximum meets any need
	Rerolls   Rerolls
	Naturals  []Natural // act on dice that go on
	On        On
}

// Passes tells whether a face, after any re-roll, meets the need.
func (e Each) Passes(face int) bool {
	switch {
	case face == 1 && e.OneFails:
		return false
	case face == e.Sides && e.TopPasses:
		return true
	}
	return e.Need.Met(face)
}

// Good is how many faces of the die meet the need.
func (e Each) Good() int {
	good := e.Sides - e.Need.Face + 1
	if e.Need.OrLess {
		good = e.Need.Face
	}
	good = min(max(good, 0), e.Sides)
	if e.OneFails && e.Need.Met(1) {
		good--
	}
	if e.TopPasses && !e.Need.Met(e.Sides) {
		good++
	}
	return good
}

// Impossible tells that no face meets the need: no die is rolled, and all fail.
func (e Each) Impossible() bool { return e.Good() <= 0 }

// Certain tells that every face meets the need: no die is rolled, and all pass.
func (e Each) Certain() bool { return e.Good() >= e.Sides }

// NeedsDie tells whether the step rolls at all.
func (e Each) NeedsDie() bool { return e.Sides > 0 && !e.Impossible() && !e.Certain() }

// dicePerToken is the most dice that one token can need here. A step that needs
// none as it stands counts too: piercing may change a save.
func (e Each) dicePerToken() int {
	switch {
	case e.Sides == 0:
		return 0
	case e.Rerolls != 0:
		return 2
	}
	return 1
}

// extras is the most tokens that one token can bring with it here.
func (e Each) extras() int {
	sum := 0
	for _, n := range e.Naturals {
		if n.Gift == Extra {
			sum += n.Amount
		}
	}
	return sum
}

// siblings is the most tokens that can come of one token besides itself: extra
// ones, and those of sure damage, which roll no dice.
func (e Each) siblings() int {
	sum := e.extras()
	for _, n := range e.Naturals {
		if n.Gift == AlsoSure {
			sum++
			break
		}
	}
	return sum
}

// goesOn tells whether a die with this outcome goes on.
func (e Each) goesOn(passed bool) bool { return passed == (e.On == PassesGoOn) }
