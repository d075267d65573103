package luck

import (
	_ "embed" // the tables
	"encoding/json"
	"math"
	"testing"
)

// Tables by R and SciPy, critical values of the NIST/SEMATECH e-Handbook, and
// two historical experiments with real dice; the file names every source.
//
//go:embed testdata/stats.json
var statsFile []byte

type stats struct {
	Fair struct {
		Cases []struct {
			Counts []int
			Chi2   float64
			DF     int
			P      float64
		}
	} `json:"chi_square_fair_die"`
	Given struct {
		Cases []struct {
			Null   string
			Counts []int
			Chi2   float64
			P      float64
		}
		Manual struct {
			Counts []int
			P      []float64
			Chi2   float64
			PValue float64 `json:"p_value"`
		} `json:"r_manual_example"`
	} `json:"chi_square_given_p"`
	Several struct {
		Cases []struct {
			P    []float64
			Holm []float64
		}
	} `json:"multiple_testing"`
	Real struct {
		Wolf struct {
			Dice []struct {
				Die    string
				Counts []int
				Chi2   float64
				P      float64
			}
		}
	} `json:"dice_datasets"`
}

func tables(t *testing.T) stats {
	t.Helper()
	var s stats
	if err := json.Unmarshal(statsFile, &s); err != nil {
		t.Fatal(err)
	}
	return s
}

func near(got, want float64) bool { return math.Abs(got-want) <= 1e-6*math.Abs(want)+1e-300 }

func TestChiSquareAgainstR(t *testing.T) {
	s := tables(t)
	for _, c := range s.Fair.Cases {
		x, df, p := ChiSquare(c.Counts, nil)
		if !near(x, c.Chi2) || df != c.DF || !near(p, c.P) {
			t.Errorf("%v: %g of %d, p %g; want %g of %d, p %g", c.Counts, x, df, p, c.Chi2, c.DF, c.P)
		}
	}
	for _, c := range s.Given.Cases {
		chance := []float64{32. / 243, 80. / 243, 80. / 243, 40. / 243, 10. / 243, 1. / 243} // 5 dice, a third each
		if c.Null == "2d6 totals 2..12" {
			chance = nil
			for i := range 11 {
				chance = append(chance, float64(min(i+1, 11-i))/36)
			}
		}
		if x, _, p := ChiSquare(c.Counts, chance); !near(x, c.Chi2) || !near(p, c.P) {
			t.Errorf("%s %v: %g, p %g; want %g, %g", c.Null, c.Counts, x, p, c.Chi2, c.P)
		}
	}
	m := s.Given.Manual
	if x, _, p := ChiSquare(m.Counts, m.P); !near(x, m.Chi2) || !near(p, m.PValue) {
		t.Errorf("the example of R's manual: %g, p %g; want %g, %g", x, p, m.Chi2, m.PValue)
	}
	if len(s.Fair.Cases) < 10 || len(s.Given.Cases) < 5 {
		t.Error("tables are missing")
	}
}

// The printed critical values have three decimals, so their chance has about as many.
func TestTailAgainstTheHandbook(t *testing.T) {
	var raw struct {
		Critical struct{ Rows []map[string]any } `json:"chi_square"`
	}
	if err := json.Unmarshal(statsFile, &raw); err != nil {
		t.Fatal(err)
	}
	if len(raw.Critical.Rows) < 20 {
		t.Fatalf("%d rows", len(raw.Critical.Rows))
	}
	for _, r := range raw.Critical.Rows {
		df := int(r["df"].(float64))
		for name, want := range map[string]float64{"p0.10": 0.1, "p0.05": 0.05, "p0.025": 0.025, "p0.01": 0.01, "p0.001": 0.001} {
			if got := Tail(r[name].(float64), df); math.Abs(got-want) > 0.0005*want+0.00002 {
				t.Errorf("%d degrees, %v: %g, want %g", df, r[name], got, want)
			}
		}
	}
}

func TestHolmAgainstR(t *testing.T) {
	cases := tables(t).Several.Cases
	for _, c := range cases {
		for i, got := range Holm(c.P) {
			if math.Abs(got-c.Holm[i]) > 1e-9 {
				t.Errorf("%v: %v, want %v", c.P, Holm(c.P), c.Holm)
				break
			}
		}
	}
	if len(cases) < 5 || len(Holm(nil)) != 0 {
		t.Error("tables are missing")
	}
}

// Wolf's dice of 1882 were worn, and the report says so; a hundred of the throws,
// one of each 200, say nothing yet.
func TestLookFindsWolfsDice(t *testing.T) {
	for _, d := range tables(t).Real.Wolf.Dice {
		for _, share := range []int{1, 200} {
			var tally Tally
			for i, n := range d.Counts {
				for range n / share {
					tally.Face(6, i+1)
				}
			}
			want := TooOdd
			if share > 1 {
				want = Ordinary
			}
			if r := tally.Look(); r.Verdict != want || r.Worst != 0 || r.Counts[0].Sides != 6 {
				t.Errorf("%s die, one in %d: verdict %d, %+v", d.Die, share, r.Verdict, r.Counts)
			}
		}
	}
}

// A post of the evening, reckoned by hand: 9 of 30 saves at 4+; 9 or fewer is
// 22,964,087 in 2^30, twice that as odd.
func TestLookAtTries(t *testing.T) {
	var tally Tally
	for i := range 30 {
		tally.Try(Saves, 0.5, i < 9)
	}
	for range LeastTries - 1 { // too few to be looked at
		tally.Try(Tests, 0.25, false)
	}
	tally.Try(Attacks, 1, true)
	tally.Try(Attacks, 0, false)
	r := tally.Look()
	if len(r.Counts) != 1 || r.Counts[0].Expected != 15 || r.Counts[0].Made != 9 || r.Dice != 0 {
		t.Fatalf("%+v", r)
	}
	if want := 2 * 22_964_087 / float64(1<<30); !near(r.Counts[0].P, want) || r.Counts[0].Holm != r.Counts[0].P || r.Verdict != Uncommon {
		t.Errorf("p %g, want %g; verdict %d", r.Counts[0].P, want, r.Verdict)
	}
	if empty := new(Tally).Look(); empty.Verdict != TooFew || empty.Worst != -1 {
		t.Errorf("nothing rolled: %+v", empty)
	}
}

// Two halves added are the whole.
func TestTalliesAdd(t *testing.T) {
	var whole, one, two Tally
	for i := range 120 {
		half := &one
		if i%3 == 0 {
			half = &two
		}
		for _, to := range []*Tally{half, &whole} {
			to.Face(6, 1+i*i%6)
			to.Face(3, 1+i%3)
			to.Try(Kind(i%4), float64(1+i%5)/6, i%2 == 0)
		}
	}
	one.Add(&two)
	a, _ := json.Marshal(one.Look())
	b, _ := json.Marshal(whole.Look())
	if string(a) != string(b) || whole.Dice() != 240 {
		t.Errorf("%s\n%s", a, b)
	}
}
