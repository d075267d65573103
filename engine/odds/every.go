package odds

// Wheels shows every way in which dice can fall, one after the other, like the
// wheels of an odometer. How many dice there are may depend on earlier faces.
type Wheels struct {
	faces, sides []int
	at           int
}

// Draw shows the next die of this way.
func (w *Wheels) Draw(sides int) int {
	if w.at == len(w.faces) {
		w.faces, w.sides = append(w.faces, 1), append(w.sides, sides)
	}
	w.at++
	return w.faces[w.at-1]
}

// Left is more than anything asks for; with it Wheels are a Drawer of dice.
func (w *Wheels) Left() int { return 1 << 30 }

// turn moves the last wheel on, and those before it that have come round; false
// when all have.
func (w *Wheels) turn() bool {
	w.faces, w.sides = w.faces[:w.at], w.sides[:w.at]
	for n := len(w.faces); n > 0; n-- {
		if w.faces[n-1] < w.sides[n-1] {
			w.faces[n-1]++
			w.faces, w.sides = w.faces[:n], w.sides[:n]
			return true
		}
	}
	return false
}

// weight is the chance of this way.
func (w *Wheels) weight() float64 {
	p := 1.0
	for _, sides := range w.sides[:w.at] {
		p /= float64(sides)
	}
	return p
}

// Every is the law of what a roll comes to, from 0 on, by rolling it in every way
// there is. It gives false if there are more than most ways or if a value is
// negative. For the few rolls whose dice depend on each other.
func Every(most int, roll func(*Wheels) int) (Law, bool) {
	w, law := &Wheels{}, Law{}
	for ways := 1; ; ways++ {
		w.at = 0
		value := roll(w)
		if ways > most || value < 0 {
			return Law{}, false
		}
		for len(law.Chance) <= value {
			law.Chance = append(law.Chance, 0)
		}
		law.Chance[value] += w.weight()
		if !w.turn() {
			return law, true
		}
	}
}
