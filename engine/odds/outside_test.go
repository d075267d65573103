package odds

import (
	_ "embed" // the tables
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"
)

// outside are tables computed outside the project; the file names the sources.
type outside struct {
	Totals map[string]struct {
		Min      int
		Outcomes float64
		Counts   []float64
	}
	Binomial map[string][]float64
	Staged   []struct {
		Dice   int
		Stage1 string
		Stage2 string
		Save   string    `json:"stage3_save"`
		PMF    []float64 `json:"pmf_decimal"`
		Mean   string
	}
	Keep map[string]struct {
		Outcomes float64
		Counts   map[string]float64
	}
	Opposed []struct {
		A, B     string
		Outcomes float64
		Rows     []struct {
			Modifier int     `json:"modifier_a"`
			Wins     float64 `json:"a_wins"`
			Tie      float64
			Losses   float64 `json:"b_wins"`
		}
	}
	OpenOnce map[string]string `json:"exploding_once_d6"`
	Classics []struct{ Name, Exact, Source string }
	Poisson  struct {
		P    []float64
		Each int
		PMF  []string `json:"pmf_exact"`
	} `json:"poisson_binomial"`
}

//go:embed testdata/outside.json
var outsideFile []byte

func tables(t *testing.T) outside {
	t.Helper()
	var o outside
	if err := json.Unmarshal(outsideFile, &o); err != nil {
		t.Fatal(err)
	}
	if len(o.Totals) != 54 || len(o.Binomial) != 100 || len(o.Staged) != 6 || len(o.Opposed) != 7 || len(o.Classics) != 8 {
		t.Fatal("the tables are not whole")
	}
	return o
}

func value(t *testing.T, fraction string) float64 {
	t.Helper()
	r, ok := new(big.Rat).SetString(fraction)
	if !ok {
		t.Fatalf("%q is no fraction", fraction)
	}
	f, _ := r.Float64()
	return f
}

// near checks a relative error of at most so much.
func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%s: %.17g, the table says %.17g", what, got, want)
	}
}

func dice(t *testing.T, text string) (n, sides int) {
	t.Helper()
	if _, err := fmt.Sscanf(text, "%dd%d", &n, &sides); err != nil {
		t.Fatal(err)
	}
	return n, sides
}

// Totals of up to 20 dice, against OEIS A063260 and its like.
func TestTotals(t *testing.T) {
	for name, row := range tables(t).Totals {
		law := Dice(dice(t, name))
		if law.Least != row.Min || len(law.Chance) != len(row.Counts) {
			t.Fatalf("%s: from %d, %d values", name, law.Least, len(law.Chance))
		}
		for i, count := range row.Counts {
			near(t, name, law.Chance[i], count/row.Outcomes, 1e-13)
		}
	}
}

// Successes among n dice, against R's dbinom.
func TestBinomial(t *testing.T) {
	for name, row := range tables(t).Binomial {
		var n, good int
		if _, err := fmt.Sscanf(name, "n=%d,p=%d/6", &n, &good); err != nil {
			t.Fatal(err)
		}
		law := Binomial(n, good, 6)
		tail := 0.0
		for k := n; k >= 0; k-- {
			want := row[k] / math.Pow(6, float64(n))
			tail += want
			near(t, fmt.Sprint(name, " exactly ", k), law.Exactly(k), want, 1e-13)
			near(t, fmt.Sprint(name, " at least ", k), law.AtLeast(k), tail, 1e-13)
		}
	}
}

func good(t *testing.T, need string) int {
	t.Helper()
	face, err := strconv.Atoi(strings.TrimSuffix(need, "+"))
	if err != nil {
		t.Fatal(err)
	}
	return 7 - face
}

// A chain of needs and a save that lets its failures on, stage by stage.
func TestStaged(t *testing.T) {
	for _, row := range tables(t).Staged {
		law := Always(row.Dice).Of(Try(good(t, row.Stage1), 6)).Of(Try(good(t, row.Stage2), 6))
		if row.Save != "" {
			law = law.Of(Try(6-good(t, row.Save), 6))
		}
		near(t, "mean", law.Mean(), value(t, row.Mean), 1e-12)
		for k, want := range row.PMF {
			near(t, fmt.Sprint(row.Dice, " dice, ", k), law.Exactly(k), want, 1e-11) // 12 digits are printed
		}
	}
}

func TestKept(t *testing.T) {
	for name, row := range tables(t).Keep {
		part := strings.Split(name, "_")
		n, sides := dice(t, part[0])
		keep, _ := strconv.Atoi(part[2])
		law, ok := Kept(n, sides, keep, part[1] == "worst")
		if !ok || len(law.Chance) != len(row.Counts) {
			t.Fatalf("%s: %v, %d values", name, ok, len(law.Chance))
		}
		for v, count := range row.Counts {
			total, _ := strconv.Atoi(v)
			near(t, name+" "+v, law.Exactly(total), count/row.Outcomes, 1e-13)
		}
	}
	if _, ok := Kept(40, 1000, 39, false); ok {
		t.Error("a law beyond the bound of work was begun")
	}
}

