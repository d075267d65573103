package battle

import (
	"math/rand/v2"
	"testing"
	"time"
)

// BenchmarkTurn decides a whole turn (two shots, a charge with its melee,
// morale) and reports it as a multiple of the floor: the same number of dice
// drawn from the same box and nothing else.
func BenchmarkTurn(b *testing.B) {
	s := New(pack(b)).Fold([]Event{&Begun{Players: []string{"p1", "p2"}, Terms: terms(pack(b)), Forces: opened(b).Forces}})
	lines, err := ParseSheet(s, 0, "shoot Mortar at Riders; shoot Crossbows at Riders, 20 in; charge Pikes at Guns, 3 in; done")
	if err != nil {
		b.Fatal(err)
	}
	order := Order{Player: "p1", Seq: 2, Do: Sheet{Battle: 1, Orders: lines}}
	var decide, floor time.Duration
	for b.Loop() {
		box := &dicebox{rand: rand.New(rand.NewPCG(1, 2))}
		start := time.Now()
		if _, err := Decide(s, order, box); err != nil {
			b.Fatal(err)
		}
		decide += time.Since(start)
		bare := &dicebox{rand: rand.New(rand.NewPCG(1, 2))}
		start = time.Now()
		for range box.drawn {
			bare.Draw(6)
		}
		floor += time.Since(start)
	}
	b.ReportMetric(float64(decide)/float64(floor), "decide/dice")
}

// BenchmarkEvents reads the events of a turn from their JSON and folds them.
func BenchmarkEvents(b *testing.B) {
	s := New(pack(b)).Fold([]Event{&Begun{Players: []string{"p1", "p2"}, Terms: terms(pack(b)), Forces: opened(b).Forces}})
	lines, _ := ParseSheet(s, 0, "shoot Mortar at Riders; shoot Crossbows at Riders, 20 in; charge Pikes at Guns, 3 in; done")
	events, err := Decide(s, Order{Player: "p1", Seq: 2, Do: Sheet{Battle: 1, Orders: lines}}, &dicebox{rand: rand.New(rand.NewPCG(1, 2))})
	if err != nil {
		b.Fatal(err)
	}
	var raw [][]byte
	for _, e := range events {
		j, err := MarshalEvent(e)
		if err != nil {
			b.Fatal(err)
		}
		raw = append(raw, j)
	}
	for b.Loop() {
		var read []Event
		for _, j := range raw {
			e, err := ParseEvent(j)
			if err != nil {
				b.Fatal(err)
			}
			read = append(read, e)
		}
		s.Fold(read)
	}
	b.ReportMetric(float64(len(raw)), "events")
}
