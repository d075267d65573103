package battle

import "drumhead/engine/reason"

// More gives the other side's turn more time: Hours from when it is given. The
// one who waits decides that, or an organiser; what o'clock it is then stands in
// the desk's timers and not in the rules.
type More struct {
	Battle uint64 `json:"battle"`
	Hours  int    `json:"hours"`
}

// CommandMore is its name in entries.
const CommandMore = "battle.more"

// Command names the command as entries do.
func (More) Command() string { return CommandMore }

// Given is time that a side was given.
type Given struct {
	Hours int `json:"hours"`
	Side  int `json:"side"` // whose turn it is
}

// Type names the event in JSON.
func (*Given) Type() string { return "given" }

func (e *Given) apply(s *State) { s.Overdue = false }

func checkMore(s State, o Order, m More) error {
	side, err := playing(s, o)
	if err != nil {
		return err
	}
	if side == s.Side {
		return refuse("battle.refuse.pass", "player", reason.Person(s.Players[s.Side]))
	}
	if m.Hours < 1 || m.Hours > MaxHours {
		return refuse("battle.refuse.hours", "hours", m.Hours, "most", MaxHours)
	}
	return nil
}

// Late is the bot's word that the time of who moves is up. Nothing is lost: the
// one who waits decides what comes of it.
type Late struct {
	Battle uint64 `json:"battle"`
	Side   int    `json:"side"`
	Turn   int    `json:"turn"`
}

// CommandLate is its name in entries.
const CommandLate = "battle.late"

// Command names the command as entries do.
func (Late) Command() string { return CommandLate }

// TimeUp is a side whose time is up.
type TimeUp struct {
	Side int `json:"side"`
}

// Type names the event in JSON.
func (*TimeUp) Type() string { return "time_up" }

func (e *TimeUp) apply(s *State) { s.Overdue = true }

// checkLate refuses a clock that comes too late itself.
func checkLate(s State, o Order, l Late) error {
	if o.Player != Bot || s.Stage != Playing || s.Side != l.Side || s.Turn != l.Turn || s.Overdue {
		return refuse("battle.refuse.late")
	}
	return nil
}