func TestOpposed(t *testing.T) {
	for _, table := range tables(t).Opposed {
		for _, row := range table.Rows {
			mine, theirs := Dice(dice(t, table.A)).Plus(Always(row.Modifier)), Dice(dice(t, table.B))
			win, tie, loss := mine.Against(theirs)
			name := fmt.Sprint(table.A, " against ", table.B, " ", row.Modifier)
			near(t, name, win, row.Wins/table.Outcomes, 1e-13)
			near(t, name, tie, row.Tie/table.Outcomes, 1e-13)
			near(t, name, loss, row.Losses/table.Outcomes, 1e-13)
		}
	}
}

func TestOpen(t *testing.T) {
	law := Open(6, 1)
	for v, p := range tables(t).OpenOnce {
		n, _ := strconv.Atoi(v)
		near(t, "d6 open-ended once: "+v, law.Exactly(n), value(t, p), 1e-15)
	}
	// Mean of a die without end: s(s+1)/(2(s-1)) = 21/5 for a d6 (dice-tables
	// exploding_sum); after 20 more dice it is less by a part in 6^21.
	near(t, "mean", Open(6, 20).Mean(), 21.0/5, 1e-12)
}

// The classics: de Méré, Newton and Pepys, Galileo.
func TestClassics(t *testing.T) {
	for _, c := range tables(t).Classics {
		var got float64
		var k, n int
		switch {
		case c.Name == "at least one six in 4 throws":
			got = Binomial(4, 1, 6).AtLeast(1)
		case strings.HasPrefix(c.Name, "at least one double six"):
			_, err := fmt.Sscanf(c.Name, "at least one double six in %d throws", &n)
			if err != nil {
				t.Fatal(err)
			}
			got = Binomial(n, 1, 36).AtLeast(1)
		case strings.HasPrefix(c.Name, "three dice total"):
			_, err := fmt.Sscanf(c.Name, "three dice total %d", &n)
			if err != nil {
				t.Fatal(err)
			}
			got = Dice(3, 6).Exactly(n)
		default:
			if _, err := fmt.Sscanf(c.Name, "at least %d six(es) with %d dice", &k, &n); err != nil {
				t.Fatal(err)
			}
			got = Binomial(n, 1, 6).AtLeast(k)
		}
		near(t, c.Name, got, value(t, c.Exact), 1e-13)
	}
}

// Unlike dice in one law: the Poisson-binomial of Hong (2013).
func TestUnlikeDice(t *testing.T) {
	p := tables(t).Poisson
	law := Always(0)
	for _, chance := range p.P {
		law = law.Plus(Try(int(chance*10+0.5), 10).Power(p.Each))
	}
	for k, want := range p.PMF {
		near(t, fmt.Sprint(k, " successes"), law.Exactly(k), value(t, want), 1e-13)
	}
}

// Figures of the evening (computed by script for the design): 20 dice 3+, 4+,
// save 5+ let 4.4 through on average, and five or more in 47 of 100.
func TestChainOfTheEvening(t *testing.T) {
	law := Binomial(20, 4, 6).Of(Try(3, 6)).Of(Try(4, 6))
	if got := fmt.Sprintf("%.1f %.0f", law.Mean(), 100*law.AtLeast(5)); got != "4.4 47" {
		t.Errorf("expected and percent: %s", got)
	}
}

func TestTimesAndMix(t *testing.T) {
	d66 := Die(6).Times(10).Plus(Die(6))
	if d66.Least != 11 || d66.Exactly(42) == 0 || d66.Exactly(47) != 0 || math.Abs(d66.AtLeast(11)-1) > 1e-15 {
		t.Errorf("d66: %+v", d66)
	}
	less := Dice(2, 6).Plus(Die(3).Times(-1))
	near(t, "2d6-d3 of 11", less.Exactly(11), 1.0/36/3, 1e-14)
	if less.Least != -1 || less.AtMost(-2) != 0 {
		t.Errorf("2d6-d3 from %d", less.Least)
	}
	mixed := Mix([]float64{0.25, 0, 0.75}, []Law{Always(5), Always(9), Always(-1)})
	if mixed.Exactly(5) != 0.25 || mixed.Exactly(-1) != 0.75 || mixed.Exactly(9) != 0 || mixed.Exactly(0) != 0 {
		t.Errorf("mixed: %+v", mixed)
	}
}

// Thousand dice stay exact: the sum of all chances is 1, and the smallest chance
// is not lost.
func TestThousand(t *testing.T) {
	law := Binomial(1000, 1, 2)
	near(t, "sum", law.AtLeast(0), 1, 1e-12)
	near(t, "all thousand", law.Exactly(1000), math.Pow(2, -1000), 1e-12)
}

func BenchmarkBinomial60(b *testing.B) {
	for b.Loop() {
		Binomial(60, 4, 6)
	}
}
