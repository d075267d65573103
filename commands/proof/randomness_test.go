package proof

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"drumhead/engine/dice"
	"drumhead/engine/luck"
)

// Worked examples of NIST SP 800-22, critical values of the NIST/SEMATECH e-Handbook,
// two real dice that were thrown 20,000 times each: sources stand in the file.
//
//go:embed testdata/randomness.json
var randomnessJSON []byte

type randomness struct {
	Pi100    string `json:"pi100"`
	Examples []struct {
		Test       string         `json:"test"`
		Section    string         `json:"section"`
		Input      string         `json:"input"`
		Parameters map[string]any `json:"parameters"`
		P          float64        `json:"p_value_recomputed"`
	} `json:"examples"`
	ChiSquare struct {
		Rows []map[string]float64 `json:"rows"`
	} `json:"chi_square"`
	Wolf struct {
		Dice []struct {
			Die    string  `json:"die"`
			Counts []int   `json:"counts"`
			Chi2   float64 `json:"chi2"`
			P      float64 `json:"p"`
		} `json:"dice"`
	} `json:"wolf"`
}

func randomnessFigures(t testing.TB) randomness {
	t.Helper()
	var r randomness
	if err := json.Unmarshal(randomnessJSON, &r); err != nil {
		t.Fatal(err)
	}
	return r
}

// Bits are '0' and '1'.
type bits string

func (b bits) ones() int { return strings.Count(string(b), "1") }

// monobit is section 2.1: are there as many ones as zeros.
func (b bits) monobit() float64 {
	sum := math.Abs(float64(2*b.ones() - len(b)))
	return math.Erfc(sum / math.Sqrt(float64(len(b))) / math.Sqrt2)
}

// blocks is section 2.2: ones in blocks of m.
func (b bits) blocks(m int) float64 {
	n, x := len(b)/m, 0.0
	for i := range n {
		d := float64(b[i*m:(i+1)*m].ones())/float64(m) - 0.5
		x += d * d
	}
	return luck.Tail(4*float64(m)*x, n)
}

// runs is section 2.3: how often the bits turn.
func (b bits) runs() float64 {
	n, share, turns := float64(len(b)), float64(b.ones())/float64(len(b)), 1.0
	for i := 1; i < len(b); i++ {
		if b[i] != b[i-1] {
			turns++
		}
	}
	even := share * (1 - share)
	return math.Erfc(math.Abs(turns-2*n*even) / (2 * math.Sqrt(2*n) * even))
}

// longest is section 2.4 for blocks of 8: the longest run of ones in each.
func (b bits) longest() float64 {
	counts := make([]int, 4)
	for i := range len(b) / 8 {
		most := 0
		for _, run := range strings.Split(string(b[8*i:8*i+8]), "0") {
			most = max(most, len(run))
		}
		counts[min(max(most-1, 0), 3)]++
	}
	x, _, _ := luck.ChiSquare(counts, []float64{55. / 256, 94. / 256, 59. / 256, 48. / 256})
	return luck.Tail(x, 3)
}

// patterns counts each pattern of m bits, going round at the end.
func (b bits) patterns(m int) map[bits]int {
	counts, round := map[bits]int{}, b+b[:max(m-1, 0)]
	for i := range len(b) {
		counts[round[i:i+m]]++
	}
	return counts
}

// psi is the statistic of section 2.11.
func (b bits) psi(m int) float64 {
	if m <= 0 {
		return 0
	}
	sum := 0.0
	for _, n := range b.patterns(m) {
		sum += float64(n) * float64(n)
	}
	return sum*math.Exp2(float64(m))/float64(len(b)) - float64(len(b))
}

// serial is section 2.11: both p-values.
func (b bits) serial(m int) (float64, float64) {
	one := b.psi(m) - b.psi(m-1)
	two := b.psi(m) - 2*b.psi(m-1) + b.psi(m-2)
	return luck.Tail(one, 1<<(m-1)), luck.Tail(two, 1<<(m-2))
}

// entropy is section 2.12: approximate entropy.
func (b bits) entropy(m int) float64 {
	phi := func(m int) float64 {
		sum := 0.0
		for _, n := range b.patterns(m) {
			p := float64(n) / float64(len(b))
			sum += p * math.Log(p)
		}
		return sum
	}
	return luck.Tail(2*float64(len(b))*(math.Ln2-(phi(m)-phi(m+1))), 1<<m)
}

// sums is section 2.13: how far the walk of the bits goes.
func (b bits) sums(reverse bool) float64 {
	walk, z := 0, 0
	for i := range len(b) {
		at := i
		if reverse {
			at = len(b) - 1 - i
		}
		walk += 2*int(b[at]-'0') - 1
		z = max(z, walk, -walk)
	}
	n := len(b)
	phi := func(k int) float64 { return 0.5 * math.Erfc(-float64(k*z)/math.Sqrt(float64(n))/math.Sqrt2) }
	p := 1.0
	for k := (-n/z + 1) / 4; k <= (n/z-1)/4; k++ {
		p -= phi(4*k+1) - phi(4*k-1)
	}
	for k := (-n/z - 3) / 4; k <= (n/z-1)/4; k++ {
		p += phi(4*k+3) - phi(4*k+1)
	}
	return p
}

