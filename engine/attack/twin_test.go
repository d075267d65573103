package attack

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"testing"

	"drumhead/engine/dice"
	"drumhead/engine/odds"
)

// twin solves an attack a second time, in another way: one attack is walked with
// fractions over every face of every die, and then so many attacks with whole
// numbers over one common denominator. It judges faces, saves and gifts by itself.
type twin struct {
	a     Attack
	flags []*Each // steps and saves whose re-roll acts once, by bit
	known map[string]map[state]*big.Rat
}

// state is a rung and the re-rolls that are used up.
type state struct{ rung, used int }

// twinToken is a token on its way, before a step.
type twinToken struct {
	step, skip, damage, pierce, sure int
	noSave                           bool
}

func (w *twin) bit(e *Each) int {
	if e.Rerolls&OneMiss == 0 {
		return 0
	}
	if i := slices.Index(w.flags, e); i >= 0 {
		return 1 << i
	}
	w.flags = append(w.flags, e)
	return 1 << (len(w.flags) - 1)
}

func good(e Each, need Need, face int) bool {
	if face == 1 && e.OneFails {
		return false
	}
	if face == e.Sides && e.TopPasses {
		return true
	}
	if need.OrLess {
		return face <= need.Face
	}
	return face >= need.Face
}

// die goes over the faces of one die and its re-roll.
func die1(e Each, need Need, bit, used int, then func(face, used int, p *big.Rat)) {
	n := int64(e.Sides)
	for first := 1; first <= e.Sides; first++ {
		passed := good(e, need, first)
		again := first == 1 && e.Rerolls&Ones != 0 || !passed && e.Rerolls&Misses != 0 || passed && e.Rerolls&Passes != 0
		after := used
		if !again && !passed && bit != 0 && used&bit == 0 {
			again, after = true, used|bit
		}
		if !again {
			then(first, used, big.NewRat(1, n))
			continue
		}
		for face := 1; face <= e.Sides; face++ {
			then(face, after, big.NewRat(1, n*n))
		}
	}
}

// walk is the law of the state after a list of tokens, the first first.
func (w *twin) walk(s state, tokens []twinToken) map[state]*big.Rat {
	if len(tokens) == 0 {
		return map[state]*big.Rat{s: big.NewRat(1, 1)}
	}
	key := fmt.Sprint(s, tokens)
	if law, ok := w.known[key]; ok {
		return law
	}
	law := map[state]*big.Rat{}
	add := func(s state, tokens []twinToken, p *big.Rat) {
		for to, q := range w.walk(s, tokens) {
			if law[to] == nil {
				law[to] = new(big.Rat)
			}
			law[to].Add(law[to], new(big.Rat).Mul(p, q))
		}
	}
	t, rest := tokens[0], tokens[1:]
	if t.step < len(w.a.Steps) {
		w.step(s, t, rest, add)
	} else {
		w.strike(s, t, func(to state, p *big.Rat) { add(to, rest, p) })
	}
	w.known[key] = law
	return law
}

func (w *twin) step(s state, t twinToken, rest []twinToken, add func(state, []twinToken, *big.Rat)) {
	e := &w.a.Steps[t.step]
	next := t
	next.step++
	whole := big.NewRat(1, 1)
	need := e.Need
	saving := e.On == FailsGoOn
	if saving && need.OrLess {
		need.Face -= t.pierce
	} else if saving {
		need.Face += t.pierce
	}
	passing := 0
	for face := 1; face <= e.Sides; face++ {
		if good(*e, need, face) {
			passing++
		}
	}
	switch {
	case t.sure > 0 || saving && t.noSave:
		add(s, append([]twinToken{next}, rest...), whole)
	case t.skip > 0:
		next.skip--
		add(s, append([]twinToken{next}, rest...), whole)
	case passing == 0 && saving || passing == e.Sides && !saving:
		add(s, append([]twinToken{next}, rest...), whole)
	case passing == 0 || passing == e.Sides:
		add(s, rest, whole)
	default:
		die1(*e, need, w.bit(e), s.used, func(face, used int, p *big.Rat) {
			to := state{s.rung, used}
			if good(*e, need, face) == saving {
				add(to, rest, p)
				return
			}
			add(to, append(born(*e, next, face), rest...), p)
		})
	}
}

