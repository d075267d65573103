package battle

import "slices"

// Moved is a unit that moved, ran or fell back (How). Tenths is how far, 0 if
// nobody said; Die is the die of a run, Reach what it could have moved. At is
// the objective it stands on now, "" for none.
type Moved struct {
	At     string `json:"at,omitempty"`
	Die    int    `json:"die,omitempty"`
	How    Verb   `json:"how"`
	Joins  string `json:"joins,omitempty"` // the unit that it joins
	Line   int    `json:"line"`
	Reach  int    `json:"reach"`
	Tenths int    `json:"tenths,omitempty"`
	Unit   string `json:"unit"`
	Way    string `json:"way,omitempty"`
}

// Type names the event in JSON.
func (*Moved) Type() string { return "moved" }

func (e *Moved) apply(s *State) {
	u := s.unit(e.Unit)
	u.Turn.Moved = true
	u.At, u.Joined = e.At, e.Joins
	if host, ok := s.Unit(e.Joins); ok {
		u.At = host.At
	}
	for _, with := range s.joined(e.Unit) { // who stands among them goes along
		w := s.unit(with.ID)
		w.Turn.Moved, w.At = true, e.At
	}
	if e.How == FallBack {
		s.part(e.Unit)
	}
	s.reach(e.How)
}

// Held is a unit that stays, at an objective if At names one.
type Held struct {
	At   string `json:"at,omitempty"`
	Line int    `json:"line"`
	Unit string `json:"unit"`
}

// Type names the event in JSON.
func (*Held) Type() string { return "held" }

func (e *Held) apply(s *State) {
	if e.At != "" {
		s.unit(e.Unit).At = e.At
	}
}

// Status is a status that lies on a unit from now on.
type Status struct {
	Status string `json:"status"`
	Unit   string `json:"unit"`
}

// Type names the event in JSON.
func (*Status) Type() string { return "status" }

func (e *Status) apply(s *State) {
	u := s.unit(e.Unit)
	if !u.Has(e.Status) {
		u.Statuses = append(slices.Clone(u.Statuses), e.Status)
	}
}

// Skipped is a line whose condition did not hold.
type Skipped struct {
	Asked string `json:"asked"` // the unit that the condition asks about
	Is    Being  `json:"is"`
	Line  int    `json:"line"`
	Unit  string `json:"unit,omitempty"` // of the line
}

// Type names the event in JSON.
func (*Skipped) Type() string { return "skipped" }

func (e *Skipped) apply(*State) {}

// Stopped is a sheet that ended at a line that dice had made impossible. What
// happened stands; the lines of Rest wait. Why is the refusal's id, What the
// unit that it is about.
type Stopped struct {
	Line int    `json:"line"`
	Rest []int  `json:"rest,omitempty"`
	What string `json:"what,omitempty"`
	Why  string `json:"why"`
}

// Type names the event in JSON.
func (*Stopped) Type() string { return "stopped" }

func (e *Stopped) apply(s *State) { s.Halted = &Halt{Line: e.Line, Rest: e.Rest} }

// reach notes how far the turn has come.
func (s *State) reach(v Verb) {
	if s.Pack == nil {
		return
	}
	s.Phase = max(s.Phase, s.Pack.PhaseOf(string(v)))
}

// part takes a unit out of melee.
func (s *State) part(id string) {
	for i := range s.Units {
		u := &s.Units[i]
		switch {
		case u.ID == id:
			u.With = nil
		case slices.Contains(u.With, id):
			u.With = slices.DeleteFunc(slices.Clone(u.With), func(w string) bool { return w == id })
			if len(u.With) == 0 {
				u.With = nil
			}
		}
	}
}
