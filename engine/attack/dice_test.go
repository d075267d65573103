package attack

import (
	"math/big"
	"testing"
)

// script is a Drawer that shows given faces and checks that nothing else is asked.
type script struct {
	t     *testing.T
	faces []int
	sides []int // asked for so far
}

func rolls(t *testing.T, faces ...int) *script { return &script{t: t, faces: faces} }

func (s *script) Draw(sides int) int {
	s.t.Helper()
	if len(s.faces) == 0 {
		s.t.Fatalf("die %d, a d%d, was not expected", len(s.sides)+1, sides)
	}
	s.sides = append(s.sides, sides)
	face := s.faces[0]
	s.faces = s.faces[1:]
	if face < 1 || face > sides {
		s.t.Fatalf("die %d shows %d but is a d%d", len(s.sides), face, sides)
	}
	return face
}

func (s *script) Left() int { return 10_000 }

// spent checks that every face of the script was drawn.
func (s *script) spent() {
	s.t.Helper()
	if len(s.faces) > 0 {
		s.t.Errorf("%d dice were not drawn: %v", len(s.faces), s.faces)
	}
}

// every is a Drawer that walks through all faces of all dice, like the wheels of
// an odometer; how many dice there are may depend on earlier faces.
type every struct {
	wheels []wheel
	at     int
	most   int // dice drawn in the longest walk
}

type wheel struct{ face, sides int }

func (e *every) Draw(sides int) int {
	if e.at == len(e.wheels) {
		e.wheels = append(e.wheels, wheel{1, sides})
	}
	e.at++
	e.most = max(e.most, e.at)
	return e.wheels[e.at-1].face
}

func (e *every) Left() int { return 10_000 }

// law rolls something in every way there is and adds up the weight of each value.
// The weights are counted by their denominators, which stay far below 2^63.
func law(roll func(*every) int) (map[int]*big.Rat, *every) {
	type weight struct {
		value int
		of    int64
	}
	e, counts := &every{}, map[weight]int64{}
	for {
		e.at = 0
		w := weight{roll(e), 1}
		for _, wheel := range e.wheels[:e.at] {
			w.of *= int64(wheel.sides)
		}
		counts[w]++
		if e.wheels = e.wheels[:e.at]; !e.turn() {
			break
		}
	}
	sum := map[int]*big.Rat{}
	for w, n := range counts {
		if sum[w.value] == nil {
			sum[w.value] = new(big.Rat)
		}
		sum[w.value].Add(sum[w.value], big.NewRat(n, w.of))
	}
	return sum, e
}

// turn moves the last wheel on, and those before it that have come round; false
// when all have.
func (e *every) turn() bool {
	for n := len(e.wheels); n > 0; n-- {
		if last := &e.wheels[n-1]; last.face < last.sides {
			last.face++
			e.wheels = e.wheels[:n]
			return true
		}
	}
	return false
}

func rat(t *testing.T, text string) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		t.Fatalf("%q is no fraction", text)
	}
	return r
}

// same compares a law with a table of fractions, value by value, both ways.
func same(t *testing.T, name string, got map[int]*big.Rat, want map[int]*big.Rat) {
	t.Helper()
	for v, p := range want {
		if got[v] == nil && p.Sign() != 0 || got[v] != nil && got[v].Cmp(p) != 0 {
			t.Errorf("%s: %d has chance %v, the table says %v", name, v, got[v], p)
		}
	}
	for v, p := range got {
		if want[v] == nil {
			t.Errorf("%s: %d has chance %v, the table does not know it", name, v, p)
		}
	}
}
