package rules

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// randomDrawer draws from a seed.
type randomDrawer struct{ *rand.Rand }

func (d randomDrawer) Draw(sides int) int { return d.IntN(sides) + 1 }
func (randomDrawer) Left() int            { return 1 << 20 }

// randomPack is osier with other numbers and with special rules drawn at random,
// each for everybody, and perhaps only where a fact holds.
func randomPack(r *rand.Rand, good string) string {
	need := func() string { return fmt.Sprintf("%d+", 2+r.IntN(5)) }
	amount := []string{"1", "2", "3", "\"d3\"", "\"d6\"", "\"d3+1\""}
	text := strings.ReplaceAll(good, "wounds = 2, toughness = 4, save = \"4+\"", fmt.Sprintf("wounds = %d, toughness = %d, save = %q", 1+r.IntN(4), 2+r.IntN(5), need()))
	text = strings.ReplaceAll(text, "strength = 3\npiercing = 0\ndamage = 1", fmt.Sprintf("strength = %d\npiercing = %d\ndamage = %s", 2+r.IntN(6), r.IntN(3), amount[r.IntN(len(amount))]))
	steps := []string{"hit in melee", "wound"}
	step := func() string { return steps[r.IntN(len(steps))] }
	kinds := []func() string{
		func() string { return fmt.Sprintf("kind = \"modify\"\nstep = %q\nby = %d", step(), r.IntN(5)-2) },
		func() string {
			return fmt.Sprintf("kind = \"modify\"\nstep = \"save\"\nowner = \"target\"\nby = %d", r.IntN(5)-2)
		},
		func() string {
			return fmt.Sprintf("kind = \"reroll\"\nstep = %q\nwhich = %q", step(), RerollWords[r.IntN(len(RerollWords))])
		},
		func() string {
			gift := GiftWords[r.IntN(len(GiftWords))]
			value := "1"
			if gift == "no_save" {
				value = "true"
			}
			return fmt.Sprintf("kind = \"natural\"\nstep = %q\nfrom = %d\ngives = { %s = %s }", step(), 4+r.IntN(3), gift, value)
		},
		func() string { return fmt.Sprintf("kind = \"attacks\"\nplus = %d\nleast = %d", r.IntN(2), r.IntN(3)) },
		func() string { return fmt.Sprintf("kind = \"last_save\"\nneed = %q", need()) },
		func() string { return fmt.Sprintf("kind = \"save\"\nneed = %q", need()) },
		func() string { return "kind = \"damage\"\nplus = 1" },
		func() string { return "kind = \"spill\"" },
		func() string { return "kind = \"sure\"" },
		func() string { return fmt.Sprintf("kind = \"passes\"\nstep = %q", step()) },
		func() string {
			return fmt.Sprintf("kind = \"change\"\ncharacteristic = \"toughness\"\nby = %d", r.IntN(3)-1)
		},
	}
	facts := []string{"", "if = [{ charged = true }]", "if = [{ not = { cover = true } }]", "if = [{ target_models = { least = 4 } }]"}
	for i := range 1 + r.IntN(4) {
		text += fmt.Sprintf("\n[[effect]]\nid = \"random %d\"\nalways = true\n%s\n%s\n", i, kinds[r.IntN(len(kinds))](), facts[r.IntN(len(facts))])
	}
	return text
}

// What random packs roll agrees with what they solve: 120 packs, each with 4,000
// rolls of one attack. A cell that is expected 25 times or more is an alarm beyond
// six standard deviations, which fair dice do less than once in 10^5 runs of all;
// an end whose chance is nothing fails at once. Seeds are fixed: a failure is a bug.
func TestRandomPacksRollAsTheySolve(t *testing.T) {
	const packs, rolls = 120, 4000
	good := string(mustBuiltin(t))
	kinds := map[string]bool{}
	for seed := range uint64(packs) {
		r := rand.New(rand.NewPCG(seed, 77))
		p, err := Load("random.toml", []byte(randomPack(r, good)))
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		for _, e := range p.Effects {
			kinds[e.Kind] = kinds[e.Kind] || strings.HasPrefix(e.ID, "random")
		}
		from, at := Group{Unit: "weir-pikes", Models: 2 + r.IntN(10)}, Group{Unit: "fen-riders", Models: 1 + r.IntN(6)}
		a := compiled(t, p, from, "pike", at, Facts{Charged: r.IntN(2) == 0, Cover: r.IntN(2) == 0})
		law := crossed(t, a)
		seen := map[int]int{}
		d := randomDrawer{r}
		for range rolls {
			seen[a.Roll(d).Crossed]++
		}
		for end := range a.Ladder.Top() + 1 {
			chance := law.Exactly(end)
			expected := chance * rolls
			switch off := math.Abs(float64(seen[end]) - expected); {
			case chance == 0 && seen[end] > 0:
				t.Errorf("seed %d: %d crossed off was rolled, and has no chance", seed, end)
			case expected >= 25 && off > 6*math.Sqrt(expected*(1-chance))+1:
				t.Errorf("seed %d: %d crossed off %d times, expected %.1f", seed, end, seen[end], expected)
			}
		}
	}
	if len(kinds) < 11 {
		t.Errorf("only the kinds %v were drawn", kinds)
	}
}
