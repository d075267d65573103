package dice

import "fmt"

// Mismatch is what a Shown panics with when the rules ask for other dice than
// those recorded, and what Done returns when they ask for too few.
type Mismatch struct {
	Die      int // the die it is about, 0 for the first
	Asked    int // sides asked for; 0 if the rules asked for no more
	Recorded int // sides recorded; 0 if none was
}

func (m *Mismatch) Error() string {
	switch {
	case m.Asked == 0:
		return fmt.Sprintf("dice: die %d, a d%d, is recorded but not asked for", m.Die, m.Recorded)
	case m.Recorded == 0:
		return fmt.Sprintf("dice: die %d, a d%d, is asked for but not recorded", m.Die, m.Asked)
	}
	return fmt.Sprintf("dice: die %d is recorded as a d%d, the rules ask for a d%d", m.Die, m.Recorded, m.Asked)
}

// Shown is a Drawer over dice that were recorded: a replay draws from it.
type Shown struct {
	faces    [][]int
	run, die int // where the next die stands: its run, and its place in the run
	drawn    int
}

// NewShown makes a Drawer over the faces of an entry; see Stream.Faces.
func NewShown(faces [][]int) *Shown { return &Shown{faces: faces, die: 1} }

// Draw gives the next recorded face. It panics with a *Mismatch if the die
// recorded has other sides, or if there is none.
func (s *Shown) Draw(sides int) int {
	if s.drawn == MostDice {
		panic(ErrSpent)
	}
	if s.run == len(s.faces) {
		panic(&Mismatch{Die: s.drawn, Asked: sides})
	}
	run := s.faces[s.run]
	if run[0] != sides {
		panic(&Mismatch{Die: s.drawn, Asked: sides, Recorded: run[0]})
	}
	face := run[s.die]
	s.drawn++
	if s.die++; s.die == len(run) {
		s.run, s.die = s.run+1, 1
	}
	return face
}

// Left tells how many more dice the entry could have drawn when it was made,
// so that rules which look at it decide now as they did then.
func (s *Shown) Left() int { return MostDice - s.drawn }

// Done tells whether every recorded die was asked for; if not it returns a
// *Mismatch that names the first which was not.
func (s *Shown) Done() error {
	if s.run == len(s.faces) {
		return nil
	}
	return &Mismatch{Die: s.drawn, Recorded: s.faces[s.run][0]}
}

// Try runs what draws dice and turns the panics of a Drawer, ErrSpent and
// *Mismatch, into an error. Other panics go on.
func Try(draw func() error) (err error) {
	defer func() {
		switch p := recover().(type) {
		case nil:
		case *Mismatch:
			err = p
		default:
			if p != error(ErrSpent) {
				panic(p)
			}
			err = ErrSpent
		}
	}()
	return draw()
}
