package battle

import (
	"math"
	"testing"

	"drumhead/engine/dice"
	"drumhead/engine/reason"
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