// born is a token with what its face gives, in the order in which damage falls.
func born(e Each, next twinToken, face int) []twinToken {
	self, like, sure := next, next, 0
	extra := 0
	for _, n := range e.Naturals {
		if face < n.From {
			continue
		}
		switch n.Gift {
		case Extra:
			extra += n.Amount
		case Skip:
			self.skip += n.Amount
		case NoSave:
			self.noSave = true
		case MoreDamage:
			self.damage += n.Amount
		case MorePiercing:
			self.pierce += n.Amount
		case Sure:
			self.sure += n.Amount
		case AlsoSure:
			sure += n.Amount
		}
	}
	out := []twinToken{self}
	for range extra {
		out = append(out, like)
	}
	if sure > 0 {
		out = append(out, twinToken{step: next.step, sure: sure})
	}
	return out
}

// strike is one packet.
func (w *twin) strike(s state, t twinToken, then func(state, *big.Rat)) {
	whole := big.NewRat(1, 1)
	at, top, left := -1, 0, 0
	for i, seg := range w.a.Ladder.Segments {
		end := top + seg.Models*seg.Wounds
		if at < 0 && s.rung < end {
			at, left = i, seg.Wounds-(s.rung-top)%seg.Wounds
		}
		top = end
	}
	switch {
	case at < 0:
		then(s, whole)
		return
	case t.sure > 0:
		then(state{min(top, s.rung+t.sure), s.used}, whole)
		return
	}
	seg := &w.a.Ladder.Segments[at]
	hurt := func(used int, p *big.Rat) { w.hurt(state{s.rung, used}, seg, t.damage, left, top, p, then) }
	need := seg.Save.Need
	need.Face += t.pierce
	passing := 0
	for face := 1; face <= seg.Save.Sides; face++ {
		if good(seg.Save, need, face) {
			passing++
		}
	}
	switch {
	case t.noSave || t.skip > 0 || passing == 0:
		hurt(s.used, whole)
	case passing == seg.Save.Sides:
		then(s, whole)
	default:
		die1(seg.Save, need, w.bit(&seg.Save), s.used, func(face, used int, p *big.Rat) {
			if good(seg.Save, need, face) {
				then(state{s.rung, used}, p)
			} else {
				hurt(used, p)
			}
		})
	}
}

// hurt goes over the faces of the damage, then lets each point be saved.
func (w *twin) hurt(s state, seg *Segment, more, left, top int, p *big.Rat, then func(state, *big.Rat)) {
	points := map[int]*big.Rat{w.a.Damage.Amount.Plus + more: p}
	for range w.a.Damage.Amount.Dice {
		next := map[int]*big.Rat{}
		for n, q := range points {
			for face := 1; face <= w.a.Damage.Amount.Sides; face++ {
				put(next, n+face, new(big.Rat).Quo(q, big.NewRat(int64(w.a.Damage.Amount.Sides), 1)))
			}
		}
		points = next
	}
	for n, q := range points {
		w.last(s, seg, n, 0, q, func(used, through int, q *big.Rat) {
			if !w.a.Damage.Spill {
				through = min(through, left)
			}
			then(state{min(top, s.rung+through), used}, q)
		})
	}
}

func put[K comparable](law map[K]*big.Rat, k K, p *big.Rat) {
	if law[k] == nil {
		law[k] = new(big.Rat)
	}
	law[k].Add(law[k], p)
}

