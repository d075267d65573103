package battle

// CastAt is a casting roll: Total of Dice against Need. Works: the power met
// its value and no double 1 spoiled it; a counter may still cancel it. Mishap:
// "ones" or "top" where the dice were all of that kind, "" else.
type CastAt struct {
	At     string `json:"at"`
	Dice   []int  `json:"dice"`
	Line   int    `json:"line"`
	Mishap string `json:"mishap,omitempty"`
	Need   int    `json:"need"`
	Power  string `json:"power"`
	Total  int    `json:"total"`
	Unit   string `json:"unit"`
	Works  bool   `json:"works"`
}

// Type names the event in JSON.
func (*CastAt) Type() string { return "cast" }

func (e *CastAt) apply(s *State) {
	u := s.unit(e.Unit)
	u.Fought = true
	u.Turn.Cast = add(u.Turn.Cast, e.Power)
	s.reach(Cast)
}

// Countered is an opposing caster's roll against a power: more than Beat cancels it.
type Countered struct {
	Beat    int    `json:"beat"`
	Cancels bool   `json:"cancels"`
	Dice    []int  `json:"dice"`
	Total   int    `json:"total"`
	Unit    string `json:"unit"`
}

// Type names the event in JSON.
func (*Countered) Type() string { return "countered" }

func (e *Countered) apply(s *State) {
	u := s.unit(e.Unit)
	u.Turn.Countered = true
	u.Fought = true
}
