package battle

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"drumhead/engine/odds"
	"drumhead/engine/reason"
)

// What was promised: battles of all games are played at random, and again and
// again a sheet is reckoned as /odds does and then decided many times over from
// just that state. How often at least so much came of it is held against the
// exact chance p. Of n trials a share f or more (or less) comes with a chance of
// exp(-n·KL(f‖p)) at the most (Chernoff 1952), so with the bound e^-18 and fewer
// than 50,000 comparisons a run raises a false alarm less than once in 1,000.
// What has no chance fails at once. Seeds are fixed: a failure is a bug.
const (
	trialsOfAPromise = 100
	alarmBeyond      = 18.0
	seedsOfPromises  = 40
)

// promise is a quantity that /odds tells: its law, and how it is seen in events.
type promise struct {
	name string
	law  odds.Law
	seen func([]Event) int
}

// TestBattlesComeAsPromised; DRUMHEAD_LONG=20 plays twenty times as many.
func TestBattlesComeAsPromised(t *testing.T) {
	seeds := uint64(seedsOfPromises)
	if n, err := strconv.Atoi(os.Getenv("DRUMHEAD_LONG")); err == nil && n > 0 {
		seeds *= uint64(n)
	}
	kept := map[string]int{} // promises by game and kind
	over := map[string]*lean{}
	for seed := range seeds {
		r := rand.New(rand.NewPCG(seed, 5))
		s, b := anyBattle(t, seed)
		s = step(t, seed, r, s, Order{Player: Bot, Do: b})
		for n := 0; n < 40 && s.Stage == Playing; n++ {
			if lines := reckonable(r, s); lines != nil {
				for _, p := range promises(t, s, lines) {
					kind := s.Pack.ID + " " + p.name
					kept[kind]++
					if over[kind] == nil {
						over[kind] = &lean{}
					}
					p.hold(t, fmt.Sprintf("seed %d, step %d: %s, %+v", seed, n, kind, lines), r, s, lines, over[kind])
				}
			}
			sheet := likely(r, s)
			if r.IntN(3) == 0 {
				sheet = append(sheet, Line{Order: Done})
			}
			s = step(t, seed, r, s, Order{Player: s.Players[s.Side], Seq: uint64(n + 2), Do: Sheet{Battle: 1, Orders: sheet}})
		}
	}
	for _, kind := range []string{"osier attack", "osier charge", "osier cast", "osier cast stands", "osier mishap", "osier by power",
		"brine attack", "brine contest", "column attack", "column look", "odd attack"} {
		if kept[kind] < 4 {
			t.Errorf("%s: only %d promises were tried: %v", kind, kept[kind], kept)
		}
	}
	// All of a kind together: a small lean that no single state shows. Five standard
	// errors are one false alarm in a million for each kind.
	for kind, l := range over {
		if z := l.off / math.Sqrt(l.variance+1e-9); math.Abs(z) > 5 {
			t.Errorf("%s: %.1f standard errors too much over %d promises", kind, z, kept[kind])
		}
	}
}

// TestCommonPracticeComesAsPromised plays the pack of the trade's common practice in
// the same way, with forces drawn at random; it is no game that comes to an end.
func TestCommonPracticeComesAsPromised(t *testing.T) {
	kinds := []string{"shooters", "throwers", "wagon", "t2", "t3", "t4"}
	p := commonTable(t).state.Pack
	for seed := range uint64(16) {
		r := rand.New(rand.NewPCG(seed, 9))
		force := func() (out []Model) {
			for range 3 {
				k := kinds[r.IntN(len(kinds))]
				u := p.Unit(k)
				out = append(out, Model{Kind: k, Size: u.Least + r.IntN(u.Most-u.Least+1)})
			}
			return
		}
		tb := beginFile(t, "common.toml", force(), force())
		s := tb.state
		for n := 0; n < 30 && s.Stage == Playing; n++ {
			if lines := reckonable(r, s); lines != nil {
				for _, p := range promises(t, s, lines) {
					p.hold(t, fmt.Sprintf("seed %d, step %d: %s, %+v", seed, n, p.name, lines), r, s, lines, &lean{})
				}
			}
			sheet := likely(r, s)
			if r.IntN(3) == 0 {
				sheet = append(sheet, Line{Order: Done})
			}
			s = step(t, seed, r, s, Order{Player: s.Players[s.Side], Seq: uint64(n + 2), Do: Sheet{Battle: 1, Orders: sheet}})
			sound(t, seed, s)
		}
	}
}

