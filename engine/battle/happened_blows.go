package battle

import "slices"

// Attacked is one unit's attack on another with one weapon, shooting or in
// melee (How). Models is how many attacked; the counts are: attacks rolled, what
// went on after each step (Steps), saves made, last saves made, wounds crossed
// off, models fallen, models left, wounds that the next of them has lost.
type Attacked struct {
	Again   bool   `json:"again,omitempty"` // the target's standing order re-rolled a save
	At      string `json:"at"`
	Attacks int    `json:"attacks"`
	Crossed int    `json:"crossed,omitempty"`
	Extra   int    `json:"extra,omitempty"` // more tokens that naturals gave
	Fell    int    `json:"fell,omitempty"`
	How     Verb   `json:"how"`
	Hurt    int    `json:"hurt,omitempty"`
	Left    int    `json:"left"`
	Line    int    `json:"line"`
	Models  int    `json:"models"`
	Part    int    `json:"part,omitempty"`  // of the unit: 0 for its own models
	Parts   []int  `json:"parts,omitempty"` // of the target: models left of each part
	Saved   int    `json:"saved,omitempty"`
	Steps   []int  `json:"steps,omitempty"`
	Stopped int    `json:"stopped,omitempty"` // points stopped by last saves
	Unit    string `json:"unit"`
	Weapon  string `json:"weapon"`
	Worn    int    `json:"worn,omitempty"` // the part that the model of Hurt is of
}

// Type names the event in JSON.
func (*Attacked) Type() string { return "attacked" }

func (e *Attacked) apply(s *State) {
	u := s.unit(e.Unit)
	u.Fought = true
	if e.How == Fight {
		u.Turn.Struck = true
	} else {
		u.Turn.Shot = true
		s.reach(Shoot)
	}
	t := s.unit(e.At)
	if e.Again {
		s.Rerolled[t.Side]++
	}
	if e.Parts != nil {
		t.Parts, t.Worn = e.Parts, e.Worn
	}
	t.suffer(e.Crossed, e.Fell, e.Left, e.Hurt, e.Unit)
}

// suffer takes models off a unit, after so many wounds were crossed off.
func (u *Unit) suffer(crossed, fell, left, hurt int, by string) {
	u.Left, u.Hurt = left, hurt
	u.Turn.Wounded = u.Turn.Wounded || crossed > 0
	u.Fell += fell
	u.Turn.Lost += fell
	if fell > 0 && by != "" {
		u.By = by
	}
}

// Charged is a charge roll: Total of Dice against Need. In: it got there.
type Charged struct {
	At     string `json:"at"`
	Dice   []int  `json:"dice"`
	In     bool   `json:"in"`
	Line   int    `json:"line"`
	Need   int    `json:"need"`
	Tenths int    `json:"tenths"`
	Total  int    `json:"total"`
	Unit   string `json:"unit"`
}

// Type names the event in JSON.
func (*Charged) Type() string { return "charged" }

func (e *Charged) apply(s *State) {
	u, t := s.unit(e.Unit), s.unit(e.At)
	u.Turn.Charged = true
	s.reach(Charge)
	if !e.In {
		return
	}
	s.meet(e.Unit, e.At)
	for _, with := range s.joined(e.Unit) { // who stands among them charges too
		w := s.unit(with.ID)
		w.Turn.Charged, w.At = true, t.At
	}
}

// Engaged is a unit that uses its strike of this turn without a die: nobody to
// hit, or no attacks.
type Engaged struct {
	Line int    `json:"line"`
	Unit string `json:"unit"`
}

// Type names the event in JSON.
func (*Engaged) Type() string { return "engaged" }

func (e *Engaged) apply(s *State) {
	s.unit(e.Unit).Turn.Struck = true
	s.reach(Fight)
}

// Suffered is damage that no save stops. Why is a power, or one of these; By
// is the enemy unit that did it, "" for one's own doing.
type Suffered struct {
	By      string `json:"by,omitempty"`
	Crossed int    `json:"crossed"`
	Dice    []int  `json:"dice,omitempty"`
	Fell    int    `json:"fell,omitempty"`
	Hurt    int    `json:"hurt,omitempty"`
	Left    int    `json:"left"`
	Of      string `json:"of,omitempty"` // the status, the table or the step that did it
	Points  int    `json:"points"`
	Unit    string `json:"unit"`
	Why     string `json:"why"`
}

// Why a unit suffers, besides a power: what a caster brings on itself and on who
// is near, what a table says, what lies on it, a test that it did not pass, an opposed roll, no way back.
const (
	Mishap    = "mishap"
	Blast     = "blast"
	ByTable   = "table"
	ByStatus  = "status"
	ByTest    = "test"
	ByContest = "contest"
	Cornered  = "cornered"
	Beside    = "beside" // what was left over of an attack on the unit that it has joined
)

// Type names the event in JSON.
func (*Suffered) Type() string { return "suffered" }

func (e *Suffered) apply(s *State) {
	u := s.unit(e.Unit)
	s.thin(u, e.Fell)
	u.suffer(e.Crossed, e.Fell, e.Left, e.Hurt, e.By)
}

// Broken is a unit that is off the table: How is Fallen or Routed. By is the
// enemy unit that did it, "" if none did.
type Broken struct {
	By   string `json:"by,omitempty"`
	How  string `json:"how"`
	Unit string `json:"unit"`
}

// Type names the event in JSON.
func (*Broken) Type() string { return "broken" }

func (e *Broken) apply(s *State) {
	u := s.unit(e.Unit)
	u.Fled += u.Left // who still stood and is off the table has left it
	u.Gone, u.Left, u.Hurt, u.At = e.How, 0, 0, ""
	s.part(e.Unit)
	for _, with := range s.joined(e.Unit) {
		s.unit(with.ID).Joined = ""
	}
	if e.By != "" {
		by := s.unit(e.By)
		by.Broke = add(by.Broke, e.Unit)
	}
}

// Tested is a test of morale: the total of Dice and the models lost against
// nerve; Fled models flee.
type Tested struct {
	Dice  []int  `json:"dice"`
	Fled  int    `json:"fled,omitempty"`
	Left  int    `json:"left"`
	Lost  int    `json:"lost"`
	Nerve int    `json:"nerve"`
	Total int    `json:"total"`
	Unit  string `json:"unit"`
}

// Type names the event in JSON.
func (*Tested) Type() string { return "tested" }

func (e *Tested) apply(s *State) {
	u := s.unit(e.Unit)
	u.Turn.Tested = true
	u.Turn.Fled += e.Fled
	u.Fled += e.Fled
	s.thin(u, e.Fled)
	u.Left = e.Left
}

// add is a list with one more id, unless it is there.
func add(list []string, id string) []string {
	if slices.Contains(list, id) {
		return list
	}
	return append(slices.Clone(list), id)
}