// TestRandomnessTests holds the tests themselves against the worked examples of
// NIST SP 800-22 Rev. 1a, to six digits.
func TestRandomnessTests(t *testing.T) {
	r := randomnessFigures(t)
	for _, e := range r.Examples {
		b := bits(e.Input)
		if strings.Contains(e.Input, "pi") {
			b = bits(r.Pi100)
		}
		m, _ := e.Parameters["m"].(float64)
		if big, ok := e.Parameters["M"].(float64); ok {
			m = big
		}
		var p float64
		switch e.Test {
		case "frequency (monobit)":
			p = b.monobit()
		case "block frequency":
			p = b.blocks(int(m))
		case "runs":
			p = b.runs()
		case "longest run of ones in a block":
			p = b.longest()
		case "serial (P-value 1)":
			p, _ = b.serial(int(m))
		case "serial (P-value 2)":
			_, p = b.serial(int(m))
		case "approximate entropy":
			p = b.entropy(int(m))
		case "cumulative sums (forward)":
			p = b.sums(false)
		case "cumulative sums (reverse)":
			p = b.sums(true)
		default:
			t.Errorf("%s %s is not reckoned here", e.Section, e.Test)
		}
		if math.Abs(p-e.P) > 1e-6 {
			t.Errorf("%s %s: %.7f, the publication's is %.7f", e.Section, e.Test, p, e.P)
		}
	}
	if len(r.Examples) < 14 {
		t.Errorf("only %d examples", len(r.Examples))
	}
}

// TestChiSquareTable holds the tail of chi-square against the table of the
// NIST/SEMATECH e-Handbook, to its three digits, and Pearson's test against two real
// dice that are known to be uneven.
func TestChiSquareTable(t *testing.T) {
	r := randomnessFigures(t)
	for _, row := range r.ChiSquare.Rows {
		for name, x := range row {
			var p float64
			if n, _ := fmt.Sscanf(name, "p%f", &p); n != 1 {
				continue
			}
			low, high := luck.Tail(x+0.0006, int(row["df"])), luck.Tail(x-0.0006, int(row["df"]))
			if p < low || p > high {
				t.Errorf("df %v, %v: the tail is %v to %v, the table says %v", row["df"], x, low, high, p)
			}
		}
	}
	for _, d := range r.Wolf.Dice {
		x, df, p := luck.ChiSquare(d.Counts, nil)
		if math.Abs(x-d.Chi2) > 1e-3 || df != 5 || math.Abs(p/d.P-1) > 1e-6 {
			t.Errorf("the %s die: %v, %v, %v; want %v, 5, %v", d.Die, x, df, p, d.Chi2, d.P)
		}
	}
}

// tossed draws dice as ledgers do: so many from each draw of one seal, key by key.
func tossed(t *testing.T, seed byte, n, sides int, each func(i, face int)) {
	t.Helper()
	chain, err := dice.NewChain(dice.Key{seed, byte(sides)}, 4096)
	if err != nil {
		t.Fatal(err)
	}
	const most = 8192 // of a draw
	for i := 0; i < n; {
		draw := i/most + 1
		s := dice.NewStream("aaaaaaaaaaaaaaaaaaaaaaaaaa", uint64(draw), "none", chain.Key(draw))
		for range min(most, n-i) {
			each(i, s.Draw(sides)-1)
			i++
		}
	}
}

// falseAlarm is the chance that a test of the stream below cries although the dice
// are fair: one in a thousand for all its looks together, each corrected for how
// many there are. The keys are fixed, so that a failure is a fault.
const falseAlarm = 1e-3

// TestStreamFacesFalseAlarmOneInAThousand: dice of 2 to 100 sides, and 10,000 above
// 256 sides, are even (chi-square, at least 200 expected of each face), and so are
// pairs of neighbours, and dice that come at the same place in draws of their own.
func TestStreamFacesFalseAlarmOneInAThousand(t *testing.T) {
	var looks []look
	for sides := 2; sides <= 100; sides++ {
		counts := make([]int, sides)
		tossed(t, 1, 200*sides, sides, func(_, face int) { counts[face]++ })
		looks = append(looks, lookAt(fmt.Sprintf("d%d", sides), counts))
	}
	large := make([]int, 1000)
	tossed(t, 2, 200_000, 1000, func(_, face int) { large[face]++ })
	looks = append(looks, lookAt("d1000", large))
	for _, sides := range []int{2, 3, 6, 10, 20} {
		pairs, last := make([]int, sides*sides), 0
		tossed(t, 3, 2*300*sides*sides, sides, func(i, face int) {
			if i%2 == 1 {
				pairs[last*sides+face]++
			}
			last = face
		})
		looks = append(looks, lookAt(fmt.Sprintf("pairs of d%d", sides), pairs))
	}
	first := make([]int, 36)
	chain, err := dice.NewChain(dice.Key{4}, 20_001)
	if err != nil {
		t.Fatal(err)
	}
	last := 0
	for draw := 1; draw <= 20_000; draw++ {
		face := dice.NewStream("aaaaaaaaaaaaaaaaaaaaaaaaaa", uint64(draw), "none", chain.Key(draw)).Draw(6) - 1
		if draw%2 == 0 {
			first[6*last+face]++
		}
		last = face
	}
	looks = append(looks, lookAt("first dice of draws that follow each other", first))
	judge(t, true, looks)
}

