package battle

import (
	"reflect"
	"slices"

	"drumhead/engine/attack"
	"drumhead/engine/odds"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// mostThens is how many unlike attacks one weapon's attack may be, by what is left
// of its target, while somebody waits.
const mostThens = 16

// then is an attack as it is made once earlier ones have brought the target to
// some of its rungs, and the law of those rungs on this attack's own ladder.
type then struct {
	attack attack.Attack
	low    int // the rung of the whole target at which it was compiled
	start  odds.Law
}

// rung is a rung of the whole target on this attack's own ladder.
func (t then) rung(whole int) int { return whole - t.low + t.attack.Ladder.Rung }

// climb takes one weapon's attack on to what the target's rung may have become.
// An attack depends on what is left: how many stand, and the toughness of most of
// them. So the law is cut into the rungs at which the attack is the same.
func (f *foresight) climb(how Verb, u, t Unit, w *rules.Weapon, a Aim, h hands) (attack.Solved, error) {
	now, err := f.settle(how, u, t, w, a, h)
	if err != nil {
		return attack.Solved{}, err
	}
	whole, law := now.attack.Ladder, f.law(t)
	if len(law.Chance) == 1 {
		return now.attack.SolveFrom(law)
	}
	parts, ends, err := f.thens(how, u, t, w, a, h, whole)
	if err != nil {
		return attack.Solved{}, err
	}
	for _, p := range parts {
		solved, err := p.attack.SolveFrom(p.start)
		if err != nil {
			return attack.Solved{}, err
		}
		for i, chance := range solved.Rungs.Chance {
			ends.Chance[solved.Rungs.Least+i-p.attack.Ladder.Rung+p.low] += chance
		}
	}
	return attack.Solved{Ladder: whole, Rungs: ends}, nil
}

// thens is the attacks that come of the law of a target's rung; gone is what of
// that law leaves nobody of it to be attacked.
func (f *foresight) thens(how Verb, u, t Unit, w *rules.Weapon, a Aim, h hands, whole attack.Ladder) (parts []then, gone odds.Law, err error) {
	law := f.law(t)
	gone = odds.Law{Chance: make([]float64, whole.Top()+1)}
	for i, chance := range law.Chance {
		rung := law.Least + i
		if chance == 0 {
			continue
		}
		at := foresight{run: run{state: f.lost(t, rung-whole.Rung), openings: f.openings}}
		left := *at.state.unit(t.ID)
		if !left.Stands() { // who had joined it is no target of this attack any more
			gone.Chance[rung] += chance
			continue
		}
		b, err := at.settle(how, u, left, w, a, h)
		if err != nil {
			return nil, gone, err
		}
		k := slices.IndexFunc(parts, func(p then) bool { return p.like(b.attack) })
		if k < 0 {
			if len(parts) == mostThens {
				return nil, gone, reason.Refuse(f.example(), "odds.refuse.large")
			}
			k = len(parts)
			parts = append(parts, then{b.attack, rung, odds.Law{Chance: make([]float64, b.attack.Ladder.Top()+1)}})
		}
		parts[k].start.Chance[parts[k].rung(rung)] += chance
	}
	return parts, gone, nil
}

// like tells whether an attack, compiled when more had fallen, is the same attack.
func (t then) like(b attack.Attack) bool {
	return t.attack.Number == b.Number && t.attack.Damage == b.Damage && reflect.DeepEqual(t.attack.Steps, b.Steps) &&
		sameEnd(runs(t.attack.Ladder), runs(b.Ladder))
}

// sameEnd tells whether what is left of a target is the end of what was left before.
func sameEnd(before, left []attack.Segment) bool {
	if len(left) == 0 || len(left) > len(before) {
		return false
	}
	before = slices.Clone(before[len(before)-len(left):])
	if left[0].Models > before[0].Models {
		return false
	}
	before[0].Models = left[0].Models
	return reflect.DeepEqual(before, left)
}

// runs is a ladder's segments, like neighbours joined.
func runs(l attack.Ladder) []attack.Segment {
	var out []attack.Segment
	for _, s := range l.Segments {
		if n := len(out); n > 0 {
			like := s
			like.Models = out[n-1].Models
			if reflect.DeepEqual(out[n-1], like) {
				out[n-1].Models += s.Models
				continue
			}
		}
		out = append(out, s)
	}
	return out
}

// lost is the state in which a target, and who has joined it, has lost so many
// wounds more.
func (f *foresight) lost(t Unit, wounds int) State {
	r := run{state: f.state.own(), openings: f.openings}
	target := r.state.group(t)
	_, target.Keep = r.keeps(t)
	own, beside := r.state.Pack.Shares(target, wounds)
	e := &Attacked{How: Shoot, At: t.ID, Crossed: own.Crossed, Fell: own.Fell, Left: t.Left - own.Fell, Hurt: own.Hurt}
	e.Parts, e.Worn = r.thinned(t, own.Fell)
	r.emit(e)
	r.beside(blow{at: t}, beside)
	return r.state
}