// lean sums up how far what came lies above what was promised.
type lean struct{ off, variance float64 }

// reckonable is a sheet of a kind that can be reckoned: one line, or several that
// shoot at one target. Nil if none was found.
func reckonable(r *rand.Rand, s State) []Line {
	allowed := func(lines []Line) bool {
		_, err := Check(s, Order{Player: s.Players[s.Side], Do: Sheet{Orders: lines}})
		return err == nil
	}
	for range mostTries {
		l := randomLine(r, s)
		l.Else, l.If = nil, nil
		u, _ := s.Unit(l.Unit)
		switch l.Order {
		case Shoot:
			if all := s.shooting(u); s.Pack.Does(string(Shoot)) == "pools" && len(all) > 0 {
				l.Weapon = all[r.IntN(len(all))].ID // what the marks do counts for the next weapon
			}
		case Cast:
			if len(l.Near) > 0 && r.IntN(3) > 0 {
				l.Power, l.At = "undertow", l.Near[0] // what a power does to wounds is seldom
			}
		case Charge:
		case Fight:
			if r.IntN(2) == 0 && len(u.With) > 0 {
				l.At = u.With[0]
			}
		default:
			continue
		}
		if !allowed([]Line{l}) {
			continue
		}
		lines := []Line{l}
		for range 8 {
			more := randomLine(r, s)
			more.Order, more.At, more.Else, more.If, more.Near, more.Also, more.Joins = Shoot, l.At, nil, nil, nil, nil, ""
			if l.Order == Shoot && l.Weapon == "" && len(lines) < 3 && allowed(append(lines, more)) {
				lines = append(lines, more)
			}
		}
		return lines
	}
	return nil
}

// promises is what /odds tells of a sheet.
func promises(t *testing.T, s State, lines []Line) []promise {
	t.Helper()
	all, err := Prospects(s, s.Side, lines)
	var why *reason.Refusal
	if errors.As(err, &why) && why.Reason.ID == "battle.refuse.unarmed" && lines[0].Order == Fight {
		return nil // may stand in a melee, and has nothing to strike with
	}
	if err != nil {
		t.Fatalf("Check allows what cannot be reckoned: %+v: %s", lines, spell(err))
	}
	last := all[len(all)-1]
	units := map[string]bool{}
	for _, l := range lines {
		units[l.Unit] = true
		for _, with := range s.joined(l.Unit) { // who stands among them strikes with them
			units[with.ID] = units[with.ID] || l.Order != Shoot
		}
	}
	var out []promise
	if last.Strikes {
		name := map[Rolled]string{ACharge: "attack", ACast: "by power"}[last.What]
		if name == "" {
			name = string(last.What)
		}
		out = append(out, promise{name, last.Solved.Crossed(last.Before), func(events []Event) int { return crossed(events, last, units) }})
	}
	yes := func(name string, chance float64, seen func(Event) bool) {
		out = append(out, promise{name, odds.Law{Chance: []float64{1 - chance, chance}}, func(events []Event) int {
			for _, e := range events {
				if seen(e) {
					return 1
				}
			}
			return 0
		}})
	}
	switch last.What {
	case ACharge:
		yes("charge", last.In, func(e Event) bool { c, ok := e.(*Charged); return ok && c.In })
	case ACast:
		yes("cast", last.In, func(e Event) bool { c, ok := e.(*CastAt); return ok && c.Works })
		yes("mishap", last.Mishap, func(e Event) bool { c, ok := e.(*CastAt); return ok && c.Mishap != "" })
		out = append(out, promise{"cast stands", odds.Law{Chance: []float64{1 - last.Stands, last.Stands}}, stood})
	case AContest:
		yes("contest", last.In, func(e Event) bool { c, ok := e.(*Contested); return ok && c.Won == 1 })
		yes("contest", last.Stands, func(e Event) bool { c, ok := e.(*Contested); return ok && c.Won == -1 })
	case ALook:
		out = append(out, results(t, s, lines[0], last))
	}
	return out
}

// crossed is what the units of a sheet crossed off their target, or a power did.
func crossed(events []Event, p Prospect, units map[string]bool) int {
	sum := 0
	for _, e := range events {
		switch e := e.(type) {
		case *Attacked:
			if e.At == p.At && units[e.Unit] {
				sum += e.Crossed
			}
		case *Volleyed:
			if e.At == p.At && units[e.Unit] {
				sum += e.Crossed
			}
		case *Suffered:
			if e.Why == Beside && e.Of == p.At && units[e.By] || p.What == ACast && e.Why == p.Power && e.Unit == p.At {
				sum += e.Crossed
			}
		}
	}
	return sum
}

