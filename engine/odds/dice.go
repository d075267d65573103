package odds

// MostKeptWork bounds what Kept and Open will work out: a tenth of a second or so.
const MostKeptWork = 20_000_000

// Open is the law of one open-ended die: its top face is rolled again and added,
// most times at the most.
func Open(sides, most int) Law {
	law := Die(sides)
	for range most {
		again := law
		law = Law{Least: 1, Chance: make([]float64, sides+len(again.Chance))}
		for i := range sides - 1 {
			law.Chance[i] = 1 / float64(sides)
		}
		for i, p := range again.Chance {
			law.Chance[sides+i] = p / float64(sides)
		}
	}
	return law
}

// Kept is the law of the sum of the best keep of n dice, or of the worst. It
// gives false if that would take more than MostKeptWork steps.
func Kept(n, sides, keep int, worst bool) (Law, bool) {
	return KeptOf(Die(sides), n, keep, worst)
}

// KeptOf is Kept for dice of any law that begins at 1.
//
// It goes over the faces from the best down: of the dice left, c show this face
// (a binomial of c), and the first of them are kept.
func KeptOf(die Law, n, keep int, worst bool) (Law, bool) {
	sides := len(die.Chance)
	if n*n*keep*sides*sides > 2*MostKeptWork {
		return Law{}, false
	}
	k := keeping{keep: keep, choose: pascal(n)}
	k.sums = make([][]float64, n+1) // by dice left: chance of each sum kept so far
	for i := range k.sums {
		k.sums[i] = make([]float64, keep*sides+1)
	}
	k.sums[n][0] = 1
	for i := range sides {
		face := sides - i
		if worst {
			face = i + 1
		}
		k.face(face, die.Chance[face-1], rest(die, face, worst))
	}
	return Law{Chance: k.sums[0]}.Trim(), true
}

// rest is the chance of the faces that are worse than this one, or better.
func rest(die Law, face int, better bool) float64 {
	if better {
		return die.AtLeast(face + 1)
	}
	return die.AtMost(face - 1)
}

// keeping is the state of KeptOf between two faces.
type keeping struct {
	keep   int
	sums   [][]float64
	choose [][]float64
}

// face settles how many of the dice left show the next face, by its chance and
// that of all faces after it.
func (k *keeping) face(face int, this, after float64) {
	n := len(k.sums) - 1
	next := make([][]float64, n+1)
	for i := range next {
		next[i] = make([]float64, len(k.sums[0]))
	}
	hit, miss := this/(this+after), after/(this+after)
	for left := range k.sums {
		for c := 0; c <= left; c++ {
			p := k.choose[left][c] * power(hit, c) * power(miss, left-c)
			if p == 0 {
				continue
			}
			add := face * min(c, max(0, k.keep-(n-left)))
			for sum, q := range k.sums[left] {
				if q > 0 {
					next[left-c][sum+add] += p * q
				}
			}
		}
	}
	k.sums = next
}

// Trim cuts impossible values off both ends.
func (l Law) Trim() Law {
	for len(l.Chance) > 1 && l.Chance[0] == 0 {
		l.Least, l.Chance = l.Least+1, l.Chance[1:]
	}
	for len(l.Chance) > 1 && l.Chance[len(l.Chance)-1] == 0 {
		l.Chance = l.Chance[:len(l.Chance)-1]
	}
	return l
}

// pascal is Pascal's triangle up to row n.
func pascal(n int) [][]float64 {
	rows := make([][]float64, n+1)
	for i := range rows {
		rows[i] = make([]float64, i+1)
		rows[i][0], rows[i][i] = 1, 1
		for j := 1; j < i; j++ {
			rows[i][j] = rows[i-1][j-1] + rows[i-1][j]
		}
	}
	return rows
}

// power is x to the n for small n, 1 for n = 0 whatever x is.
func power(x float64, n int) float64 {
	p := 1.0
	for range n {
		p *= x
	}
	return p
}
