package battle

import (
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// Offer offers a battle. To is a pseudonym, or "" for anybody. Said seals the
// force of who offers: it lies beside the entry until the battle begins.
type Offer struct {
	Said  string `json:"said,omitempty"`
	Terms Terms  `json:"terms"`
	To    string `json:"to,omitempty"`
}

// Offered is an offer that stands: the entry, and who made it.
type Offered struct {
	Offer
	Seq uint64
	By  string
}

// May refuses whoever cannot take the offer up.
func (o Offered) May(player string) error {
	switch {
	case player == o.By:
		return refuse("battle.refuse.own_offer")
	case o.To != "" && o.To != player:
		return refuse("battle.refuse.other_offer", "player", reason.Person(o.To))
	}
	return nil
}

// Answers tells whether a battle begins as the offer has it.
func (o Offered) Answers(b Begin) bool {
	return len(b.Players) == 2 && b.Players[0] == o.By && b.Offer.Seq == o.Seq && b.Terms == o.Terms
}

// Decline answers an offer with no, or takes one's own back.
type Decline struct {
	Offer uint64 `json:"offer"`
}

// The commands of an offer.
const (
	CommandOpen    = "battle.open"
	CommandDecline = "battle.decline"
)

// Command names the command as entries do.
func (Offer) Command() string { return CommandOpen }

// Command names the command as entries do.
func (Decline) Command() string { return CommandDecline }

// CheckTerms refuses terms that the pack cannot be played by.
func CheckTerms(p *rules.Pack, t Terms) error {
	if p == nil || p.ID != t.Pack || p.Edition != t.Edition || p.Hash != t.SHA256 {
		return refuse("battle.refuse.pack", "pack", t.Pack, "edition", t.Edition)
	}
	if p.Scenario(t.Scenario) == nil {
		return refuse("battle.refuse.scenario", "scenario", t.Scenario, "scenarios", scenarioTitles(p))
	}
	if t.Points < 1 || t.Points > rules.MostPoints {
		return refuse("battle.refuse.points", "points", t.Points, "most", rules.MostPoints)
	}
	if t.Turns < 1 || t.Turns > MaxTurns {
		return refuse("battle.refuse.turns", "turns", t.Turns, "most", MaxTurns)
	}
	if t.Hours < 1 || t.Hours > MaxHours {
		return refuse("battle.refuse.hours", "hours", t.Hours, "most", MaxHours)
	}
	if t.Dice != "" && t.Dice != "beacon" && t.Dice != "word" {
		return refuse("battle.refuse.dice_cut", "said", t.Dice)
	}
	return nil
}
