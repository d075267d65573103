package odds

// Climb is the chance of every rise from every class of rungs and every mode to
// every mode: what one attack does to a ladder, say. It belongs to one Footing.
// A rise of reach, if reach is the footing's top, means so many rungs or more.
//
// Chances of one row may add up to less than 1: such a climb is a part of one.
type Climb struct {
	foot   *Footing
	reach  int
	chance []float64 // by class, mode, mode after, rise
}

// NewClimb is a climb without any chances, of at most so many rungs.
func (f *Footing) NewClimb(reach int) Climb {
	reach = min(reach, f.Top)
	return Climb{foot: f, reach: reach, chance: make([]float64, f.Cells(reach))}
}

// Cells is how many numbers a climb of such a reach holds.
func (f *Footing) Cells(reach int) int {
	return f.Classes() * f.Modes * f.Modes * (min(reach, f.Top) + 1)
}

// Stay is the climb that goes nowhere.
func (f *Footing) Stay() Climb {
	c := f.NewClimb(0)
	for class := range f.Classes() {
		for mode := range f.Modes {
			c.Add(class, mode, mode, 0, 1)
		}
	}
	return c
}

// Reach is the highest rise.
func (c Climb) Reach() int { return c.reach }

func (c Climb) row(class, mode, after int) []float64 {
	at := ((class*c.foot.Modes+mode)*c.foot.Modes + after) * (c.reach + 1)
	return c.chance[at : at+c.reach+1]
}

// Add adds a chance of one rise.
func (c Climb) Add(class, mode, after, rise int, p float64) {
	c.row(class, mode, after)[min(rise, c.reach)] += p
}

// Chance is the chance of one rise.
func (c Climb) Chance(class, mode, after, rise int) float64 {
	return c.row(class, mode, after)[rise]
}

// Mix adds p times what another climb does from one mode to what this one does
// from a mode. The other's reach must not be more than this one's.
func (c Climb) Mix(mode int, p float64, other Climb, from int) {
	if p == 0 {
		return
	}
	for class := range c.foot.Classes() {
		for after := from; after < c.foot.Modes; after++ {
			to := c.row(class, mode, after)
			for rise, q := range other.row(class, from, after) {
				to[rise] += p * q
			}
		}
	}
}

// Then is this climb and after it another.
func (c Climb) Then(next Climb) Climb {
	out := c.foot.NewClimb(c.reach + next.reach)
	for class, rung := range c.foot.rungs {
		for mode := range c.foot.Modes {
			for via := mode; via < c.foot.Modes; via++ {
				for rise, p := range c.row(class, mode, via) {
					if p != 0 {
						out.spread(class, mode, via, rise, p, next.at(rung+rise))
					}
				}
			}
		}
	}
	return out
}

// at is the climb's rows from a rung.
func (c Climb) at(rung int) standing { return standing{c, c.foot.class(rung)} }

// standing is a climb from one class of rungs.
type standing struct {
	Climb
	class int
}

// spread adds what comes of a rise when another climb follows it.
func (c Climb) spread(class, mode, via, rise int, p float64, next standing) {
	for after := via; after < c.foot.Modes; after++ {
		to := c.row(class, mode, after)
		for more, q := range next.row(next.class, via, after) {
			to[min(rise+more, c.reach)] += p * q
		}
	}
}

// Power is n such climbs, one after another.
func (c Climb) Power(n int) Climb {
	out := c.foot.Stay()
	for square := c; n > 0; n >>= 1 {
		if n&1 == 1 {
			out = out.Then(square)
		}
		if n > 1 {
			square = square.Then(square)
		}
	}
	return out
}

// Climber is where somebody stands on a ladder, as chances: by mode and rung.
type Climber struct {
	foot   *Footing
	stands [][]float64 // by mode: rungs 0 to top, and room for one climb beyond
	low    int         // no chance below it
	here   []float64   // one rung, by mode
}

// vanishing is the chance below which nothing is carried on: beside the smallest
// numbers that a float64 holds no digit of it would be true.
const vanishing = 1e-300

// NewClimber stands as a law of rungs says, in a mode, and takes climbs of at
// most such a reach. What the law has beyond the top stands at the top.
func (f *Footing) NewClimber(start Law, reach, mode int) *Climber {
	c := &Climber{foot: f, low: f.Top, here: make([]float64, f.Modes)}
	for range f.Modes {
		c.stands = append(c.stands, make([]float64, f.Top+min(reach, f.Top)+1))
	}
	for i, p := range start.Chance {
		rung := min(start.Least+i, f.Top)
		if c.stands[mode][rung] += p; p > 0 {
			c.low = min(c.low, rung)
		}
	}
	return c
}

// Done tells that nobody can climb any more.
func (c *Climber) Done() bool { return c.low >= c.foot.Top }

// Take takes a climb, from the highest rung down, so that nobody climbs twice.
func (c *Climber) Take(climb Climb) {
	for rung := c.foot.Top - 1; rung >= c.low; rung-- {
		class := c.foot.class(rung)
		for mode := range c.stands {
			c.here[mode], c.stands[mode][rung] = c.stands[mode][rung], 0
		}
		for mode, p := range c.here {
			if p < vanishing {
				continue
			}
			for after := mode; after < c.foot.Modes; after++ {
				row := climb.row(class, mode, after)
				to := c.stands[after][rung : rung+len(row)]
				for rise, q := range row {
					to[rise] += p * q
				}
			}
		}
	}
	c.clip()
}

// clip takes who went beyond the top back to it, and finds the lowest rung.
func (c *Climber) clip() {
	top := c.foot.Top
	for _, stands := range c.stands {
		for i, p := range stands[top+1:] {
			stands[top] += p
			stands[top+1+i] = 0
		}
	}
	for c.low < top && c.empty(c.low) {
		c.low++
	}
}

func (c *Climber) empty(rung int) bool {
	for _, stands := range c.stands {
		if stands[rung] != 0 {
			return false
		}
	}
	return true
}

// Law is the law of the rung, whatever was used up.
func (c *Climber) Law() Law {
	l := Law{Chance: make([]float64, c.foot.Top+1)}
	c.AddTo(l, 1)
	return l
}

// AddTo adds p times the law of the rung to a law from 0 to the top.
func (c *Climber) AddTo(l Law, p float64) {
	for _, stands := range c.stands {
		for rung := c.low; rung <= c.foot.Top; rung++ {
			l.Chance[rung] += p * stands[rung]
		}
	}
}

// AddModes adds p times where the climber stands to what a climb does from a
// mode; the climber began at rung 0.
func (c *Climber) AddModes(climb Climb, mode int, p float64) {
	for after, stands := range c.stands {
		for rung, q := range stands[:climb.reach+1] {
			if q > 0 {
				climb.Add(0, mode, after, rung, p*q)
			}
		}
	}
}
