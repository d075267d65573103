package campaign

import (
	"slices"

	"drumhead/engine/reason"
)

// refuse makes a refusal of this room.
func refuse(example, id string, pairs ...any) error {
	return reason.Refuse(example, "campaign.refuse."+id, pairs...)
}

// region is a region to be shown: its title is the file's word.
func (s State) region(id string) reason.Name {
	r, _ := s.File.Region(id)
	return reason.Name(r.Title)
}

func (a Start) decide(s State, by string) ([]Event, error) {
	switch {
	case s.Round > 0:
		return nil, refuse("/campaign map", "started", "title", reason.Name(s.File.Title), "round", s.Round)
	case !a.Organiser:
		return nil, refuse("", "organiser.start")
	case s.File == nil || s.File.SHA256 != a.SHA256:
		return nil, refuse("/campaign start osier", "file", "file", reason.Name(a.File))
	}
	return []Event{&Started{File: a.File, SHA256: a.SHA256, Until: a.Until}}, nil
}

func (a Join) decide(s State, by string) ([]Event, error) {
	if p, ok := s.Player(by); ok {
		return nil, refuse("/campaign map", "joined", "home", s.region(p.Home))
	}
	home, err := s.home(a.Home)
	if err != nil {
		return nil, err
	}
	events := []Event{&Joined{Player: by, Home: home}, &Moved{Region: home, To: by}}
	for _, next := range s.File.Linked(home) {
		if r, _ := s.File.Region(next); r.Home == "" && s.Holder(next) == "" {
			return append(events, &Moved{Region: next, To: by}), nil
		}
	}
	return events, nil
}

// home finds a free home: the one asked for, or the first in the file.
func (s State) home(asked string) (string, error) {
	var free []reason.Name
	first := ""
	for _, r := range s.File.Regions {
		if s.Waits(r.ID) {
			if first == "" {
				first = r.ID
			}
			free = append(free, reason.Name(r.Title))
		}
	}
	switch r, known := s.File.Region(asked); {
	case len(free) == 0:
		return "", refuse("", "full")
	case asked == "":
		return first, nil
	case !known || r.Home == "":
		return "", refuse("/campaign join "+string(free[0]), "home", "region", s.region(asked), "free", free)
	case !s.Waits(asked):
		return "", refuse("/campaign join "+string(free[0]), "taken", "region", s.region(asked), "free", free)
	}
	return asked, nil
}

func (a Close) decide(s State, by string) ([]Event, error) {
	switch {
	case a.Round != s.Round:
		return nil, refuse("/campaign gazette", "round", "round", a.Round, "now", s.Round)
	case by != Bot && !a.Organiser:
		return nil, refuse("", "organiser.round")
	}
	return []Event{&Closed{Round: s.Round, Until: a.Until}}, nil
}

func (a Report) decide(s State, by string) ([]Event, error) {
	score := a.Score
	if err := s.played(score); err != nil {
		return nil, err
	}
	if !slices.Contains(score.Players, by) {
		return nil, refuse("", "bystander")
	}
	if score.Region != "" {
		if err := s.contest(score.Region, score.Players[0], score.Players[1]); err != nil {
			return nil, err
		}
	}
	if s.counted(score) {
		return nil, refuse("/campaign gazette", "again", "round", s.Round)
	}
	e := &Claimed{Claim: s.Claimed + 1, By: by, Score: score, Until: a.Until}
	for _, c := range s.Claims {
		switch {
		case !between(c.Score, score):
		case c.By != by && same(c.Score, score):
			return s.count(score, HowAgreed, c.Number, nil, nil), nil
		case c.By != by:
			e.Against = c.Number
		case same(c.Score, score):
			return nil, refuse("", "waiting")
		default:
			e.Instead = c.Number
		}
	}
	return []Event{e}, nil
}

func (a Agree) decide(s State, by string) ([]Event, error) {
	c, err := s.claimed(a.Claim, by)
	if err != nil {
		return nil, err
	}
	if c.By == by {
		return nil, refuse("", "own")
	}
	return s.count(c.Score, HowAgreed, c.Number, nil, nil), nil
}

