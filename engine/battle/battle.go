// Package battle plays one battle: its state, the orders of a turn, and what
// comes of them. A battle is a value. Check tells whether an order may be given,
// Decide gives the events that it sets off, and State.Apply folds one event into
// the next state. Nothing here reads a clock, a file or a random number: dice
// come from a Drawer, numbers of the game from a rules pack.
//
// Until tables are measured, players say what lies between units: distances in
// tenths of an inch, cover, sight. What they said stands in the order's args, so
// anybody can read it again.
package battle

import (
	"slices"

	"drumhead/engine/rules"
)

// What a battle may hold. Each limit is named in the refusal that it causes.
const (
	MaxUnits  = 40   // of one side
	MaxLines  = 40   // of one sheet
	MaxElse   = 3    // other targets of one line
	MaxNear   = 12   // units named as near a caster
	MaxSheet  = 4000 // characters of a sheet as typed
	MaxTenths = 1200 // tenths of an inch that may lie between two things: ten feet
	MaxHours  = 30 * 24
	MaxTurns  = 20
	MaxAhead  = 40 // standing orders of one side
)

// Stage is how far a battle has come.
type Stage int

// The stages.
const (
	Unborn  Stage = iota // before battle.begin
	Playing              // turns are being played
	Over                 // played to its end, or proposed so: both look at the result
	Ended                // the result stands
)

// State is everything that one battle has come to.
type State struct {
	Pack  *rules.Pack       // the pinned pack; given by whoever folds, not by events
	Names map[string]string // what people call units and objectives; given by the desk

	Stage   Stage
	Players [2]string // pseudonyms; a side is 0 or 1
	Terms   Terms
	Units   []Unit
	First   int // the side that has the first turn
	Turn    int // game turn, 1 for the first
	Side    int // whose turn it is
	Phase   int // the latest phase of the pack that this player turn has come to

	Score     [2]int
	Taken     [][2]int // points of each objective, in the scenario's order, by side
	Handovers int      // how often the battle has waited for the other, this offer included
	Rerolled  [2]int   // dice that the side has had re-rolled in this game turn
	Ahead     [2][]uint64
	Overdue   bool  // the time of who moves is up
	Halted    *Halt // where the latest sheet was cut short, until the next sheet

	Past   []Step // commands that may be taken back, the oldest first
	Undone []Redo // orders of this turn that were taken back and not given again
	Asked  *Plea  // what a side asks to take back; nil for nothing

	Proposed int     // the side that proposes to end it as it stands, or Nobody
	Agreed   [2]bool // who has agreed to the result
	Disputed [2]bool
	Conceded int // the side that gave the battle away, or Nobody
	Winner   int // once ended: a side, or Nobody for a draw
	Why      string
}

// Nobody stands where a side could stand.
const Nobody = -1

// Halt is a sheet that dice cut short.
type Halt struct {
	Line int   // the line that could not be done
	Rest []int // lines after it that wait
}

// Unit is one unit on the table.
type Unit struct {
	ID    string // "u1", …, unlike in the whole battle
	Side  int
	Kind  string // id of the pack's unit
	Key   string // the same unit in its owner's other battles: kind and ordinal
	Grade string // experience, an id of the pack's grades; "" for the first
	Size  int    // models at the start

	Left     int    // models that stand
	Hurt     int    // wounds that the next model to fall has lost
	Fell     int    // models lost to wounds
	Fled     int    // models that fled
	Gone     string // "", or why it is off the table: Fallen or Routed
	At       string // the objective it stands on
	Joined   string // the unit that it has joined and stands among
	With     []string
	Statuses []string
	Lost     []rules.Loss // what its characteristics have lost for good
	Parts    []int        // models that stand of each part; nil where all are alike
	Worn     int          // the part that the model which has lost wounds is of
	Broke    []string     // enemy units that it broke
	Fought   bool         // it shot, cast, charged or fought in this battle
	By       string       // the enemy unit that last felled a model of it

	Turn Doings // this player turn
}

// Doings is what a unit has done and suffered in the present player turn.
type Doings struct {
	Moved, Shot, Charged, Struck bool
	Tested, Countered            bool
	Mended, Wounded              bool
	Gave                         string   // the objective that it gave up
	ChargedBy                    []string // units that charged it
	Cast                         []string // powers
	Lost                         int      // models that fell
	Fled                         int
}

// Why a unit is off the table.
const (
	Fallen = "fell"   // its last model fell
	Routed = "routed" // its last models fled
)

// New is a battle before its first entry, played by a pack.
func New(pack *rules.Pack) State {
	return State{Pack: pack, Proposed: Nobody, Conceded: Nobody, Winner: Nobody}
}

// Stands tells whether the unit is on the table.
func (u Unit) Stands() bool { return u.Gone == "" && u.Left > 0 }

// InMelee tells whether an enemy is in contact with the unit.
func (u Unit) InMelee() bool { return len(u.With) > 0 }

// joined lists who stands among a unit.
func (s State) joined(host string) []Unit {
	var out []Unit
	for _, u := range s.Units {
		if host != "" && u.Joined == host && u.Stands() {
			out = append(out, u)
		}
	}
	return out
}

// engaged tells whether a unit is in melee, by itself or with the unit that it has
// joined.
func (s State) engaged(u Unit) bool {
	host, ok := s.Unit(u.Joined)
	return u.InMelee() || ok && host.InMelee()
}

// Steady tells whether the unit can hold an objective: it stands, and none of
// it fled in this turn.
func (u Unit) Steady() bool { return u.Stands() && u.Turn.Fled == 0 }

// Has tells whether a status lies on the unit.
func (u Unit) Has(status string) bool { return slices.Contains(u.Statuses, status) }

// Unit finds a unit by its id.
func (s State) Unit(id string) (Unit, bool) {
	for _, u := range s.Units {
		if u.ID == id {
			return u, true
		}
	}
	return Unit{}, false
}

// unit is the unit itself, to be changed by an event. Ids in events are good.
func (s *State) unit(id string) *Unit {
	for i := range s.Units {
		if s.Units[i].ID == id {
			return &s.Units[i]
		}
	}
	return &Unit{}
}

// SideOf tells which side a pseudonym plays, or Nobody.
func (s State) SideOf(player string) int {
	return slices.Index(s.Players[:], player)
}

// Other is the other side.
func Other(side int) int { return 1 - side }

// Waits tells for whom the battle waits: the side whose turn it is, or Nobody
// when it is over.
func (s State) Waits() int {
	if s.Stage == Playing {
		return s.Side
	}
	return Nobody
}

// Holder tells who holds an objective: the side that alone has steady units on
// it, or Nobody.
func (s State) Holder(objective string) int {
	holder := Nobody
	for _, u := range s.Units {
		if u.At != objective || !u.Steady() {
			continue
		}
		if holder == Other(u.Side) {
			return Nobody
		}
		holder = u.Side
	}
	return holder
}

// standing lists the units of a side that are on the table.
func (s State) standing(side int) []Unit {
	var out []Unit
	for _, u := range s.Units {
		if u.Side == side && u.Stands() {
			out = append(out, u)
		}
	}
	return out
}