// look is one test and its p-value.
type look struct {
	what string
	p    float64
}

func lookAt(what string, counts []int) look {
	_, _, p := luck.ChiSquare(counts, nil)
	return look{what, p}
}

// judge cries if a p-value is too small; where even is whether dice are too even,
// also if one is too large.
func judge(t *testing.T, even bool, looks []look) {
	t.Helper()
	bar := falseAlarm / float64(2*len(looks))
	for _, l := range looks {
		if l.p < bar || even && l.p > 1-bar {
			t.Errorf("%s: p = %.3g in one of %d looks", l.what, l.p, len(looks))
		}
	}
}

// TestStreamBitsFalseAlarmOneInAThousand: the bits of dice of 256 sides under the
// tests of NIST SP 800-22, a hundred stretches of 4,096 bits. Few bits have just as
// many ones as zeros now and then: only small p-values count.
func TestStreamBitsFalseAlarmOneInAThousand(t *testing.T) {
	const stretches, long = 100, 4096
	var text strings.Builder
	tossed(t, 5, stretches*long/8, 256, func(_, face int) { fmt.Fprintf(&text, "%08b", face) })
	var looks []look
	for i := range stretches {
		b := bits(text.String()[i*long : (i+1)*long])
		one, two := b.serial(3)
		for name, p := range map[string]float64{
			"monobit": b.monobit(), "blocks": b.blocks(128), "runs": b.runs(), "longest run": b.longest(),
			"serial": one, "serial, second": two, "entropy": b.entropy(2), "sums": b.sums(false), "sums back": b.sums(true),
		} {
			looks = append(looks, look{fmt.Sprintf("stretch %d, %s", i, name), p})
		}
	}
	judge(t, false, looks)
}

// TestRunsOfDice counts how long dice go on rising: runs up of 1, 2, 3, … as Knuth
// has it, The Art of Computer Programming volume 2, section 3.3.2 G, with a die
// thrown away after each so that runs do not depend on each other. A run of just r
// of so many sides has the chance (binomial of sides and r) / sides^r less that of
// r + 1: strictly rising faces are a choice of faces.
func TestRunsOfDiceFalseAlarmOneInAThousand(t *testing.T) {
	var looks []look
	for _, sides := range []int{6, 20, 100} {
		chance := make([]float64, min(sides, 6))
		rising := func(r int) float64 {
			p := 1.0
			for i := range r {
				p *= float64(sides-i) / float64(i+1) / float64(sides)
			}
			return p
		}
		for r := 1; r < len(chance); r++ {
			chance[r-1] = rising(r) - rising(r+1)
		}
		chance[len(chance)-1] = rising(len(chance))
		counts, length, before := make([]int, len(chance)), 0, -1
		tossed(t, 6, 400_000, sides, func(_, face int) {
			if face > before {
				length, before = length+1, face
				return
			}
			counts[min(length, len(counts))-1]++
			length, before = 0, -1 // the die that ended the run is the one thrown away
		})
		for len(counts) > 2 && chance[len(chance)-1]*100_000 < 10 {
			chance[len(chance)-2] += chance[len(chance)-1]
			counts[len(counts)-2] += counts[len(counts)-1]
			counts, chance = counts[:len(counts)-1], chance[:len(chance)-1]
		}
		x, df, _ := luck.ChiSquare(counts, chance)
		looks = append(looks, look{fmt.Sprintf("runs of d%d", sides), luck.Tail(x, df)})
	}
	judge(t, true, looks)
}

// TestBiasIsSeen: the tests above can fail. A die of six sides made of bytes by
// their rest alone, none read past, has four faces of 43 in 256 and two of 42: with
// as many dice as are needed to see that, it is seen, and the real one is even.
func TestBiasIsSeen(t *testing.T) {
	const n = 1_000_000
	biased, fair := make([]int, 6), make([]int, 6)
	tossed(t, 7, n, 256, func(_, b int) { biased[b%6]++ })
	tossed(t, 8, n, 6, func(_, face int) { fair[face]++ })
	if l := lookAt("the rest alone", biased); l.p > falseAlarm {
		t.Errorf("the bias is not seen: p = %v", l.p)
	}
	if l := lookAt("d6", fair); l.p < falseAlarm {
		t.Errorf("a fair die looks biased: p = %v", l.p)
	}
}