func (a Object) decide(s State, by string) ([]Event, error) {
	c, err := s.claimed(a.Claim, by)
	if err != nil {
		return nil, err
	}
	if c.By != by && c.Disputed {
		return nil, refuse("", "objected")
	}
	return []Event{&Objected{Claim: c.Number, By: by}}, nil
}

// claimed finds an open claim that somebody may answer.
func (s State) claimed(number int, by string) (Claim, error) {
	c, ok := s.Claim(number)
	if !ok {
		return c, refuse("/due", "claim")
	}
	if !slices.Contains(c.Score.Players, by) {
		return c, refuse("", "bystander")
	}
	return c, nil
}

func (a Result) decide(s State, by string) ([]Event, error) {
	if a.How == HowRuled && !a.Organiser {
		return nil, refuse("", "organiser.rule")
	}
	if a.How != HowRuled && by != Bot {
		return nil, refuse("", "bystander")
	}
	if a.Claim > 0 {
		c, ok := s.Claim(a.Claim)
		if !ok || a.How == HowUnopposed && c.Disputed {
			return nil, refuse("/due", "claim")
		}
		return s.count(c.Score, a.How, c.Number, nil, nil), nil
	}
	if err := s.played(*a.Score); err != nil {
		return nil, err
	}
	if a.Battle != nil && s.knows(*a.Battle) {
		return nil, refuse("/campaign gazette", "again", "round", s.Round)
	}
	return s.count(*a.Score, a.How, 0, a.Battle, a.Units), nil
}

// played refuses a score between people who do not play here, or of a region
// that is not on the map.
func (s State) played(score Score) error {
	for _, p := range score.Players {
		if _, ok := s.Player(p); !ok {
			return refuse("/campaign join", "stranger", "player", reason.Person(p))
		}
	}
	if score.Region != "" && s.File.index(score.Region) < 0 {
		return refuse("/campaign map", "region", "region", reason.Name(score.Region))
	}
	return nil
}

// counted tells whether just this already counts in the present round: that is
// one game booked twice.
func (s State) counted(score Score) bool {
	for _, c := range s.Now.Results {
		if score.Region != "" && same(c.Score, score) {
			return true
		}
	}
	return false
}

// knows tells whether a battle was counted before, in any round.
func (s State) knows(b Battle) bool {
	is := func(c Counted) bool { return c.Battle != nil && *c.Battle == b }
	return slices.ContainsFunc(s.Now.Results, is) ||
		slices.ContainsFunc(s.Past, func(r Round) bool { return slices.ContainsFunc(r.Results, is) })
}

// Contest refuses a battle for a region that these two cannot fight for. Whoever
// holds a region defends it; of nobody's region both may have come.
func Contest(s State, region, one, other string) error {
	if s.Round == 0 {
		return refuse("/campaign start", "none")
	}
	score := Score{Players: []string{one, other}, Region: region}
	if err := s.played(score); err != nil {
		return err
	}
	return s.contest(region, one, other)
}

func (s State) contest(region, one, other string) error {
	holder := s.Holder(region)
	switch {
	case s.Waits(region):
		return refuse("/campaign map", "waits", "region", s.region(region))
	case holder != "" && holder != one && holder != other:
		return refuse("/campaign map", "other", "region", s.region(region), "holder", reason.Person(holder))
	case holder == one && !s.Reaches(other, region):
		return refuse("/campaign map", "far", "player", reason.Person(other), "region", s.region(region), "near", s.near(region))
	case holder == other && !s.Reaches(one, region):
		return refuse("/campaign map", "far", "player", reason.Person(one), "region", s.region(region), "near", s.near(region))
	case holder == "" && !s.Reaches(one, region) && !s.Reaches(other, region):
		return refuse("/campaign map", "nobody", "region", s.region(region), "near", s.near(region))
	}
	return nil
}

// near names what is linked to a region.
func (s State) near(region string) []reason.Name {
	var out []reason.Name
	for _, id := range s.File.Linked(region) {
		out = append(out, s.region(id))
	}
	return out
}
