package attack

// Endless is the wounds of a target whose damage is only counted.
const Endless = 1 << 30

// Ladder is the target: all its wounds in the order in which they fall. Rung
// says how many are crossed off already; it is the whole state of the damage.
type Ladder struct {
	Segments []Segment
	Rung     int
}

// Segment is a run of like models on the ladder, such as rank and file and then
// a captain.
type Segment struct {
	Models int
	Wounds int  // of each
	Save   Each // worsened by a token's piercing; Sides 0 for none
	Other  Each // a second save that piercing does not worsen; the better of the two is rolled
	Last   Each // last save: one die for each point of damage, after all others
}

// Top is the number of rungs: all wounds of the target.
func (l Ladder) Top() int {
	top := 0
	for _, s := range l.Segments {
		top += s.Models * s.Wounds
	}
	return top
}

// Models is how many models stood before any wound.
func (l Ladder) Models() int {
	sum := 0
	for _, s := range l.Segments {
		sum += s.Models
	}
	return sum
}

// At tells what stands at a rung: the segment of the next model to be hurt and
// how many wounds that model has left. Left is 0 when nobody stands.
func (l Ladder) At(rung int) (segment, left int) {
	for i, s := range l.Segments {
		if wounds := s.Models * s.Wounds; rung >= wounds {
			rung -= wounds
			continue
		}
		return i, s.Wounds - rung%s.Wounds
	}
	return len(l.Segments), 0
}

// Fallen is how many models have fallen at a rung.
func (l Ladder) Fallen(rung int) int {
	fallen := 0
	for _, s := range l.Segments {
		if wounds := s.Models * s.Wounds; rung >= wounds {
			rung -= wounds
			fallen += s.Models
			continue
		}
		return fallen + rung/s.Wounds
	}
	return fallen
}

// Hurt is how many wounds the next model has lost at a rung.
func (l Ladder) Hurt(rung int) int {
	i, left := l.At(rung)
	if left == 0 {
		return 0
	}
	return l.Segments[i].Wounds - left
}

// save is the save rolled against a token: the better of the two, the first
// where they are equal. Without one its Sides are 0.
func (s Segment) save(piercing int) Each {
	first := s.Save
	first.Need = first.Need.Better(-piercing)
	if s.Other.Sides == 0 {
		return first
	}
	if first.Sides == 0 || s.Other.Good()*first.Sides > first.Good()*s.Other.Sides {
		return s.Other
	}
	return first
}