// last rolls the last saves of so many points.
func (w *twin) last(s state, seg *Segment, n, through int, p *big.Rat, then func(used, through int, p *big.Rat)) {
	type reached struct{ used, through int }
	at := map[reached]*big.Rat{{s.used, through}: p}
	for range n {
		next := map[reached]*big.Rat{}
		for r, q := range at {
			if seg.Last.Sides == 0 {
				put(next, reached{r.used, r.through + 1}, q)
				continue
			}
			die1(seg.Last, seg.Last.Need, w.bit(&seg.Last), r.used, func(face, used int, f *big.Rat) {
				to := reached{used, r.through}
				if !good(seg.Last, seg.Last.Need, face) {
					to.through++
				}
				put(next, to, new(big.Rat).Mul(q, f))
			})
		}
		at = next
	}
	for r, q := range at {
		then(r.used, r.through, q)
	}
}

// solve takes n attacks with whole numbers over one denominator.
func (w *twin) solve(t *testing.T, n int) map[int]*big.Rat {
	t.Helper()
	w.known = map[string]map[state]*big.Rat{}
	now := map[state]*big.Int{{w.a.Ladder.Rung, 0}: big.NewInt(1)}
	rows, denominator := w.rows()
	whole := new(big.Int).Set(denominator)
	for range n {
		next := map[state]*big.Int{}
		for s, k := range now {
			for to, weight := range rows[s] {
				if next[to] == nil {
					next[to] = new(big.Int)
				}
				next[to].Add(next[to], new(big.Int).Mul(k, weight))
			}
		}
		now = next
		whole.Mul(whole, denominator)
	}
	whole.Quo(whole, denominator)
	law, sum := map[int]*big.Rat{}, new(big.Int)
	for s, k := range now {
		put(law, s.rung, new(big.Rat).SetFrac(k, whole))
		sum.Add(sum, k)
	}
	if sum.Cmp(whole) != 0 {
		t.Error("the twin's chances do not add up to 1")
	}
	return law
}

// rows are the weights of one attack from every state that can be reached.
func (w *twin) rows() (map[state]map[state]*big.Int, *big.Int) {
	laws := map[state]map[state]*big.Rat{}
	todo := []state{{w.a.Ladder.Rung, 0}}
	common := big.NewInt(1)
	for len(todo) > 0 {
		s := todo[0]
		todo = todo[1:]
		if laws[s] != nil {
			continue
		}
		laws[s] = w.walk(s, []twinToken{{}})
		for to, p := range laws[s] {
			d := p.Denom()
			common.Mul(common, new(big.Int).Quo(d, new(big.Int).GCD(nil, nil, common, d)))
			todo = append(todo, to)
		}
	}
	rows := map[state]map[state]*big.Int{}
	for s, law := range laws {
		rows[s] = map[state]*big.Int{}
		for to, p := range law {
			rows[s][to] = new(big.Int).Mul(p.Num(), new(big.Int).Quo(common, p.Denom()))
		}
	}
	return rows, common
}

// named is the attack that speed is measured with: 60 attacks, ones and misses
// again, a six hits twice, save, d3, last save, into ten models of three wounds.
func named(n int) Attack {
	return Attack{
		Number: Exactly(n),
		Steps: []Each{
			{Sides: 6, Need: AtLeast(3), OneFails: true, TopPasses: true, Rerolls: Ones, Naturals: []Natural{gift(Extra, 1)}},
			{Sides: 6, Need: AtLeast(4), OneFails: true, TopPasses: true, Rerolls: Misses},
		},
		Damage: Damage{Amount: Amount{Dice: 1, Sides: 3}},
		Ladder: Ladder{Segments: []Segment{{Models: 10, Wounds: 3, Save: Each{Sides: 6, Need: AtLeast(5), OneFails: true}, Last: Each{Sides: 6, Need: AtLeast(6)}}}},
	}
}

func relative(t *testing.T, name string, solved odds.Law, want map[int]*big.Rat) {
	t.Helper()
	for v, p := range want {
		f, _ := p.Float64()
		if math.Abs(solved.Exactly(v)-f) > 1e-12*f && f > 1e-290 {
			t.Errorf("%s: %d solved as %.17g, by the twin %.17g", name, v, solved.Exactly(v), f)
		}
	}
}

