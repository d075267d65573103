package battle

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
)

// Standing is one standing order: exactly one of its members is set. It is
// sealed before it can matter and opened where it acts.
type Standing struct {
	Counter *CounterOrder `json:"counter,omitempty"`
	Falls   *FallsOrder   `json:"falls,omitempty"`
	Reroll  *RerollOrder  `json:"reroll,omitempty"`
}

// CounterOrder says when to counter a power: always, never, or only a casting
// roll of AtLeast or more.
type CounterOrder struct {
	AtLeast int  `json:"at_least,omitempty"`
	Never   bool `json:"never,omitempty"`
}

// RerollOrder has one lost save rolled again: of Unit, or of any unit if it is
// "", while the save is of Need or easier (0: any). Never switches it off.
type RerollOrder struct {
	Need  int    `json:"need,omitempty"`
	Never bool   `json:"never,omitempty"`
	Unit  string `json:"unit,omitempty"`
}

// FallsOrder says who falls first: the plainest models, keeping for last the unit
// named (Keep), or in units of unlike models those named (Part, an id of the pack).
type FallsOrder struct {
	Keep string `json:"keep,omitempty"`
	Part string `json:"part,omitempty"`
}

// Marshal writes the value that is sealed.
func (o Standing) Marshal() ([]byte, error) { return canonical(o) }

// ParseStanding reads what Marshal writes and nothing else.
func ParseStanding(b []byte) (Standing, error) {
	var o Standing
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&o); err != nil {
		return o, fmt.Errorf("battle: standing order: %w", err)
	}
	again, err := o.Marshal()
	if err != nil {
		return o, err
	}
	if !bytes.Equal(again, b) || !ascii(b) || o.members() != 1 {
		return o, fmt.Errorf("battle: standing order: not one order in its one spelling")
	}
	return o, nil
}

func (o Standing) members() int {
	n := 0
	for _, set := range []bool{o.Counter != nil, o.Reroll != nil, o.Falls != nil} {
		if set {
			n++
		}
	}
	return n
}

// opening is a sealed order that may act, and whether it was opened here.
type opening struct {
	Opening
	order  Standing
	opened bool
}

// openings sorts what was handed in by side, the newest first. What the state
// does not know as sealed, or cannot be read, does not act.
func openings(s State, all []Opening) [2][]opening {
	var sides [2][]opening
	for side := range sides {
		for _, o := range all {
			order, err := ParseStanding(o.Value)
			if err == nil && slices.Contains(s.Ahead[side], o.Of) {
				sides[side] = append(sides[side], opening{Opening: o, order: order})
			}
		}
		slices.SortStableFunc(sides[side], func(a, b opening) int { return int(int64(b.Of) - int64(a.Of)) })
	}
	return sides
}

// settled finds the newest standing order of a side that speaks of something.
func (r *run) settled(side int, about func(Standing) bool) *opening {
	for i := range r.openings[side] {
		if about(r.openings[side][i].order) {
			return &r.openings[side][i]
		}
	}
	return nil
}

// open shows a standing order that acts, once an entry.
func (r *run) open(o *opening) {
	if o == nil || o.opened {
		return
	}
	o.opened = true
	r.emit(&Opened{Of: o.Of, Salt: o.Salt, Value: o.Value})
}

func checkAhead(s State, o Order, a Ahead) error {
	side, err := playing(s, o)
	if err != nil {
		return err
	}
	if !isHash(a.Said) {
		return refuse("battle.refuse.said")
	}
	if len(s.Ahead[side]) >= MaxAhead {
		return refuse("battle.refuse.ahead", "most", MaxAhead)
	}
	return nil
}
