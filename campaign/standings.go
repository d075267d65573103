package campaign

import (
	"cmp"
	"slices"
)

// Standings orders the players: regions held, then battles won, then name. The
// caller knows the names.
func (s State) Standings(name func(player string) string) []Standing {
	return Order(s.standing(), name)
}

// Order sorts lines of standings by regions, battles won, name.
func Order(lines []Standing, name func(player string) string) []Standing {
	out := slices.Clone(lines)
	slices.SortStableFunc(out, func(a, b Standing) int {
		return cmp.Or(
			cmp.Compare(b.Regions, a.Regions),
			cmp.Compare(b.Won, a.Won),
			cmp.Compare(name(a.Player), name(b.Player)))
	})
	return out
}

// standing is one line a player, in the order of joining.
func (s State) standing() []Standing {
	out := make([]Standing, 0, len(s.Players))
	for _, p := range s.Players {
		out = append(out, Standing{Player: p.ID, Regions: len(s.Holds(p.ID)), Won: p.Won, Drawn: p.Drawn, Lost: p.Lost})
	}
	return out
}

// Numbered returns a round: 1 is the first, and the last is being played. A
// closed one has its standings.
func (s State) Numbered(number int) (Round, bool) {
	switch {
	case number < 1 || number > s.Round:
		return Round{}, false
	case number == s.Round:
		return s.Now, true
	}
	return s.Past[number-1], true
}

// Note is the unit of note of a round: of those that rose the one with the most
// experience gained, else simply that one; ties go to who fought first.
func (r Round) Note() (unit Earned, rise *Rise, ok bool) {
	gained := map[[2]string]Earned{}
	var order [][2]string
	for _, e := range r.Earned {
		key := [2]string{e.Player, e.Unit}
		sum, seen := gained[key]
		if !seen {
			order = append(order, key)
			sum = Earned{Player: e.Player, Unit: e.Unit, Before: e.Before}
		}
		sum.After = e.After
		gained[key] = sum
	}
	for _, key := range order {
		e := gained[key]
		up := r.rise(e)
		better := up != nil && rise == nil || (up != nil) == (rise != nil) && e.After-e.Before > unit.After-unit.Before
		if !ok && e.After > e.Before || ok && better {
			unit, rise, ok = e, up, true
		}
	}
	return unit, rise, ok
}

// rise is the last grade that a unit reached in this round.
func (r Round) rise(e Earned) *Rise {
	for i := len(r.Rises) - 1; i >= 0; i-- {
		if r.Rises[i].Player == e.Player && r.Rises[i].Unit == e.Unit {
			return &r.Rises[i]
		}
	}
	return nil
}

// Quiet counts the rounds up to now, the present one left out, in which no
// battle was counted.
func (s State) Quiet() int {
	n := 0
	for i := len(s.Past) - 1; i >= 0 && len(s.Past[i].Results) == 0; i-- {
		n++
	}
	return n
}
