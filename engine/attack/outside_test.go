package attack

import (
	_ "embed" // the tables
	"encoding/json"
	"fmt"
	"math/big"
	"strconv"
	"strings"
	"testing"
)

// outside are figures computed outside the project; the file names their sources.
type outside struct {
	Rerolls []struct {
		Target    string
		P         string
		Ones      string `json:"reroll_ones"`
		Failures  string `json:"reroll_failures"`
		Successes string `json:"reroll_successes"`
	} `json:"single_die_rerolls"`
	Sixes []struct {
		Dice   int
		Target string
		PMF    map[string]string
	} `json:"six_counts_twice"`
	Allocation []struct {
		Case    string
		Hits    int
		Damage  map[string]string `json:"damage_pmf"`
		Wounds  int               `json:"wounds_each"`
		Models  int
		First   int               `json:"first_model_wounds"`
		Removed map[string]string `json:"removed_pmf"`
	} `json:"sequential_allocation"`
	Keep map[string]struct {
		Outcomes int64
		Counts   map[string]int64
	}
	Opposed []struct {
		A, B     string
		Outcomes int64
		Rows     []struct {
			Modifier int   `json:"modifier_a"`
			Wins     int64 `json:"a_wins"`
			Tie      int64
			Losses   int64 `json:"b_wins"`
		}
	}
	TwoD6 []struct {
		Target string
		P      string
		Both   string `json:"reroll_both_on_failure"`
		Lower  string `json:"reroll_lower_die_on_failure"`
		Best   string `json:"best_2_of_3"`
		Ones   string `json:"reroll_ones_once"`
	} `json:"two_d6_at_least"`
	OpenOnce map[string]string `json:"exploding_once_d6"`
	TwoOnes  map[string]string `json:"reroll_ones_once_two_d6"`
}

//go:embed testdata/outside.json
var outsideFile []byte

func tables(t *testing.T) outside {
	t.Helper()
	var o outside
	if err := json.Unmarshal(outsideFile, &o); err != nil {
		t.Fatal(err)
	}
	if len(o.Rerolls) != 5 || len(o.Sixes) < 3 || len(o.Allocation) != 8 || len(o.Keep) != 6 || len(o.TwoD6) != 11 {
		t.Fatal("the tables are not whole")
	}
	return o
}

func fractions(t *testing.T, of map[string]string) map[int]*big.Rat {
	t.Helper()
	out := map[int]*big.Rat{}
	for k, v := range of {
		n, err := strconv.Atoi(k)
		if err != nil {
			t.Fatal(err)
		}
		out[n] = rat(t, v)
	}
	return out
}

