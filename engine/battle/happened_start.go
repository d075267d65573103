package battle

import (
	"encoding/json"
	"fmt"
)

// Begun is the start: both sides' units on the table, and who goes first.
// Rolls are the rounds of the roll-off, each side's die; all but the last tied.
type Begun struct {
	First   int       `json:"first"`
	Forces  [][]Model `json:"forces"`
	Players []string  `json:"players"`
	Rolls   [][]int   `json:"rolls"`
	Terms   Terms     `json:"terms"`
}

// Type names the event in JSON.
func (*Begun) Type() string { return "begun" }

func (e *Begun) apply(s *State) {
	s.Stage = Playing
	copy(s.Players[:], e.Players)
	s.Terms = e.Terms
	s.First, s.Side, s.Turn = e.First, e.First, 1
	s.Handovers = SetUpHandovers
	if s.Pack != nil {
		if sc := s.Pack.Scenario(e.Terms.Scenario); sc != nil {
			s.Taken = make([][2]int, len(sc.Objectives))
		}
	}
	s.Units = nil
	for side, force := range e.Forces {
		for _, m := range force {
			s.Units = append(s.Units, Unit{
				ID: fmt.Sprintf("u%d", len(s.Units)+1), Side: side,
				Kind: m.Kind, Key: m.Key, Grade: m.Grade, Size: m.Size, Left: m.Size,
			})
		}
	}
}

// SetUpHandovers is how often a battle waits before its first die: the offer
// waits for its answer, and the roll-off for whoever won it.
const SetUpHandovers = 2

// Settled is a standing order that was sealed, by a side, in the entry Of.
type Settled struct {
	By int    `json:"by"`
	Of uint64 `json:"of"`
}

// Type names the event in JSON.
func (*Settled) Type() string { return "settled" }

func (e *Settled) apply(s *State) {
	s.Ahead[e.By] = append(append([]uint64(nil), s.Ahead[e.By]...), e.Of)
}

// Opened is a standing order that acted here, with what it was sealed by. The
// ledger gives its form (design page dice, `said`).
type Opened struct {
	Of    uint64          `json:"of"`
	Salt  string          `json:"salt"`
	Value json.RawMessage `json:"value"`
}

// Type names the event in JSON.
func (*Opened) Type() string { return "opened" }

func (e *Opened) apply(*State) {}
