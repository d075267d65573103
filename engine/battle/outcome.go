package battle

// Outcome is how a battle stands or ended, for campaigns, ladders and reports.
type Outcome struct {
	Ended    bool
	Players  [2]string
	Score    [2]int
	Winner   int // a side, or Nobody: a draw, or not ended
	Conceded int // the side that gave it away, or Nobody
	Region   string
	Campaign string
	Size     [2]int // models at the start
	Lost     [2]int // models that fell or fled
	Units    []Service
	Taken    []Won // points by objective, in the scenario's order
}

// Service is what one unit did in a battle.
type Service struct {
	ID, Kind, Key string
	Side          int
	Size, Left    int
	Fought        bool     // it shot, cast, charged or struck at least once
	Gone          string   // "", Fallen or Routed
	Broke         []string // ids of enemy units that it broke
	BrokenBy      string   // id of the enemy unit that broke it, "" for none
}

// Won is the points of one objective, by side.
type Won struct {
	Objective string
	Points    [2]int
}

// Outcome sums up the battle.
func (s State) Outcome() Outcome {
	o := Outcome{Ended: s.Stage == Ended, Players: s.Players, Score: s.Score, Winner: s.Winner,
		Conceded: s.Conceded, Region: s.Terms.Region, Campaign: s.Terms.Campaign}
	for _, u := range s.Units {
		o.Size[u.Side] += u.Size
		o.Lost[u.Side] += u.Size - u.Left
		service := Service{ID: u.ID, Kind: u.Kind, Key: u.Key, Side: u.Side, Size: u.Size, Left: u.Left,
			Fought: u.Fought, Gone: u.Gone, Broke: u.Broke}
		if u.Gone != "" {
			service.BrokenBy = u.By
		}
		o.Units = append(o.Units, service)
	}
	for i, objective := range s.objectives() {
		if i < len(s.Taken) {
			o.Taken = append(o.Taken, Won{Objective: objective.ID, Points: s.Taken[i]})
		}
	}
	return o
}
