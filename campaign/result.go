package campaign

// What a result did to the region that was at stake.
const (
	Took   = "took"   // it falls to the winner
	Kept   = "kept"   // its holder won
	Drew   = "drew"   // a draw changes nothing
	Far    = "far"    // the winner holds nothing linked to it
	Other  = "other"  // a third player holds it
	Awaits = "awaits" // it is a home, kept for whoever joins there
	Free   = "free"   // no region was at stake
)

// outcome tells what a score does to its region, as things stand now. A battle
// that took weeks may end on another map than it began on: it still counts, and
// the region moves only if the rule holds now.
func (s State) outcome(score Score) string {
	holder := s.Holder(score.Region)
	switch {
	case score.Region == "":
		return Free
	case score.Winner == "":
		return Drew
	case s.Waits(score.Region):
		return Awaits
	case holder == score.Winner:
		return Kept
	case holder != "" && holder != score.Players[0] && holder != score.Players[1]:
		return Other
	case !s.Reaches(score.Winner, score.Region):
		return Far
	}
	return Took
}

// count gives the events of a result: the result itself, the region that moves,
// what units earned, and the grades that they reach by it.
func (s State) count(score Score, how string, claim int, battle *Battle, units []Deeds) []Event {
	outcome := s.outcome(score)
	events := []Event{&Resulted{Battle: battle, Claim: claim, How: how, Outcome: outcome, Score: score}}
	if outcome == Took {
		events = append(events, &Moved{Region: score.Region, From: s.Holder(score.Region), To: score.Winner})
	}
	for _, d := range units {
		events = append(events, s.earn(d, score.Winner)...)
	}
	return events
}

// earn is what one unit earned, and the grade that it reached.
func (s State) earn(d Deeds, winner string) []Event {
	rule := s.File.Experience
	e := &Learned{Player: d.Player, Unit: d.Unit, Deeds: d.Broke}
	u, _ := s.Unit(d.Player, d.Unit)
	e.Before = u.Experience
	if d.Fought {
		e.Fought = rule.Fought
	}
	e.Broke = rule.Broke * d.Broke
	if winner == d.Player {
		e.Won = rule.Won
	}
	if d.Fell {
		e.Fell = rule.Fell
	}
	e.After = min(max(e.Before+e.Fought+e.Broke+e.Won+e.Fell, 0), MaxCareer)
	from, to := s.File.Grade(e.Before), s.File.Grade(e.After)
	if from == to {
		return []Event{e}
	}
	return []Event{e, &Graded{Player: d.Player, Unit: d.Unit, From: from.ID, To: to.ID, Experience: e.After, Enough: to.From}}
}
