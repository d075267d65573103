// Package odds holds exact laws of dice: the chance of every value, got by adding
// and multiplying and never by rolling. No chance is ever taken from another:
// misses are counted as hits are, so that even a tiny chance has all its digits.
package odds

// Law is the chance of each whole number from Least on. Chances add up to 1,
// but for rounding: a relative error of about 1e-13 at the worst.
type Law struct {
	Least  int
	Chance []float64
}

// Always is the law of a value that is certain.
func Always(value int) Law { return Law{Least: value, Chance: []float64{1}} }

// Die is the law of one die.
func Die(sides int) Law {
	l := Law{Least: 1, Chance: make([]float64, sides)}
	for i := range l.Chance {
		l.Chance[i] = 1 / float64(sides)
	}
	return l
}

// Dice is the law of n dice added up.
func Dice(n, sides int) Law { return Die(sides).Power(n) }

// Try is the law of one die of which so many of its faces are good: 1 or 0.
func Try(good, sides int) Law {
	return Law{Chance: []float64{float64(sides-good) / float64(sides), float64(good) / float64(sides)}}
}

// Binomial is the law of the successes among n dice with so many good faces.
func Binomial(n, good, sides int) Law { return Try(good, sides).Power(n) }

// Plus is the law of the sum of two values that know nothing of each other.
func (l Law) Plus(m Law) Law {
	sum := Law{Least: l.Least + m.Least, Chance: make([]float64, len(l.Chance)+len(m.Chance)-1)}
	for i, p := range l.Chance {
		if p == 0 {
			continue
		}
		for j, q := range m.Chance {
			sum.Chance[i+j] += p * q
		}
	}
	return sum
}

// Power is the law of the sum of n values of this law.
func (l Law) Power(n int) Law {
	sum := Always(0)
	for square := l; n > 0; n >>= 1 {
		if n&1 == 1 {
			sum = sum.Plus(square)
		}
		if n > 1 {
			square = square.Plus(square)
		}
	}
	return sum
}

// Times is the law of the value multiplied by a whole number other than 0.
func (l Law) Times(by int) Law {
	step, last := max(by, -by), len(l.Chance)-1
	out := Law{Least: l.Least * by, Chance: make([]float64, last*step+1)}
	if by < 0 {
		out.Least = (l.Least + last) * by
	}
	for i, p := range l.Chance {
		if by < 0 {
			i = last - i
		}
		out.Chance[i*step] = p
	}
	return out
}

// Of is the law of the sum of so many values of each, when the number itself has
// the law l, which must not be negative.
func (l Law) Of(each Law) Law {
	sum, power := Law{}, each.Power(l.Least)
	for i, p := range l.Chance {
		if i > 0 {
			power = power.Plus(each)
		}
		sum = sum.mix(p, power)
	}
	return sum
}

// Mix is the law of a value that has one of several laws, each with its chance.
func Mix(chance []float64, laws []Law) Law {
	sum := Law{}
	for i, p := range chance {
		sum = sum.mix(p, laws[i])
	}
	return sum
}

// mix adds p times m to l; an l without chances is nothing.
func (l Law) mix(p float64, m Law) Law {
	if p == 0 {
		return l
	}
	least, end := m.Least, m.Least+len(m.Chance)
	if len(l.Chance) > 0 {
		least, end = min(least, l.Least), max(end, l.Least+len(l.Chance))
	}
	out := Law{Least: least, Chance: make([]float64, end-least)}
	copy(out.Chance[l.offset(least):], l.Chance)
	for i, q := range m.Chance {
		out.Chance[m.Least-least+i] += p * q
	}
	return out
}

func (l Law) offset(least int) int {
	if len(l.Chance) == 0 {
		return 0
	}
	return l.Least - least
}

// Exactly is the chance of one value.
func (l Law) Exactly(value int) float64 {
	if i := value - l.Least; i >= 0 && i < len(l.Chance) {
		return l.Chance[i]
	}
	return 0
}

// AtLeast is the chance of a value or more; small chances are added first.
func (l Law) AtLeast(value int) float64 {
	sum := 0.0
	for i := len(l.Chance) - 1; i >= max(0, value-l.Least); i-- {
		sum += l.Chance[i]
	}
	return sum
}

// AtMost is the chance of a value or less.
func (l Law) AtMost(value int) float64 {
	sum := 0.0
	for i := 0; i < len(l.Chance) && l.Least+i <= value; i++ {
		sum += l.Chance[i]
	}
	return sum
}

// Mean is the expected value.
func (l Law) Mean() float64 {
	sum := 0.0
	for i, p := range l.Chance {
		sum += p * float64(l.Least+i)
	}
	return sum
}

// Against gives the chances that a value of l is above, equal to and below one of m.
func (l Law) Against(m Law) (above, equal, below float64) {
	for i, p := range l.Chance {
		v := l.Least + i
		above += p * m.AtMost(v-1)
		equal += p * m.Exactly(v)
		below += p * m.AtLeast(v+1)
	}
	return above, equal, below
}
