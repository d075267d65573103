package rules

import "drumhead/engine/odds"

// Before is what a cast promised before any die: exact chances.
type Before struct {
	Cast    float64 // the casting roll is enough
	Against float64 // and stands, if it is countered whenever dice could beat it
	Mishap  float64 // something falls back on the caster
	Death   float64 // and kills it
}

// mostCastings bounds the casting rolls that are gone through one by one.
const mostCastings = 100_000

// Before reckons the chances of a cast by a caster with so many wounds left, by
// going through every casting roll; false for dice that are too many for that,
// or that count otherwise than by being added up.
func (c Casting) Before(wounds int) (Before, bool) {
	if len(c.Cast.Terms) != 1 || c.Cast.Rerolls != 0 {
		return Before{}, false
	}
	term, rolls := c.Cast.Terms[0], 1
	if term.Keep != 0 || term.Open != 0 || term.Times > 1 || term.Times < 0 {
		return Before{}, false
	}
	for range term.Dice {
		if rolls *= term.Sides; rolls > mostCastings {
			return Before{}, false
		}
	}
	var b Before
	faces := make([]int, term.Dice)
	for roll := range rolls {
		for i := range faces {
			faces[i], roll = roll%term.Sides+1, roll/term.Sides
		}
		b = c.add(b, faces, wounds)
	}
	share := 1 / float64(rolls)
	return Before{b.Cast * share, b.Against * share, b.Mishap * share, b.Death * share}, true
}

// add counts one casting roll.
func (c Casting) add(b Before, faces []int, wounds int) Before {
	total := c.Cast.Plus
	for _, f := range faces {
		total += f
	}
	fails, mishap := c.Shows(faces)
	if total >= c.Cast.Value && !fails {
		b.Cast++
		b.Against++
		if counter, possible := c.Against(total); possible {
			if chance, err := counter.Made(); err == nil {
				b.Against -= chance
			}
		}
	}
	if len(mishap) == 0 {
		return b
	}
	b.Mishap++
	hurt := odds.Always(0)
	for _, one := range mishap {
		if one.Do == "sure" && (one.Who == "caster" || one.Who == "self") {
			hurt = hurt.Plus(one.Amount.Law())
		}
	}
	b.Death += hurt.AtLeast(wounds)
	return b
}