func need(t *testing.T, text string) Need {
	t.Helper()
	n, err := ParseNeed(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// Re-rolls of one die, against dice-successes single_die_rerolls.
func TestRerollsAgainstTable(t *testing.T) {
	for _, row := range tables(t).Rerolls {
		for _, c := range []struct {
			rerolls Rerolls
			want    string
		}{{0, row.P}, {Ones, row.Ones}, {Misses, row.Failures}, {OneMiss, row.Failures}, {Passes, row.Successes}} {
			e := Each{Sides: 6, Need: need(t, row.Target), Rerolls: c.rerolls}
			got, _ := law(func(d *every) int { return e.Roll(d, 1).On })
			if got[1].Cmp(rat(t, c.want)) != 0 {
				t.Errorf("%s with re-rolls %b: %v, the table says %s", row.Target, c.rerolls, got[1], c.want)
			}
		}
	}
}

// A natural 6 that counts twice, against dice-successes six_counts_twice.
func TestExtraAgainstTable(t *testing.T) {
	for _, row := range tables(t).Sixes {
		e := Each{Sides: 6, Need: need(t, row.Target), Naturals: []Natural{{From: 6, Gift: Extra, Amount: 1}}}
		got, _ := law(func(d *every) int { return e.Roll(d, row.Dice).On })
		same(t, fmt.Sprint(row.Dice, "d6 ", row.Target), got, fractions(t, row.PMF))
	}
}

// Damage model by model, against absorbing-chains sequential_allocation.
func TestDamageAgainstTable(t *testing.T) {
	for _, row := range tables(t).Allocation {
		amount := Amount{Dice: 1, Sides: len(row.Damage)}
		if len(row.Damage) == 1 {
			for n := range row.Damage {
				amount = Amount{Plus: int(n[0] - '0')}
			}
		}
		a := Attack{
			Number: Exactly(row.Hits),
			Damage: Damage{Amount: amount},
			Ladder: Ladder{Segments: []Segment{{Models: row.Models, Wounds: row.Wounds}}, Rung: row.Wounds - row.First},
		}
		got, walked := law(func(d *every) int { return a.Roll(d).Fell })
		same(t, row.Case, got, fractions(t, row.Removed))
		if walked.most > a.Most() {
			t.Errorf("%s: %d dice were drawn, at most %d were foretold", row.Case, walked.most, a.Most())
		}
	}
}

// dice reads "2d6" as a term.
func term(t *testing.T, text string) Term {
	t.Helper()
	a, err := ParseAmount(text)
	if err != nil {
		t.Fatal(err)
	}
	return Term{Dice: a.Dice, Sides: a.Sides}
}

// Kept dice, against dice-tables keep.
func TestKeptAgainstTable(t *testing.T) {
	for name, row := range tables(t).Keep {
		part := strings.Split(name, "_")
		one := term(t, part[0])
		one.Keep, _ = strconv.Atoi(part[2])
		if part[1] == "worst" {
			one.Keep = -one.Keep
		}
		got, _ := law(func(d *every) int { return Total{Terms: []Term{one}}.Roll(d).Total })
		want := map[int]*big.Rat{}
		for v, n := range row.Counts {
			total, _ := strconv.Atoi(v)
			want[total] = big.NewRat(n, row.Outcomes)
		}
		same(t, name, got, want)
	}
}

// Opposed totals, against dice-tables opposed; the modifier is a plus of mine.
func TestOpposedAgainstTable(t *testing.T) {
	for _, table := range tables(t).Opposed {
		if table.Outcomes > 1296 {
			continue // odds checks the rest
		}
		for _, row := range table.Rows {
			o := Opposed{
				Mine:   Total{Terms: []Term{term(t, table.A)}, Plus: row.Modifier},
				Theirs: Total{Terms: []Term{term(t, table.B)}},
			}
			got, _ := law(func(d *every) int { return o.Roll(d).Winner })
			want := map[int]*big.Rat{}
			for winner, n := range map[int]int64{1: row.Wins, 0: row.Tie, -1: row.Losses} {
				if n > 0 {
					want[winner] = big.NewRat(n, table.Outcomes)
				}
			}
			same(t, fmt.Sprint(table.A, " against ", table.B, row.Modifier), got, want)
		}
	}
}

// 2d6 judged, with every re-roll of totals, against dice-tables two_d6_at_least.
func TestTotalsAgainstTable(t *testing.T) {
	for _, row := range tables(t).TwoD6 {
		for _, c := range []struct {
			term    Term
			rerolls Rerolls
			want    string
		}{
			{Term{Dice: 2, Sides: 6}, 0, row.P},
			{Term{Dice: 2, Sides: 6}, Misses, row.Both},
			{Term{Dice: 2, Sides: 6}, Worst, row.Lower},
			{Term{Dice: 2, Sides: 6}, Ones, row.Ones},
			{Term{Dice: 3, Sides: 6, Keep: 2}, 0, row.Best},
		} {
			total := Total{Terms: []Term{c.term}, Judge: TotalAtLeast, Value: need(t, row.Target).Face, Rerolls: c.rerolls}
			got, walked := law(func(d *every) int {
				if total.Roll(d).Passed {
					return 1
				}
				return 0
			})
			if got[1].Cmp(rat(t, c.want)) != 0 {
				t.Errorf("%s with re-rolls %b: %v, the table says %s", row.Target, c.rerolls, got[1], c.want)
			}
			if walked.most > total.Most() {
				t.Errorf("%d dice drawn, at most %d foretold", walked.most, total.Most())
			}
		}
	}
}

// An open-ended die and re-rolled ones, against dice-tables exploding_once_d6
// and reroll_ones_once.
func TestOpenAndOnesAgainstTable(t *testing.T) {
	o := tables(t)
	got, _ := law(func(d *every) int { return Total{Terms: []Term{{Dice: 1, Sides: 6, Open: 1}}}.Roll(d).Total })
	same(t, "d6 open-ended once", got, fractions(t, o.OpenOnce))
	got, _ = law(func(d *every) int {
		return Total{Terms: []Term{{Dice: 2, Sides: 6}}, Rerolls: Ones}.Roll(d).Total
	})
	same(t, "2d6, ones again", got, fractions(t, o.TwoOnes))
}
