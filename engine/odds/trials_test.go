package odds

import (
	_ "embed" // the tables
	"encoding/json"
	"math"
	"math/big"
	"testing"
)

// Exact binomial tests and tails by R and by exact rationals; the file names
// versions and sources, 682 of 925 being the example of R's own manual.
//
//go:embed testdata/binomial.json
var binomialFile []byte

type binomialTables struct {
	Tests struct {
		Cases []struct {
			X, N     int
			P0       string
			TwoSided float64 `json:"p_two_sided"`
			Less     float64 `json:"p_less"`
			Greater  float64 `json:"p_greater"`
		}
	} `json:"binomial_tests"`
	Tails struct {
		Cases []struct {
			X, N    int
			P       string
			AtLeast float64 `json:"p_at_least"`
			AtMost  float64 `json:"p_at_most"`
		}
	} `json:"binomial_tails"`
}

func ratio(t *testing.T, s string) float64 {
	t.Helper()
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		t.Fatalf("%q is no ratio", s)
	}
	f, _ := r.Float64()
	return f
}

func agrees(got, want float64) bool { return math.Abs(got-want) <= 1e-9*math.Abs(want)+1e-300 }

func TestTrialsAgainstR(t *testing.T) {
	var tables binomialTables
	if err := json.Unmarshal(binomialFile, &tables); err != nil {
		t.Fatal(err)
	}
	for _, c := range tables.Tests.Cases {
		l := Trials(c.N, ratio(t, c.P0))
		if !agrees(l.AsOdd(c.X), c.TwoSided) || !agrees(l.AtMost(c.X), c.Less) || !agrees(l.AtLeast(c.X), c.Greater) {
			t.Errorf("%d of %d at %s: as odd %g, or fewer %g, or more %g; want %g, %g, %g", c.X, c.N, c.P0,
				l.AsOdd(c.X), l.AtMost(c.X), l.AtLeast(c.X), c.TwoSided, c.Less, c.Greater)
		}
	}
	for _, c := range tables.Tails.Cases {
		l := Trials(c.N, ratio(t, c.P))
		if !agrees(l.AtLeast(c.X), c.AtLeast) || !agrees(l.AtMost(c.X), c.AtMost) {
			t.Errorf("%d of %d at %s: or more %g, or fewer %g; want %g, %g", c.X, c.N, c.P, l.AtLeast(c.X), l.AtMost(c.X), c.AtLeast, c.AtMost)
		}
	}
	if len(tables.Tests.Cases) < 10 || len(tables.Tails.Cases) < 5 {
		t.Error("tables are missing")
	}
}

// Two ways to one answer: tries of several chances, added up as windows and
// whole. The windows leave out nothing that can be seen.
func TestTrialsAddUpAsBinomials(t *testing.T) {
	fast := Trials(60, 0.5).Plus(Trials(90, 2.0/3)).Plus(Trials(40, 1.0/6)).Slim()
	slow := Binomial(60, 3, 6).Plus(Binomial(90, 4, 6)).Plus(Binomial(40, 1, 6))
	for v := range 191 {
		if math.Abs(fast.Exactly(v)-slow.Exactly(v)) > 1e-12*slow.Exactly(v)+1e-38 {
			t.Errorf("%d: %g, want %g", v, fast.Exactly(v), slow.Exactly(v))
		}
	}
	if math.Abs(fast.Mean()-(30+60+40.0/6)) > 1e-9 {
		t.Errorf("mean %g", fast.Mean())
	}
}

// A season's window is short: a hundred thousand tries take some thousand values.
func TestTrialsAreFew(t *testing.T) {
	l := Trials(100_000, 1.0/3)
	if n := len(l.Chance); n > 5000 || n < 3000 {
		t.Errorf("%d values", n)
	}
	if got := l.AsOdd(l.Least - 1); got != 0 {
		t.Errorf("beyond the window: %g", got)
	}
	for _, n := range []int{0, 1} {
		if l := Trials(n, 0.25); math.Abs(l.Mean()-0.25*float64(n)) > 1e-15 {
			t.Errorf("%d tries: mean %g", n, l.Mean())
		}
	}
}
