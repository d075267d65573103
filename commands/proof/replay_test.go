package proof

import (
	"errors"
	"slices"
	"testing"

	"drumhead/engine/dice"
	"drumhead/storage"
)

// replayFunc is a Replay made of one function.
type replayFunc func(rec storage.Record, d dice.Drawer) ([]storage.Object, error)

func (f replayFunc) Entry(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
	return f(rec, d)
}

// rollAll asks for the dice as recorded and gives the recorded events.
func rollAll(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
	for _, run := range rec.Faces {
		for range run[1:] {
			d.Draw(run[0])
		}
	}
	return rec.Events, nil
}

func TestReplay(t *testing.T) {
	p := protocolVectors(t)
	lines := bytesOf(p.Book.Lines)
	var order []uint64
	r := Check(lines, Options{Replay: replayFunc(func(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
		order = append(order, rec.Seq)
		return rollAll(rec, d)
	})})
	if r.Fault != nil || !r.Rules || r.Replayed != 42 || len(order) != 42 || !slices.IsSorted(order) {
		t.Errorf("%v, %d replayed", r.Fault, r.Replayed)
	}
	if r := Check(lines, Options{}); r.Rules || r.Replayed != 0 {
		t.Error("rules count as replayed without a replay")
	}
	eight := int64(8)
	for what, f := range map[string]replayFunc{
		"a die too few": func(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
			if rec.Seq == 8 {
				d.Draw(6)
				return rec.Events, nil
			}
			return rollAll(rec, d)
		},
		"a die of other sides": func(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
			if rec.Seq == 8 {
				d.Draw(8)
			}
			return rollAll(rec, d)
		},
		"a die too many": func(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
			events, err := rollAll(rec, d)
			if rec.Seq == 8 {
				d.Draw(6)
			}
			return events, err
		},
		"another event": func(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
			events, err := rollAll(rec, d)
			if rec.Seq == 8 {
				events = []storage.Object{storage.Object(`{"total":819,"type":"rolled"}`)}
			}
			return events, err
		},
		"an event more": func(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
			events, err := rollAll(rec, d)
			if rec.Seq == 8 {
				events = append(slices.Clone(events), storage.Object(`{"type":"rolled"}`))
			}
			return events, err
		},
		"no events": func(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
			events, err := rollAll(rec, d)
			if rec.Seq == 8 {
				events = nil
			}
			return events, err
		},
		"refused": func(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
			if rec.Seq == 8 {
				return nil, errors.New("out of range")
			}
			return rollAll(rec, d)
		},
	} {
		wants(t, what, Check(lines, Options{Replay: f}).Fault, RuleEvents, &eight)
	}
}

// Without a pinned file its entries are not replayed, all others are, and the
// report names it once.
func TestReplayMissing(t *testing.T) {
	p := protocolVectors(t)
	r := Check(bytesOf(p.Book.Lines), Options{Replay: replayFunc(func(rec storage.Record, d dice.Drawer) ([]storage.Object, error) {
		if battleIn(rec.Args) >= 0 {
			return nil, &MissingFile{Hash: "7b6e"}
		}
		return rollAll(rec, d)
	})})
	if r.Fault != nil || r.Rules || !slices.Equal(r.Missing, []string{"7b6e"}) || r.Replayed == 0 || r.Replayed == 42 {
		t.Errorf("%v, %v, %d replayed", r.Fault, r.Missing, r.Replayed)
	}
}
