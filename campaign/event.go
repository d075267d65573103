package campaign

import "slices"

// Event is one thing that happened. It can always be applied; whether it could
// happen was settled by Decide.
type Event interface {
	// Type names the event in JSON, as its member `type`.
	Type() string
	sound() error
	apply(s *State)
}

// Started is the first round beginning on a file.
type Started struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	Until  int64  `json:"until"`
}

// Joined is a player who took up a home.
type Joined struct {
	Home   string `json:"home"`
	Player string `json:"player"`
}

// Moved is a region that passes from one holder ("" for nobody) to another.
type Moved struct {
	From   string `json:"from,omitempty"`
	Region string `json:"region"`
	To     string `json:"to"`
}

// Claimed is a result that one side reported. Against is an open claim of the
// other side that says otherwise: both are disputed now. Instead is an earlier
// claim of the same player that this one replaces.
type Claimed struct {
	Against int    `json:"against,omitempty"`
	By      string `json:"by"`
	Claim   int    `json:"claim"`
	Instead int    `json:"instead,omitempty"`
	Score
	Until int64 `json:"until"`
}

// Objected is a claim that the other side denied, or that was taken back.
type Objected struct {
	By    string `json:"by"`
	Claim int    `json:"claim"`
}

// Resulted is a battle that counts.
type Resulted struct {
	Battle  *Battle `json:"battle,omitempty"`
	Claim   int     `json:"claim,omitempty"`
	How     string  `json:"how"`
	Outcome string  `json:"outcome"`
	Score
}

// Learned is a unit's experience in one battle, summand by summand. Deeds is
// how many enemy units it broke.
type Learned struct {
	After  int    `json:"after"`
	Before int    `json:"before"`
	Broke  int    `json:"broke,omitempty"`
	Deeds  int    `json:"deeds,omitempty"`
	Fell   int    `json:"fell,omitempty"`
	Fought int    `json:"fought,omitempty"`
	Player string `json:"player"`
	Unit   string `json:"unit"`
	Won    int    `json:"won,omitempty"`
}

// Graded is a unit that came to another grade, for which Enough would have been
// enough.
type Graded struct {
	Enough     int    `json:"enough"`
	Experience int    `json:"experience"`
	From       string `json:"from"`
	Player     string `json:"player"`
	To         string `json:"to"`
	Unit       string `json:"unit"`
}

// Closed is the end of a round and the beginning of the next.
type Closed struct {
	Round int   `json:"round"`
	Until int64 `json:"until"`
}

// Apply folds an event into the next state; the old one stays as it was: each
// event copies the lists that it changes.
func (s State) Apply(e Event) State {
	e.apply(&s)
	return s
}

// Type names the event in JSON.
func (*Started) Type() string { return "campaign.started" }

func (e *Started) apply(s *State) {
	s.Round, s.Until = 1, e.Until
	s.Now = Round{Number: 1}
}

// Type names the event in JSON.
func (*Joined) Type() string { return "campaign.joined" }

func (e *Joined) apply(s *State) {
	s.Players = append(slices.Clip(s.Players), Player{ID: e.Player, Home: e.Home})
}

// Type names the event in JSON.
func (*Moved) Type() string { return "campaign.region" }

func (e *Moved) apply(s *State) {
	i := s.File.index(e.Region)
	if i < 0 {
		return
	}
	s.Holders = slices.Clone(s.Holders)
	s.Holders[i] = e.To
	r := &s.Now
	r.Taken = append(slices.Clip(r.Taken), Taken{Region: e.Region, From: e.From, To: e.To})
}

// Type names the event in JSON.
func (*Claimed) Type() string { return "campaign.claimed" }

func (e *Claimed) apply(s *State) {
	s.Claimed = e.Claim
	s.Claims = slices.DeleteFunc(slices.Clone(s.Claims), func(c Claim) bool { return c.Number == e.Instead })
	for i := range s.Claims {
		if s.Claims[i].Number == e.Against {
			s.Claims[i].Disputed = true
		}
	}
	s.Claims = append(s.Claims, Claim{Number: e.Claim, By: e.By, Score: e.Score, Until: e.Until, Disputed: e.Against > 0})
}

// Type names the event in JSON.
func (*Objected) Type() string { return "campaign.objected" }

func (e *Objected) apply(s *State) {
	s.Claims = slices.DeleteFunc(slices.Clone(s.Claims), func(c Claim) bool { return c.Number == e.Claim && c.By == e.By })
	for i := range s.Claims {
		if s.Claims[i].Number == e.Claim {
			s.Claims[i].Disputed = true
		}
	}
}

// Type names the event in JSON.
func (*Resulted) Type() string { return "campaign.result" }

// A result settles what the two have said about that battle by hand. Only a
// battle played here without a region leaves their claims alone: those may well
// be of another game.
func (e *Resulted) apply(s *State) {
	other := e.How == HowBattle && e.Region == ""
	s.Claims = slices.DeleteFunc(slices.Clone(s.Claims), func(c Claim) bool {
		return c.Number == e.Claim || !other && between(c.Score, e.Score)
	})
	s.Players = slices.Clone(s.Players)
	for i := range s.Players {
		p := &s.Players[i]
		switch {
		case !slices.Contains(e.Players, p.ID):
		case e.Winner == "":
			p.Drawn++
		case e.Winner == p.ID:
			p.Won++
		default:
			p.Lost++
		}
	}
	r := &s.Now
	r.Results = append(slices.Clip(r.Results), Counted{Score: e.Score, How: e.How, Outcome: e.Outcome, Battle: e.Battle})
}

// Type names the event in JSON.
func (*Learned) Type() string { return "campaign.experience" }

func (e *Learned) apply(s *State) {
	s.Units = slices.Clone(s.Units)
	i := s.unit(e.Player, e.Unit)
	if i < 0 {
		i = len(s.Units)
		s.Units = append(s.Units, Unit{Player: e.Player, Key: e.Unit})
	}
	s.Units[i].Experience = e.After
	s.Units[i].Battles++
	r := &s.Now
	r.Earned = append(slices.Clip(r.Earned), Earned{Player: e.Player, Unit: e.Unit, Before: e.Before, After: e.After})
}

// Type names the event in JSON.
func (*Graded) Type() string { return "campaign.grade" }

// Only a rise is news; a unit that sinks back is told of in its career alone.
func (e *Graded) apply(s *State) {
	if s.File.begins(e.To) < s.File.begins(e.From) {
		return
	}
	r := &s.Now
	r.Rises = append(slices.Clip(r.Rises), Rise{Player: e.Player, Unit: e.Unit, From: e.From, To: e.To})
}

// Type names the event in JSON.
func (*Closed) Type() string { return "campaign.round" }

func (e *Closed) apply(s *State) {
	s.Now.Standing, s.Now.Held = s.standing(), slices.Clone(s.Holders)
	s.Round, s.Until = e.Round+1, e.Until
	s.Past = append(slices.Clip(s.Past), s.Now)
	s.Now = Round{Number: s.Round}
}
