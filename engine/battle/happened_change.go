package battle

import (
	"slices"

	"drumhead/engine/rules"
)

// Weakened is a characteristic of a unit that is less from now on.
type Weakened struct {
	By             int    `json:"by"`
	Characteristic string `json:"characteristic"`
	Unit           string `json:"unit"`
}

// Type names the event in JSON.
func (*Weakened) Type() string { return "weakened" }

func (e *Weakened) apply(s *State) {
	u := s.unit(e.Unit)
	u.Lost = append(slices.Clone(u.Lost), rules.Loss{Characteristic: e.Characteristic, By: e.By})
}

// Retreated is a unit that gave ground, or could not (Blocked).
type Retreated struct {
	Blocked bool   `json:"blocked,omitempty"`
	Tenths  int    `json:"tenths"`
	Unit    string `json:"unit"`
}

// Type names the event in JSON.
func (*Retreated) Type() string { return "retreated" }

func (e *Retreated) apply(s *State) {
	s.part(e.Unit)
	if u := s.unit(e.Unit); !e.Blocked && u.At != "" {
		u.Turn.Gave = u.At
		s.goes(e.Unit, "")
	}
}

// Drifted is a unit that was carried away.
type Drifted struct {
	Tenths int    `json:"tenths"`
	Unit   string `json:"unit"`
}

// Type names the event in JSON.
func (*Drifted) Type() string { return "drifted" }

func (e *Drifted) apply(s *State) { s.goes(e.Unit, "") }

// goes puts a unit, and who stands among it, to an objective or away from any.
func (s *State) goes(unit, at string) {
	s.unit(unit).At = at
	for _, with := range s.joined(unit) {
		s.unit(with.ID).At = at
	}
}

// Followed is a unit that took the ground of who gave it.
type Followed struct {
	At   string `json:"at"`
	Unit string `json:"unit"`
}

// Type names the event in JSON.
func (*Followed) Type() string { return "followed" }

func (e *Followed) apply(s *State) { s.goes(e.Unit, e.At) }

// Lifted is a status that lies on a unit no more.
type Lifted struct {
	Status string `json:"status"`
	Unit   string `json:"unit"`
}

// Type names the event in JSON.
func (*Lifted) Type() string { return "lifted" }

func (e *Lifted) apply(s *State) { s.unit(e.Unit).lift(e.Status) }

// lift takes a status off a unit.
func (u *Unit) lift(status string) {
	u.Statuses = slices.DeleteFunc(slices.Clone(u.Statuses), func(st string) bool { return st == status })
	if len(u.Statuses) == 0 {
		u.Statuses = nil
	}
}

// Scattered is models that fled otherwise than by a test.
type Scattered struct {
	Fled int    `json:"fled"`
	Left int    `json:"left"`
	Unit string `json:"unit"`
}

// Type names the event in JSON.
func (*Scattered) Type() string { return "scattered" }

func (e *Scattered) apply(s *State) {
	u := s.unit(e.Unit)
	u.Turn.Fled += e.Fled
	u.Fled += e.Fled
	s.thin(u, e.Fled)
	u.Left = e.Left
}
