package battle

// Volleyed is pools against pools, shooting or ramming (How): so many dice of
// each side (Mine, Theirs), successes of one (Hits) and of the other (Stopped),
// and what that crossed off, criticals included.
type Volleyed struct {
	At      string `json:"at"`
	Crossed int    `json:"crossed,omitempty"`
	Fell    int    `json:"fell,omitempty"`
	Hits    int    `json:"hits"`
	How     Verb   `json:"how"`
	Hurt    int    `json:"hurt,omitempty"`
	Left    int    `json:"left"`
	Line    int    `json:"line"`
	Mine    int    `json:"mine"`
	Points  int    `json:"points"` // of damage, before criticals
	Stopped int    `json:"stopped"`
	Theirs  int    `json:"theirs"`
	Unit    string `json:"unit"`
	Weapon  string `json:"weapon,omitempty"`
}

// Type names the event in JSON.
func (*Volleyed) Type() string { return "volleyed" }

func (e *Volleyed) apply(s *State) {
	u := s.unit(e.Unit)
	u.Fought = true
	if e.How == Shoot {
		u.Turn.Shot = true
	}
	s.reach(e.How)
	s.unit(e.At).suffer(e.Crossed, e.Fell, e.Left, e.Hurt, e.Unit)
}

// Met is a unit that came into contact without a roll.
type Met struct {
	At     string `json:"at"`
	Line   int    `json:"line"`
	Tenths int    `json:"tenths,omitempty"`
	Unit   string `json:"unit"`
}

// Type names the event in JSON.
func (*Met) Type() string { return "met" }

func (e *Met) apply(s *State) {
	s.unit(e.Unit).Turn.Charged = true
	s.reach(Charge)
	s.meet(e.Unit, e.At)
}

// meet brings a unit into contact with an enemy.
func (s *State) meet(unit, at string) {
	u, t := s.unit(unit), s.unit(at)
	u.Fought = true
	u.At = t.At
	u.With, t.With = add(u.With, at), add(t.With, unit)
	t.Turn.ChargedBy = add(t.Turn.ChargedBy, unit)
}

// Looked is a roll on a table: by a unit at another (At), or for what befell a
// unit itself. First and Second are the odds; Row and Column say which result.
type Looked struct {
	Also   []string `json:"also,omitempty"` // units that attacked together with Unit
	At     string   `json:"at,omitempty"`
	Column int      `json:"column"`
	Dice   []int    `json:"dice"`
	First  int      `json:"first,omitempty"`
	Line   int      `json:"line"`
	Mark   int      `json:"mark,omitempty"` // of a hull: the one that was crossed
	More   int      `json:"more,omitempty"` // crossed off by it; counted where the mark was crossed
	Row    int      `json:"row"`
	Second int      `json:"second,omitempty"`
	Shift  int      `json:"shift,omitempty"`
	Table  string   `json:"table"`
	Total  int      `json:"total"`
	Unit   string   `json:"unit"`
}

// Type names the event in JSON.
func (*Looked) Type() string { return "looked" }

func (e *Looked) apply(s *State) {
	if e.At == "" {
		return
	}
	s.reach(Charge)
	for _, id := range append([]string{e.Unit}, e.Also...) {
		u := s.unit(id)
		u.Turn.Charged, u.Fought = true, true
		at := u.At
		s.meet(id, e.At)
		u.At = at // the ground is theirs until they give it
	}
}

// Contested is an opposed roll of two units in contact. Won is 1 for the first, -1
// for the second, 0 for neither. Bouts is how often a tie was rolled again, and 1.
type Contested struct {
	At     string `json:"at"`
	Bouts  int    `json:"bouts"`
	Dice   []int  `json:"dice"`
	Line   int    `json:"line"`
	Mine   int    `json:"mine"`
	Other  []int  `json:"other"`
	Theirs int    `json:"theirs"`
	Unit   string `json:"unit"`
	Won    int    `json:"won"`
}

// Type names the event in JSON.
func (*Contested) Type() string { return "contested" }

func (e *Contested) apply(s *State) {
	for _, id := range []string{e.Unit, e.At} {
		u := s.unit(id)
		u.Fought, u.Turn.Struck = true, true
	}
	s.reach(Fight)
}

// Tried is a test that is passed or not: Total of Dice against Need.
type Tried struct {
	Dice   []int  `json:"dice"`
	Need   int    `json:"need"`
	Passed bool   `json:"passed"`
	Step   string `json:"step"`
	Total  int    `json:"total"`
	Unit   string `json:"unit"`
}

// Type names the event in JSON.
func (*Tried) Type() string { return "tried" }

func (e *Tried) apply(s *State) { s.unit(e.Unit).Turn.Tested = true }

// Mended is dice that a unit rolled for itself, and how many were successes.
type Mended struct {
	Dice   []int  `json:"dice"`
	Line   int    `json:"line"`
	Passed int    `json:"passed"`
	Unit   string `json:"unit"`
}

// Type names the event in JSON.
func (*Mended) Type() string { return "mended" }

func (e *Mended) apply(s *State) {
	u := s.unit(e.Unit)
	u.Turn.Moved, u.Turn.Mended = true, true
	s.reach(Hold)
}

// Blown is a roll for the wind, or whatever else may carry a unit away: so many
// points were too many.
type Blown struct {
	Dice   []int  `json:"dice"`
	Excess int    `json:"excess"`
	Total  int    `json:"total"`
	Unit   string `json:"unit"`
}

// Type names the event in JSON.
func (*Blown) Type() string { return "blown" }

func (e *Blown) apply(*State) {}
