// Package campaign plays one campaign: who holds which region of a map, what
// battles change, and what units become. It is pure: a campaign is a value, a
// Command gives events or a refusal, and State.Apply folds an event into the
// next value. Time, names and roles come in as arguments; people and units are
// known here by pseudonym and key only.
//
// The rules, whole:
//
//   - Who joins gets a free home and the first free region linked to it.
//   - A battle may be for a region. It falls to the winner if the loser or
//     nobody held it and the winner holds a region linked to it; a home waits
//     for whoever may still join there. A draw changes nothing.
//   - Everybody may march on their own home, from anywhere: nobody is out.
//   - Units gain experience by what they did, and grades by experience.
package campaign

import "slices"

// State is everything that a campaign has come to. It is a value: Apply leaves
// the old one as it was.
type State struct {
	File    *File
	Round   int      // the round being played; 0 before the campaign has started
	Until   int64    // when that round closes, Unix milliseconds; 0 when an organiser closes it
	Players []Player // in the order in which they joined
	Holders []string // who holds each region of File, in its order; "" for nobody
	Units   []Unit   // careers, in the order in which units first fought
	Claims  []Claim  // results that somebody reported and that do not count yet
	Claimed int      // how many claims there ever were; the next has this number plus 1
	Now     Round    // the round being played
	Past    []Round  // rounds that are closed, the first first
}

// Player is somebody who joined.
type Player struct {
	ID    string // pseudonym
	Home  string // region
	Won   int    // battles
	Drawn int
	Lost  int
}

// Unit is one unit's career. Its key is its owner's: kind and ordinal.
type Unit struct {
	Player     string
	Key        string
	Experience int
	Battles    int
}

// Battle names a battle that was played here, by the entry that ended it.
type Battle struct {
	Ledger string `json:"ledger"` // id of the ledger, 26 letters
	Leaf   string `json:"leaf"`   // leaf hash of the entry, 64 hex digits
	Seq    int64  `json:"seq"`
}

// Claim is a result that one side reported, waiting for the other.
type Claim struct {
	Number   int
	By       string
	Score    Score
	Until    int64 // when it counts if nobody objects, Unix milliseconds
	Disputed bool  // the other side says otherwise: time alone does not make it count
}

// Score is how a battle ended. Scores may be absent (nil), else they are two,
// in the order of Players. Winner is "" for a draw, Region "" if none was at stake.
type Score struct {
	Players []string `json:"players"`
	Region  string   `json:"region,omitempty"`
	Scores  []int    `json:"scores,omitempty"`
	Winner  string   `json:"winner,omitempty"`
}

// Round is what one round of the campaign brought.
type Round struct {
	Number   int
	Results  []Counted
	Taken    []Taken // regions that changed hands, homes taken up by who joined among them
	Rises    []Rise
	Earned   []Earned
	Standing []Standing // at its close; nil for the present one
	Held     []string   // who held each region at its close; nil for the present one
}

// Counted is a result that counts: how it came, and what it did to the region.
type Counted struct {
	Score
	How     string  // "battle", "agreed", "unopposed" or "ruled"
	Outcome string  // see the outcomes
	Battle  *Battle // of one that was played here
}

// Taken is a region that changed hands.
type Taken struct{ Region, From, To string }

// Rise is a unit that reached a grade.
type Rise struct{ Player, Unit, From, To string }

// Earned is a unit's experience in one battle.
type Earned struct {
	Player, Unit  string
	Before, After int
}

// Standing is one line of the standings.
type Standing struct {
	Player           string
	Regions          int
	Won, Drawn, Lost int
}

// New is a campaign on that map before anybody has started it.
func New(f *File) State { return State{File: f, Holders: make([]string, len(f.Regions))} }

// Player finds somebody who joined.
func (s State) Player(id string) (Player, bool) {
	for _, p := range s.Players {
		if p.ID == id {
			return p, true
		}
	}
	return Player{}, false
}

// Holder tells who holds a region, "" for nobody.
func (s State) Holder(region string) string {
	if i := s.File.index(region); i >= 0 {
		return s.Holders[i]
	}
	return ""
}

// Holds lists the regions of a player, in the order of the file.
func (s State) Holds(player string) []Region {
	var out []Region
	for i, h := range s.Holders {
		if h == player {
			out = append(out, s.File.Regions[i])
		}
	}
	return out
}

// Unit finds a unit's career; one that never fought has none.
func (s State) Unit(player, key string) (Unit, bool) {
	if i := s.unit(player, key); i >= 0 {
		return s.Units[i], true
	}
	return Unit{Player: player, Key: key}, false
}

// Grade is what a unit is called now: the first grade if it never fought.
func (s State) Grade(player, key string) string {
	u, _ := s.Unit(player, key)
	return s.File.Grade(u.Experience).ID
}

func (s State) unit(player, key string) int {
	return slices.IndexFunc(s.Units, func(u Unit) bool { return u.Player == player && u.Key == key })
}

// Claim finds an open claim by its number.
func (s State) Claim(number int) (Claim, bool) {
	for _, c := range s.Claims {
		if c.Number == number {
			return c, true
		}
	}
	return Claim{}, false
}

// Waits tells whether a region is a home that is kept for whoever joins there.
func (s State) Waits(region string) bool {
	r, ok := s.File.Region(region)
	return ok && r.Home != "" && s.Holder(region) == "" && !s.settled(region)
}

// settled tells whether somebody ever joined at a home.
func (s State) settled(home string) bool {
	return slices.ContainsFunc(s.Players, func(p Player) bool { return p.Home == home })
}

// Reaches tells whether a player may march into a region: from one that they
// hold and that is linked to it, or home to their own.
func (s State) Reaches(player, region string) bool {
	if p, ok := s.Player(player); ok && p.Home == region {
		return true
	}
	return slices.ContainsFunc(s.File.Linked(region), func(next string) bool { return s.Holder(next) == player })
}

// between tells whether two scores are of the same battle, as far as one can
// see: the same two players at the same region.
func between(a, b Score) bool {
	return a.Region == b.Region && slices.Contains(a.Players, b.Players[0]) && slices.Contains(a.Players, b.Players[1])
}

// same tells whether two scores say the same, whoever stands first in them.
func same(a, b Score) bool {
	if !between(a, b) || a.Winner != b.Winner {
		return false
	}
	if len(a.Scores) == 2 && a.Players[0] != b.Players[0] {
		a.Scores = []int{a.Scores[1], a.Scores[0]}
	}
	return slices.Equal(a.Scores, b.Scores)
}