// stood tells, as 1, that a power was cast and nobody cancelled it.
func stood(events []Event) int {
	cast := 0
	for _, e := range events {
		switch e := e.(type) {
		case *CastAt:
			if e.Works {
				cast = 1
			}
		case *Countered:
			if e.Cancels {
				cast = 0
			}
		}
	}
	return cast
}

// results is the law of which result of a table comes.
func results(t *testing.T, s State, l Line, p Prospect) promise {
	t.Helper()
	looked, _, err := (&run{state: s}).odds(l)
	if err != nil {
		t.Fatal(err)
	}
	law, at := odds.Law{}, map[string]int{}
	for i, c := range p.Results {
		if _, twice := at[c.Words]; twice {
			t.Fatalf("%q stands twice among the results", c.Words)
		}
		at[c.Words] = i
		law.Chance = append(law.Chance, c.Chance)
	}
	return promise{string(ALook), law, func(events []Event) int {
		for _, e := range events {
			if e, ok := e.(*Looked); ok && e.At == p.At && e.Unit == p.Unit {
				words, _ := looked.Result(e.Row)
				return at[words]
			}
		}
		return -1
	}}
}

// hold decides the sheet many times and holds what came against the promise.
func (p promise) hold(t *testing.T, where string, r *rand.Rand, s State, lines []Line, sum *lean) {
	t.Helper()
	seen := map[int]int{}
	mean, square, total := p.law.Mean(), 0.0, 0
	for range trialsOfAPromise {
		box := &dicebox{rand: rand.New(rand.NewPCG(r.Uint64(), 6))}
		events, err := Decide(s, Order{Player: s.Players[s.Side], Seq: 9, Do: Sheet{Orders: lines}}, box)
		if err != nil {
			t.Fatalf("%s: %s", where, spell(err))
		}
		came := p.seen(events)
		seen[came]++
		total += came
	}
	least, most := p.law.Least, p.law.Least+len(p.law.Chance)-1
	for came := range seen {
		if came < least || came > most || p.law.Exactly(came) == 0 {
			t.Errorf("%s: %d came, which has no chance", where, came)
		}
	}
	for v := least; v <= most; v++ {
		atLeast := 0
		for came, n := range seen {
			if came >= v {
				atLeast += n
			}
		}
		f, chance := float64(atLeast)/trialsOfAPromise, p.law.AtLeast(v)
		if far := trialsOfAPromise * relative(f, chance); far > alarmBeyond {
			t.Errorf("%s: %d or more came in %.3f of the trials, promised %.4f (e^-%.0f)", where, v, f, chance, far)
		}
		square += p.law.Exactly(v) * (float64(v) - mean) * (float64(v) - mean)
	}
	sum.off += float64(total) - trialsOfAPromise*mean
	sum.variance += trialsOfAPromise * square
}

// relative is the relative entropy of two chances of yes, KL(f‖p).
func relative(f, p float64) float64 {
	sum := 0.0
	if f > 0 {
		sum += f * math.Log(f/p)
	}
	if f < 1 {
		sum += (1 - f) * math.Log((1-f)/(1-p))
	}
	return sum
}

// TestLeaderIsPromised: what a leader strikes among a unit is reckoned with it, in a
// charge and in a melee.
func TestLeaderIsPromised(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 5))
	for _, sheet := range []string{"charge Pikes at Riders, 5 in", "fight Pikes"} {
		tb := begin(t)
		pikes, riders, captain := tb.state.unit("u1"), tb.state.unit("u5"), tb.state.unit("u4")
		alone := promises(t, tb.state, tb.read("charge Pikes at Riders, 5 in"))[0].law.Mean()
		captain.Kind, captain.Joined = "lock-captain", "u1"
		if sheet == "fight Pikes" {
			pikes.With, riders.With = []string{"u5"}, []string{"u1"}
		}
		all := promises(t, tb.state, tb.read(sheet))
		if with := all[0].law.Mean(); with <= alone {
			t.Errorf("%s: %.2f with the captain, %.2f without", sheet, with, alone)
		}
		for _, p := range all {
			for range 8 {
				p.hold(t, sheet, r, tb.state, tb.read(sheet), &lean{})
			}
		}
	}
}
