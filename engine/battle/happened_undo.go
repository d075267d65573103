package battle

import "slices"

// UndoAsked is a side that asks to take a command back, from an order on.
type UndoAsked struct {
	By   int    `json:"by"`
	Of   uint64 `json:"of"`
	Part int    `json:"part,omitempty"`
}

// Type names the event in JSON.
func (*UndoAsked) Type() string { return "undo_asked" }

func (e *UndoAsked) apply(s *State) { s.Asked = &Plea{By: e.By, Of: e.Of, Part: e.Part} }

// Kept is a request to undo that stands no more: it was answered with no, or taken
// back. Side is whose request it was.
type Kept struct {
	Side int `json:"side"`
}

// Type names the event in JSON.
func (*Kept) Type() string { return "kept" }

func (e *Kept) apply(s *State) { s.Asked = nil }

// Undone is a command taken back from its order Part on (0: all of it), with
// everything after it. The events after it in its entry are those of the orders
// before that one, which stand. Again are the orders whose dice stand again.
type Undone struct {
	Again []Redone `json:"again,omitempty"`
	Free  bool     `json:"free,omitempty"` // nobody had to agree
	Of    uint64   `json:"of"`
	Part  int      `json:"part,omitempty"`
}

// Redone is an order whose dice stand again: line Line of the sheet Of (0: the whole
// command), after the first After dice of that entry.
type Redone struct {
	After int    `json:"after"`
	Line  int    `json:"line,omitempty"`
	Of    uint64 `json:"of"`
}

// Type names the event in JSON.
func (*Undone) Type() string { return "undone" }

// apply goes back to the battle before the command. Standing orders that were
// sealed since stay sealed: nothing that was said ahead is lost.
func (e *Undone) apply(s *State) {
	i := s.stepOf(e.Of)
	if i < 0 {
		return
	}
	now := *s
	*s = now.Past[i].Before.own()
	s.Pack, s.Names, s.Ahead = now.Pack, now.Names, now.Ahead
	s.Proposed, s.Overdue = Nobody, false
	if e.Free { // nobody was asked: time that is up, or the other's proposal, is not taken back with it
		s.Proposed, s.Overdue = now.Proposed, now.Overdue
	}
	s.Past = slices.Clone(now.Past[:i])
	if e.Part > 1 {
		s.Past = append(s.Past, now.Past[i].shortened(e.Part-1))
	}
	s.Undone = slices.Clone(now.Undone)
	for _, again := range e.Again {
		if i := now.stepOf(again.Of); i >= 0 {
			s.Undone = append(s.Undone, now.Past[i].redo(again))
		}
	}
}
