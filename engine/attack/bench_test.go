package attack

import (
	"crypto/hmac"
	"crypto/sha256"
	"math/rand/v2"
	"testing"
	"time"

	"drumhead/engine/dice"
)

// pcg is a bare Drawer: the floor that rolling is measured against.
type pcg struct {
	rand  *rand.Rand
	drawn int
}

func (p *pcg) Draw(sides int) int { p.drawn++; return p.rand.IntN(sides) + 1 }
func (p *pcg) Left() int          { return dice.MostDice }

// benchSolve measures solving as a multiple of one roll of the same attack by our
// own roller, taking turns, and against a million such rolls.
func benchSolve(b *testing.B, a Attack) {
	box := &pcg{rand: rand.New(rand.NewPCG(1, 2))}
	var solve, roll time.Duration
	b.ReportAllocs()
	for b.Loop() {
		start := time.Now()
		if _, err := a.Solve(); err != nil {
			b.Fatal(err)
		}
		solve += time.Since(start)
		b.StopTimer()
		start = time.Now()
		a.Roll(box)
		roll += time.Since(start)
		b.StartTimer()
	}
	b.ReportMetric(float64(solve)/float64(roll), "solve/roll")
	b.ReportMetric(1e6*float64(roll)/float64(solve), "1e6rolls/solve")
}

func BenchmarkSolve60(b *testing.B)   { benchSolve(b, named(60)) }
func BenchmarkSolve1000(b *testing.B) { benchSolve(b, named(1000)) }

func BenchmarkSolvePooled(b *testing.B) {
	a := named(60)
	a.Ladder.Segments[0].Save.Rerolls = OneMiss
	benchSolve(b, a)
}

// Near the limits: a thousand attacks of d6 damage with every gift at two steps,
// into a hundred models of forty wounds and a captain.
func BenchmarkSolveWide(b *testing.B) { benchSolve(b, wide()) }

func wide() Attack {
	a := named(1000)
	a.Steps[1].Naturals = []Natural{gift(MoreDamage, 1), gift(MorePiercing, 1), gift(AlsoSure, 1)}
	a.Damage.Amount = Amount{Dice: 2, Sides: 6}
	a.Ladder.Segments = []Segment{
		{Models: 99, Wounds: 40, Save: Each{Sides: 6, Need: AtLeast(5), OneFails: true, Rerolls: Ones}, Last: last5},
		{Models: 1, Wounds: 40, Save: fourUp, Last: last5}}
	return a
}

// BenchmarkRollSealed measures rolling the named attack with sealed dice as a
// multiple of rolling it with a bare PCG and making the HMAC blocks that it draws.
func BenchmarkRollSealed(b *testing.B) {
	a := named(60)
	box := &pcg{rand: rand.New(rand.NewPCG(1, 2))}
	var sealed, bare, blocks time.Duration
	key := dice.Key{1, 2, 3}
	for draw := uint64(1); b.Loop(); draw++ {
		start := time.Now()
		stream := dice.NewStream("0123456789abcdef", draw, "none", key)
		a.Roll(stream)
		sealed += time.Since(start)
		start = time.Now()
		a.Roll(box)
		bare += time.Since(start)
		start = time.Now()
		mac := hmac.New(sha256.New, key[:])
		var sum [sha256.Size]byte
		for range (stream.At() + sha256.Size - 1) / sha256.Size {
			mac.Reset()
			mac.Write([]byte("drumhead/dice/v1/0123456789abcdef/1/none/0"))
			mac.Sum(sum[:0])
		}
		blocks += time.Since(start)
	}
	b.ReportMetric(float64(sealed)/float64(bare+blocks), "sealed/(pcg+hmac)")
	b.ReportMetric(float64(bare.Nanoseconds())/float64(b.N), "ns/bare")
}
