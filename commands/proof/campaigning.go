package proof

import (
	"fmt"
	"slices"

	"drumhead/campaign"
	"drumhead/engine/dice"
	"drumhead/storage"
)

// Campaigning is the room of the campaign that is played in a place.
type Campaigning struct{}

// Campaign is the room's state: the campaign itself, who started it, and with
// which entry each round began, the first first.
type Campaign struct {
	campaign.State
	By     string // pseudonym
	Starts []uint64
}

// CampaignOf finds the campaign of a game, false if none was started there.
func CampaignOf(g Game) (Campaign, bool) {
	c, ok := g.Rooms[Campaigning{}.Name()].(Campaign)
	return c, ok
}

// Name is the key of the room's state.
func (Campaigning) Name() string { return "campaign" }

// Owns tells whether a command is played here.
func (Campaigning) Owns(command string) bool { return campaign.Owns(command) }

// Check refuses what the campaign does not allow. Nothing of it rolls.
func (Campaigning) Check(g Game, c Command) (mayRoll bool, err error) {
	state, command, err := asked(g, c)
	if err != nil {
		return false, err
	}
	return false, campaign.Check(state.State, command)
}

// Decide gives the events of a command of the campaign.
func (Campaigning) Decide(g Game, c Command, _ dice.Drawer) ([]storage.Object, error) {
	state, command, err := asked(g, c)
	if err != nil {
		return nil, err
	}
	events, err := campaign.Decide(state.State, command)
	if err != nil {
		return nil, err
	}
	out := make([]storage.Object, len(events))
	for i, e := range events {
		if out[i], err = campaign.MarshalEvent(e); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Apply folds the events of an entry into the campaign.
func (Campaigning) Apply(g Game, c Command, events []storage.Object) (any, error) {
	state, command, err := asked(g, c)
	if err != nil {
		return nil, err
	}
	for _, b := range events {
		e, err := campaign.ParseEvent(b)
		if err != nil {
			return nil, err
		}
		state.State = state.Apply(e)
	}
	switch command.Act.(type) {
	case campaign.Start:
		state.By, state.Starts = c.Player, []uint64{c.Seq}
	case campaign.Close:
		state.Starts = append(slices.Clip(state.Starts), c.Seq)
	}
	return state, nil
}

// asked is the campaign as it stands, and what is asked of it. A command that
// starts one brings its file.
func asked(g Game, c Command) (Campaign, campaign.Command, error) {
	command, err := campaign.ParseCommand(c.Player, c.Name, c.Args)
	if err != nil {
		return Campaign{}, command, err
	}
	state, running := CampaignOf(g)
	start, starts := command.Act.(campaign.Start)
	if !starts || running {
		return state, command, nil
	}
	b, err := g.File(start.SHA256)
	if err != nil {
		return state, command, err
	}
	file, err := campaign.Parse(b)
	if err != nil {
		return state, command, fmt.Errorf("proof: the pinned campaign file %s: %w", start.SHA256, err)
	}
	return Campaign{State: campaign.New(file)}, command, nil
}
