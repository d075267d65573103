package attack

import "drumhead/engine/odds"

// packet is what one token's packet does to the ladder: the save of the model
// that is hit first, the damage, a last save for each point.
func (w *walk) packet(t token) odds.Climb {
	segments := w.attack.Ladder.Segments
	points := make([]odds.Climb, len(segments))
	reach := 0
	for i, s := range segments {
		points[i] = w.pointsOf(i, t.damage)
		most := points[i].Reach()
		if !w.attack.Damage.Spill {
			most = min(most, s.Wounds)
		}
		reach = max(reach, most)
	}
	c := w.climb(reach)
	if w.err != nil {
		return c
	}
	for class := range w.foot.Classes() {
		rung := w.foot.Rung(class)
		i, left := w.attack.Ladder.At(min(rung, w.attack.Ladder.Top()-1))
		most := left
		if w.attack.Damage.Spill {
			most = reach
		}
		w.hit(c, class, t, segments[i], points[i], most)
	}
	return c
}

// hit fills in what a packet does from one class of rungs: it rises at most so
// many.
func (w *walk) hit(c odds.Climb, class int, t token, s Segment, points odds.Climb, most int) {
	for mode := range w.foot.Modes {
		for _, o := range w.saves(s, t, mode) {
			if o.saved {
				c.Add(class, mode, o.mode, 0, o.chance)
				continue
			}
			for after := o.mode; after < w.foot.Modes; after++ {
				for n := 0; n <= points.Reach(); n++ {
					if p := points.Chance(0, o.mode, after, n); p > 0 {
						c.Add(class, mode, after, min(n, most), o.chance*p)
					}
				}
			}
		}
	}
}

// outcome of a save: what it was, the mode after it, the chance.
type outcome struct {
	saved  bool
	mode   int
	chance float64
}

// saves lists the outcomes of the save of a model, in a mode.
func (w *walk) saves(s Segment, t token, mode int) []outcome {
	save := s.save(t.piercing)
	switch {
	case t.noSave, t.skip > 0, save.Sides == 0, save.Impossible():
		return []outcome{{false, mode, 1}}
	case save.Certain():
		return []outcome{{true, mode, 1}}
	}
	return w.outcomes(save, w.save, mode)
}

// outcomes lists whether one die passes, and what mode that leaves.
func (w *walk) outcomes(e Each, bit, mode int) []outcome {
	plain, again := e.faces(e.Rerolls&OneMiss == 0 || mode&bit != 0)
	pass, miss := e.split(plain)
	out := []outcome{{true, mode, pass}, {false, mode, miss}}
	if again != nil {
		pass, miss = e.split(again)
		out = append(out, outcome{true, mode | bit, pass}, outcome{false, mode | bit, miss})
	}
	return out
}

// split adds the chances of the faces that pass, and of those that miss.
func (e Each) split(chance []float64) (pass, miss float64) {
	for i, p := range chance {
		if e.Passes(i + 1) {
			pass += p
		} else {
			miss += p
		}
	}
	return pass, miss
}

// pointsOf is the law of a packet's points that no last save stopped, as a climb
// on level ground: by mode, as many as matter at the most.
func (w *walk) pointsOf(segment, more int) odds.Climb {
	key := [2]int{segment, more}
	if c, ok := w.points[key]; ok {
		return c
	}
	s, amount := w.attack.Ladder.Segments[segment], w.attack.Damage.Amount
	top := w.foot.Top
	if !w.attack.Damage.Spill {
		top = min(top, s.Wounds)
	}
	level := odds.NewFooting(top, w.foot.Modes)
	if !w.spend(3 * level.Cells(amount.Most()+more)) {
		return level.Stay()
	}
	point := w.point(&level, s.Last)
	c := point.Power(amount.Plus + more)
	if amount.Dice > 0 {
		c = die(&level, point, amount.Sides).Power(amount.Dice).Then(c)
	}
	w.points[key] = c
	return c
}

// point is what one point of damage comes to: nothing if its last save passes.
func (w *walk) point(level *odds.Footing, last Each) odds.Climb {
	c := level.NewClimb(1)
	for mode := range level.Modes {
		switch {
		case last.Sides == 0 || last.Impossible():
			c.Add(0, mode, mode, 1, 1)
		case last.Certain():
			c.Add(0, mode, mode, 0, 1)
		default:
			for _, o := range w.outcomes(last, w.last, mode) {
				c.Add(0, mode, o.mode, 1-truth(o.saved), o.chance)
			}
		}
	}
	return c
}

// die is what the points of one damage die come to.
func die(level *odds.Footing, point odds.Climb, sides int) odds.Climb {
	c := level.NewClimb(sides)
	for mode := range level.Modes {
		climber := level.NewClimber(odds.Always(0), 1, mode)
		for range sides {
			climber.Take(point)
			climber.AddModes(c, mode, 1/float64(sides))
		}
	}
	return c
}

func truth(b bool) int {
	if b {
		return 1
	}
	return 0
}
