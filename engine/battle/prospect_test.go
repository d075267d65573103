package battle

import (
	"bytes"
	"math"
	"testing"

	"drumhead/engine/dice"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// TestProspectsAgreeWithDecide: what is promised of a sheet is what comes of it: two
// units at one target are exact together, and so are a charge and a power with a
// counter. The false-alarm rate of the whole run is 1e-3; the seals are fixed.
func TestProspectsAgreeWithDecide(t *testing.T) {
	const n = 3000
	for _, text := range []string{
		"shoot Crossbows at Riders, 20 in",
		"shoot Mortar at Rope Guard, 20 in, in cover; shoot Crossbows at Rope Guard, 20 in",
		"charge Pikes at Riders, 7 in",
		"charge Crossbows at Guns, 9 in",
	} {
		s := begin(t).state
		side := s.Side
		lines, err := ParseSheet(s, side, text)
		if err != nil {
			t.Fatal(err)
		}
		all, err := Prospects(s, side, lines)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		last := all[len(all)-1]
		law := last.Solved.Crossed(last.Before)
		mean, square := law.Mean(), 0.0
		for i, p := range law.Chance {
			square += p * float64(law.Least+i) * float64(law.Least+i)
		}
		sum := 0.0
		for k := range n {
			d := dice.NewStream("aaaaaaaaaaaaaaaaaaaaaaaaaa", uint64(k+1), "none", dice.Key{11})
			events, err := Decide(s, Order{Player: s.Players[side], Seq: 9, Do: Sheet{Orders: lines}}, d)
			if err != nil {
				t.Fatalf("%s: %v", text, err)
			}
			for _, e := range events {
				if a, ok := e.(*Attacked); ok && a.At == last.At {
					sum += float64(a.Crossed)
				}
			}
		}
		if far := math.Abs(sum/n-mean) / math.Sqrt((square-mean*mean)/n); far > 4.2 {
			t.Errorf("%s: %.3f wounds promised, %.3f came, %.1f standard errors off", text, mean, sum/n, far)
		}
	}
}

// TestProspectOfACast: chances by enumeration of 2d6 against 2d6, as they stand in
// the design's table: value 7 is made in 7/12; against a counter it stands in 581 of
// 1,296 throws. Source: counted off here as well.
func TestProspectOfACast(t *testing.T) {
	s := begin(t).state
	lines, err := ParseSheet(s, 1, "cast Undertow on Pikes, 10 in")
	if err != nil {
		t.Fatal(err)
	}
	all, err := Prospects(s, 1, lines)
	if err != nil {
		t.Fatal(err)
	}
	cast, stands := 0, 0
	for a := 1; a <= 6; a++ {
		for b := 1; b <= 6; b++ {
			if a+b < 7 || a+b == 2 {
				continue
			}
			cast++
			for c := 1; c <= 6; c++ {
				for d := 1; d <= 6; d++ {
					if c+d <= a+b || a+b == 12 {
						stands++
					}
				}
			}
		}
	}
	p := all[0]
	if math.Abs(p.In-float64(cast)/36) > 1e-12 || math.Abs(p.Stands-float64(stands)/1296) > 1e-12 || !p.Opposed {
		t.Errorf("cast %v, stands %v, opposed %v; want %d of 36 and %d of 1296", p.In, p.Stands, p.Opposed, cast, stands)
	}
}

// TestProspectsRefused: what could never be done is refused, and nothing else: it
// need not be that side's turn, nor the phase.
func TestProspectsRefused(t *testing.T) {
	s := begin(t).state
	for _, c := range []struct {
		side int
		text string
		id   string
	}{
		{0, "shoot Mortar at Riders", ""}, {1, "shoot Guns at Pikes, 12 in", ""}, {0, "fight Pikes at Riders", ""},
		{0, "shoot Mortar at Riders, 99 in", "battle.refuse.range"},
		{0, "shoot Pikes at Riders", "battle.refuse.unarmed"},
		{0, "charge Pikes at Riders", "battle.refuse.gap"},
		{0, "move Pikes 3 in", "odds.refuse.order"},
		{0, "done", "odds.refuse.nothing"},
		{0, "shoot Mortar at Riders, 20 in; shoot Mortar at Riders, 20 in", "battle.refuse.shot"},
		{0, "charge Pikes at Riders, 7 in; charge Pikes at Guns, 7 in", "battle.refuse.charged"},
		{0, "fight Pikes at Riders; fight Pikes at Guns", "battle.refuse.fought"},
		{1, "cast Undertow on Pikes, 10 in; cast Undertow on Mortar, 10 in", "battle.refuse.cast"},
		{0, "shoot Mortar at Riders, 20 in; shoot Crossbows at Riders, 20 in; charge Pikes at Riders, 7 in", ""},
	} {
		lines, err := ParseSheet(s, c.side, c.text)
		if err != nil {
			t.Fatal(err)
		}
		_, err = Prospects(s, c.side, lines)
		got := ""
		if r, ok := err.(*reason.Refusal); ok {
			got = r.Reason.ID
		} else if err != nil {
			t.Fatal(err)
		}
		if got != c.id {
			t.Errorf("%s: %q, want %q", c.text, got, c.id)
		}
	}
}

// TestOddsOfWhoStrikesSecond, worked by hand: one mate, of 2 attacks, is in melee with
// a skipper of one wound left, who is quicker and strikes first whoever charged. One
// of the skipper's three attacks fells the mate with a hit of 2+, a wound of 4+ and a
// lost save of 3+: 5/6 · 1/2 · 1/3 = 5/36, so that the mate strikes at all with
// (31/36)³. One of the mate's attacks fells the skipper with 3+, 5+ and a lost save of
// 2+: 2/3 · 1/3 · 1/6 = 1/27, at least one of two with 1 - (26/27)².
func TestOddsOfWhoStrikesSecond(t *testing.T) {
	tb := beginFile(t, "odd.toml", []Model{{Kind: "crew", Size: 4}}, []Model{{Kind: "skipper", Size: 1}})
	crew, skipper := tb.state.unit("u1"), tb.state.unit("u2")
	crew.Left, crew.Fell, crew.Parts = 1, 3, []int{0, 0, 1}
	crew.With, skipper.With, skipper.Hurt = []string{"u2"}, []string{"u1"}, 2
	survives, fells := math.Pow(31./36, 3), 1-math.Pow(26./27, 2)
	odds := func(text string) Prospect {
		lines, err := ParseSheet(tb.state, 0, text)
		if err != nil {
			t.Fatal(spell(err))
		}
		all, err := Prospects(tb.state, 0, lines)
		if err != nil {
			t.Fatal(spell(err))
		}
		return all[0]
	}
	p := odds("fight Crew at Skipper")
	if got := p.Solved.Destroyed(); !p.Second || math.Abs(got-survives*fells) > 1e-12 {
		t.Errorf("%v, struck second: %v; by hand %v", got, p.Second, survives*fells)
	}
	skipper.Turn.Struck = true // has had its turn
	if p = odds("fight Crew at Skipper"); p.Second || math.Abs(p.Solved.Destroyed()-fells) > 1e-12 {
		t.Errorf("%v against who has struck, struck second: %v; by hand %v", p.Solved.Destroyed(), p.Second, fells)
	}
}

// TestChargedAtTheQuicker: osier, but that the higher nerve strikes first: a charge at
// who is quicker, and a melee with them, against battles decided 4,000 times each;
// within 4.5 standard errors, seeds are fixed.
func TestChargedAtTheQuicker(t *testing.T) {
	const n = 4000
	text, _ := rules.Builtin("osier")
	quick, err := rules.Load("quick.toml", bytes.Replace(text, []byte(`strikes = "charger first"`), []byte("strikes = \"characteristic\"\nby = \"nerve\""), 1))
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"charge Crossbows at Riders, 6 in", "fight Pikes at Rope Guard", "charge Pikes at Riders, 4 in"} {
		s := begin(t).state
		s.Pack = quick
		if text == "fight Pikes at Rope Guard" {
			s.unit("u1").With, s.unit("u7").With = []string{"u7"}, []string{"u1"}
		}
		lines, err := ParseSheet(s, 0, text)
		if err != nil {
			t.Fatal(spell(err))
		}
		s.Side = 0
		all, err := Prospects(s, 0, lines)
		if err != nil {
			t.Fatal(spell(err))
		}
		if quicker := quick.Number(s.group(*s.unit(all[0].At)), "nerve") > quick.Number(s.group(*s.unit(all[0].Unit)), "nerve"); all[0].Second != quicker {
			t.Errorf("%s: struck second %v", text, all[0].Second)
		}
		law, sum, square := all[0].Solved.Crossed(0), 0.0, 0.0
		for i, p := range law.Chance {
			square += p * float64(i) * float64(i)
		}
		for k := range n {
			d := dice.NewStream("aaaaaaaaaaaaaaaaaaaaaaaaaa", uint64(k+1), "none", dice.Key{17})
			events, err := Decide(s, Order{Player: s.Players[0], Seq: 9, Do: Sheet{Battle: 1, Orders: lines}}, d)
			if err != nil {
				t.Fatal(spell(err))
			}
			for _, e := range events {
				if a, ok := e.(*Attacked); ok && a.At == all[0].At {
					sum += float64(a.Crossed)
				}
			}
		}
		far := math.Abs(sum/n-law.Mean()) / math.Sqrt((square-law.Mean()*law.Mean())/n)
		t.Logf("%s: %.4f promised, %.4f came", text, law.Mean(), sum/n)
		if far > 4.5 {
			t.Errorf("%s: %.4f wounds promised, %.4f came, %.1f standard errors off", text, law.Mean(), sum/n, far)
		}
	}
}
