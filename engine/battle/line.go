package battle

// Verb is the first word of a line of a sheet.
type Verb string

// The lines of a sheet.
const (
	Move     Verb = "move"
	Run      Verb = "run"
	FallBack Verb = "fall back"
	Shoot    Verb = "shoot"
	Split    Verb = "split"
	Cast     Verb = "cast"
	Charge   Verb = "charge"
	Fight    Verb = "fight"
	Hold     Verb = "hold"
	Done     Verb = "done"

	Test Verb = "test" // no line: what the rules do as a turn ends
)

// verbs is every line there is, in the order of a turn.
var verbs = []Verb{Move, Run, FallBack, Hold, Cast, Shoot, Split, Charge, Fight, Done}

// Line is one order of a sheet. Which members count depends on the verb; the
// others are empty. In JSON ids stand for units, powers and objectives.
type Line struct {
	Order  Verb       `json:"order"`
	Unit   string     `json:"unit,omitempty"`
	Power  string     `json:"power,omitempty"` // cast
	Aim               // target, or objective of move and hold
	Shares []Aim      `json:"shares,omitempty"` // split: each weapon and its target
	Joins  string     `json:"joins,omitempty"`  // move: the unit of one's own that it joins
	Also   []string   `json:"also,omitempty"`   // charge: units that attack together with it
	Near   []string   `json:"near,omitempty"`   // cast: units within reach if the caster dies
	Way    string     `json:"way,omitempty"`    // a direction that was said; it decides nothing
	Else   []Aim      `json:"else,omitempty"`   // what to do if it has become impossible; no target: hold
	If     *Condition `json:"if,omitempty"`
}

// Aim is a target, and what the players say lies between.
type Aim struct {
	At      string `json:"at,omitempty"`
	Tenths  int    `json:"tenths,omitempty"` // of an inch; 0 if nothing was said
	Cover   bool   `json:"cover,omitempty"`
	Half    bool   `json:"half,omitempty"`    // within half range
	Hidden  bool   `json:"hidden,omitempty"`  // no line of sight
	Arc     string `json:"arc,omitempty"`     // the side of the target that is hit: an arc of the pack
	Across  string `json:"across,omitempty"`  // terrain between: a word of the pack
	Blocked bool   `json:"blocked,omitempty"` // the target has no way back
	Models  int    `json:"models,omitempty"`  // how many of the unit see and reach the target; 0: all
	Weapon  string `json:"weapon,omitempty"`  // the one to use
}

// Condition is what must hold for a line to be carried out.
type Condition struct {
	Unit string `json:"unit"`
	Is   Being  `json:"is"`
}

// Being is what a condition asks about a unit.
type Being string

// The conditions.
const (
	IsIn     Being = "in"     // in melee
	IsStands Being = "stands" // on the table
	IsFell   Being = "fell"   // off the table, fallen or routed
)

// Hold tells whether a condition holds now.
func (c Condition) Hold(s State) bool {
	u, ok := s.Unit(c.Unit)
	if !ok {
		return false
	}
	switch c.Is {
	case IsIn:
		return u.Stands() && u.InMelee()
	case IsStands:
		return u.Stands()
	}
	return !u.Stands()
}

// aims lists the line's aim and its alternatives, in the order to be tried.
func (l Line) aims() []Aim { return append([]Aim{l.Aim}, l.Else...) }

// with is the line at another aim: without a target it becomes hold. All of a
// split goes to the one target that is named instead.
func (l Line) with(a Aim) Line {
	if a.At == "" {
		return Line{Order: Hold, Unit: l.Unit}
	}
	if l.Order == Split {
		l.Order, l.Shares = Shoot, nil
	}
	l.Aim = a
	return l
}