func TestTwinOfNamedAttack(t *testing.T) {
	pooled := named(60)
	pooled.Steps[1].Rerolls = Ones | OneMiss
	pooled.Ladder.Segments[0].Save.Rerolls = OneMiss
	for name, a := range map[string]Attack{"60 attacks": named(60), "1,000 attacks": named(1000), "pooled": pooled} {
		solved, err := a.Solve()
		if err != nil {
			t.Fatal(err)
		}
		w := twin{a: a}
		relative(t, name, solved.Rungs, w.solve(t, a.Number.Most()))
	}
}

// Random attacks: the solver against the twin to 1e-12, and against the roller by
// chi-square. The false-alarm rate of the whole run is 1e-3; the seed is fixed, so
// a failure is a fault.
func TestRandomAttacksFalseAlarmOneInAThousand(t *testing.T) {
	const attacks, rolled = 120, 4000
	for i := range attacks {
		d := dice.NewStream("random-attacks", uint64(i), "none", dice.Key{7})
		a := random(d)
		solved, err := a.Solve()
		if err != nil {
			t.Fatalf("%+v: %v", a, err)
		}
		w := twin{a: a}
		relative(t, fmt.Sprintf("attack %d: %+v", i, a), solved.Rungs, w.solve(t, a.Number.Most()))
		counts := map[int]int{}
		for k := range rolled {
			counts[a.Roll(dice.NewStream("rolled", uint64(i*rolled+k), "none", dice.Key{9})).Rung]++
		}
		if p := chiSquare(t, solved.Rungs, counts, rolled); p < 1e-3/attacks {
			t.Errorf("attack %d: rolled against solved p = %g: %+v", i, p, a)
		}
	}
}

// random makes an attack of two or three steps with re-rolls, naturals, saves,
// last saves, two segments and carried wounds.
func random(d dice.Drawer) Attack {
	pick := func(n int) int { return d.Draw(n+1) - 1 } // 0 to n
	a := Attack{Number: Exactly(1 + pick(11)), Damage: Damage{Amount: Amount{Plus: 1 + pick(2)}, Spill: pick(3) == 0}}
	if pick(1) == 0 {
		a.Damage.Amount = Amount{Dice: 1, Sides: 2 + pick(2), Plus: pick(1)}
	}
	rerolls := []Rerolls{0, 0, Ones, Misses, Passes, OneMiss, Ones | OneMiss}
	pooled := 0
	each := func(on On) Each {
		e := Each{Sides: 6, Need: AtLeast(1 + pick(6)), OneFails: pick(2) > 0, TopPasses: pick(1) > 0, On: on, Rerolls: rerolls[pick(len(rerolls)-1)]}
		if e.Rerolls&OneMiss != 0 {
			if pooled++; pooled > 2 {
				e.Rerolls &^= OneMiss
			}
		}
		return e
	}
	for range 1 + pick(2) {
		e := each(PassesGoOn)
		for range pick(2) {
			e.Naturals = append(e.Naturals, Natural{From: 5 + pick(1), Gift: Gift(pick(len(giftKinds) - 1)), Amount: 1 + pick(1)})
		}
		a.Steps = append(a.Steps, e)
	}
	for range 1 + pick(1) {
		s := Segment{Models: 1 + pick(3), Wounds: 1 + pick(2)}
		if pick(3) > 0 {
			s.Save = each(PassesGoOn)
			s.Save.TopPasses, s.Save.Rerolls = false, s.Save.Rerolls&^OneMiss
		}
		if pick(2) == 0 {
			s.Last = Each{Sides: 6, Need: AtLeast(4 + pick(2))}
		}
		a.Ladder.Segments = append(a.Ladder.Segments, s)
	}
	a.Ladder.Rung = pick(1)
	return a
}
