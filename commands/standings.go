package commands

import (
	"drumhead/commands/chat"
	"drumhead/engine/reason"
)

// planStandings shows who leads: regions held, then battles won, then by name.
func planStandings(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	lines := []chat.Line{t.say("campaign.standings.head", "title", t.title(), "round", t.Round)}
	for i, s := range t.Standings(t.name) {
		lines = append(lines, t.say("campaign.standings.line", "n", i+1, "who", reason.Person(s.Player), "regions", s.Regions,
			"won", s.Won, "drawn", s.Drawn, "lost", s.Lost))
	}
	if len(lines) == 1 {
		lines = append(lines, t.say("campaign.standings.nobody"))
	}
	p := a.post(lines...)
	p.Pictures = t.table()
	return only(p)
}
