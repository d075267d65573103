package attack

import (
	"drumhead/engine/dice"
	"drumhead/engine/odds"
	"drumhead/engine/reason"
)

// Hull is what is crossed off one by one until nothing is left. Crossing off a
// mark looks up Table, whose result may cross off more, mark after mark.
type Hull struct {
	Left  int   // not crossed off yet
	Marks []int // rising: the first to be crossed off is 1; the last of all is no mark
	Table Table
	More  [][]Amount // by result: what it crosses off besides
}

// HullRolled is points as they were crossed off.
type HullRolled struct {
	Points    int        `json:"points"`  // that were to be crossed off
	Crossed   int        `json:"crossed"` // that were, those of criticals included
	Criticals []Critical `json:"criticals,omitempty"`
}

// Critical is one look at the table: at which mark, what the dice showed, and
// what that crossed off besides.
type Critical struct {
	Mark   int   `json:"mark"`
	Sum    Sum   `json:"sum"`
	Result int   `json:"result"`
	Dice   []int `json:"dice,omitempty"` // of the amounts
	More   int   `json:"more,omitempty"`
}

// Roll crosses off points, one by one.
func (h Hull) Roll(d dice.Drawer, points int) HullRolled {
	r := HullRolled{Points: points}
	for pending := points; pending > 0 && r.Crossed < h.Left; pending-- {
		r.Crossed++
		if !h.critical(r.Crossed) {
			continue
		}
		rolled := h.Table.Roll(d)
		c := Critical{Mark: r.Crossed, Sum: rolled.Sum, Result: rolled.Result}
		for _, amount := range h.more(rolled.Result) {
			faces, sum := amount.Roll(d)
			c.Dice, c.More = append(c.Dice, faces...), c.More+sum
		}
		pending += c.More
		r.Criticals = append(r.Criticals, c)
	}
	return r
}

// critical tells whether a mark is crossed there; when nothing is left none is.
func (h Hull) critical(at int) bool {
	if at >= h.Left {
		return false
	}
	for _, mark := range h.Marks {
		if mark == at {
			return true
		}
	}
	return false
}

func (h Hull) more(result int) []Amount {
	if result < len(h.More) {
		return h.More[result]
	}
	return nil
}

// Most is the most dice that crossing off any number of points can draw.
func (h Hull) Most() int {
	most := 0
	for _, amounts := range h.More {
		dice := 0
		for _, a := range amounts {
			dice += a.Dice
		}
		most = max(most, dice)
	}
	return len(h.Marks) * (most + h.Table.Most())
}

// MostHull is the most that a hull may have left to be reckoned.
const MostHull = 400

// Law is the law of what is crossed off, when the points have a law themselves.
// It goes from the far end backwards: what happens beyond a mark is known before
// the mark is. It refuses a hull of more than MostHull with odds.refuse.large.
func (h Hull) Law(points odds.Law) (odds.Law, error) {
	if h.Left > MostHull {
		return odds.Law{}, tooLarge()
	}
	more, err := h.moreLaw()
	if err != nil {
		return odds.Law{}, err
	}
	// ends[at][pending] is the law of the end from at, with so many to go.
	ends := make([][]odds.Law, h.Left+1)
	for at := h.Left; at >= 0; at-- {
		ends[at] = make([]odds.Law, h.Left+1)
		for pending := 0; pending <= h.Left; pending++ {
			ends[at][pending] = h.end(ends, more, at, pending)
		}
	}
	var laws []odds.Law
	for i := range points.Chance {
		laws = append(laws, ends[0][min(points.Least+i, h.Left)])
	}
	return odds.Mix(points.Chance, laws).Trim(), nil
}

// end is the law of the end from one place, those beyond it being known.
func (h Hull) end(ends [][]odds.Law, more odds.Law, at, pending int) odds.Law {
	switch {
	case pending == 0 || at == h.Left:
		return odds.Always(at)
	case !h.critical(at + 1):
		return ends[at+1][pending-1]
	}
	var laws []odds.Law
	for i := range more.Chance {
		laws = append(laws, ends[at+1][min(pending-1+more.Least+i, h.Left)])
	}
	return odds.Mix(more.Chance, laws)
}

// moreLaw is the law of what one look at the table crosses off besides.
func (h Hull) moreLaw() (odds.Law, error) {
	if len(h.Marks) == 0 {
		return odds.Always(0), nil
	}
	rows, err := h.Table.Law()
	if err != nil {
		return rows, err
	}
	var laws []odds.Law
	for i := range rows.Chance {
		law := odds.Always(0)
		for _, amount := range h.more(rows.Least + i) {
			law = law.Plus(amount.Law())
		}
		laws = append(laws, law)
	}
	return odds.Mix(rows.Chance, laws), nil
}

// Words are what is left, and its marks.
func (h Hull) Words() []reason.Reason {
	words := []reason.Reason{reason.New("rule.hull", "n", h.Left)}
	if len(h.Marks) > 0 {
		words = append(words, reason.New("rule.marks", "n", len(h.Marks)))
	}
	return []reason.Reason{and(words...)}
}

// Volley is pools against pools whose successes do damage to a hull.
type Volley struct {
	Pools  Pools
	Damage Amount // of each success that was not cancelled
	Hull   Hull
}

// VolleyRolled is a volley as it was rolled.
type VolleyRolled struct {
	Pools  PoolsRolled `json:"pools"`
	Damage []int       `json:"damage,omitempty"` // dice of the amounts
	Hull   HullRolled  `json:"hull"`
}

// Roll rolls both pools, the damage, and what is crossed off.
func (v Volley) Roll(d dice.Drawer) VolleyRolled {
	r := VolleyRolled{Pools: v.Pools.Roll(d)}
	points := 0
	for range r.Pools.Left {
		faces, sum := v.Damage.Roll(d)
		r.Damage = append(r.Damage, faces...)
		points += sum
	}
	r.Hull = v.Hull.Roll(d, points)
	return r
}

// Most is the most dice that the volley can draw.
func (v Volley) Most() int {
	hits := v.Pools.Mine.Number * (1 + v.Pools.Mine.Step.extras())
	return v.Pools.Most() + hits*v.Damage.Dice + v.Hull.Most()
}

// Count rolls the volley and gives what is crossed off.
func (v Volley) Count(d dice.Drawer) int { return v.Roll(d).Hull.Crossed }

// Law is the law of what is crossed off.
func (v Volley) Law() (odds.Law, error) {
	left, err := v.Pools.Law()
	if err != nil {
		return left, err
	}
	if most := (left.Least + len(left.Chance)) * v.Damage.Most(); most*most > MostWork {
		return odds.Law{}, tooLarge()
	}
	return v.Hull.Law(left.Of(v.Damage.Law()))
}

// Words are the rules of the pools, the damage and the hull.
func (v Volley) Words() []reason.Reason {
	words := append(v.Pools.Words(), reason.New("rule.damage", "damage", v.Damage.String()))
	return append(words, v.Hull.Words()...)
}
