package battle

// Scored is points for an objective that a side held at the end of its turn.
type Scored struct {
	Objective string `json:"objective"`
	Points    int    `json:"points"`
	Side      int    `json:"side"`
}

// Type names the event in JSON.
func (*Scored) Type() string { return "scored" }

func (e *Scored) apply(s *State) {
	s.Score[e.Side] += e.Points
	for i, o := range s.objectives() {
		if o.ID == e.Objective && i < len(s.Taken) {
			s.Taken[i][e.Side] += e.Points
		}
	}
}

// Handed is the turn handed to the other side: Side's, in game turn Turn.
// Cleared are the statuses that end with it, by unit.
type Handed struct {
	Cleared []Cleared `json:"cleared,omitempty"`
	Side    int       `json:"side"`
	Turn    int       `json:"turn"`
}

// Cleared is a status that ends.
type Cleared struct {
	Status string `json:"status"`
	Unit   string `json:"unit"`
}

// Type names the event in JSON.
func (*Handed) Type() string { return "handed" }

func (e *Handed) apply(s *State) {
	if e.Turn != s.Turn {
		s.Rerolled = [2]int{}
	}
	s.Side, s.Turn, s.Phase = e.Side, e.Turn, 0
	s.Handovers++
	s.Halted = nil
	s.Overdue = false
	s.Proposed = Nobody
	for i := range s.Units {
		s.Units[i].Turn = Doings{}
	}
	for _, c := range e.Cleared {
		s.unit(c.Unit).lift(c.Status)
	}
}

// Proposed is a side that proposes to end the battle as it stands.
type Proposed struct {
	Side int `json:"side"`
}

// Type names the event in JSON.
func (*Proposed) Type() string { return "proposed" }

func (e *Proposed) apply(s *State) { s.Proposed = e.Side }

// Withdrawn is a proposal that stands no more: it was taken back or answered with
// no, or play went on. Side is whose proposal it was.
type Withdrawn struct {
	Side int `json:"side"`
}

// Type names the event in JSON.
func (*Withdrawn) Type() string { return "withdrawn" }

func (e *Withdrawn) apply(s *State) { s.Proposed = Nobody }

// Finished is the end of play: both look at the result now.
type Finished struct {
	Why string `json:"why"`
}

// Why play ended.
const (
	LastTurn = "turns"     // the scenario's last turn was played
	Swept    = "destroyed" // one side has nobody left
	AsStands = "agreed"    // both ended it as it stood
)

// Type names the event in JSON.
func (*Finished) Type() string { return "finished" }

func (e *Finished) apply(s *State) {
	s.Stage, s.Why = Over, e.Why
	s.Halted = nil
	s.Handovers++
}

// Agreed is a side that agrees to the result.
type Agreed struct {
	Side int `json:"side"`
}

// Type names the event in JSON.
func (*Agreed) Type() string { return "agreed" }

func (e *Agreed) apply(s *State) {
	s.Agreed[e.Side] = true
	s.Disputed[e.Side] = false
}

// Disputed is a side that objects to the result.
type Disputed struct {
	Side int `json:"side"`
}

// Type names the event in JSON.
func (*Disputed) Type() string { return "disputed" }

func (e *Disputed) apply(s *State) {
	s.Disputed[e.Side] = true
	s.Agreed[e.Side] = false
}

// Conceded is a side that gave the battle away.
type Conceded struct {
	Side int `json:"side"`
}

// Type names the event in JSON.
func (*Conceded) Type() string { return "conceded" }

func (e *Conceded) apply(s *State) { s.Conceded = e.Side }

// End is the result, for good. Winner is a side, or Nobody for a draw. How
// says by what: agreed by both, stood by itself, or conceded.
type End struct {
	How    string `json:"how"`
	Score  []int  `json:"score"`
	Winner int    `json:"winner"`
}

// How a result came to stand.
const (
	ByBoth    = "agreed"
	ByTime    = "stood"
	ByConcede = "conceded"
)

// Type names the event in JSON.
func (*End) Type() string { return "ended" }

func (e *End) apply(s *State) { s.Stage, s.Winner = Ended, e.Winner }
