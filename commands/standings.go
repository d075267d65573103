package commands

import (
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/reason"
)

func standingsCommands() []command {
	return []command{{Spec: args.Spec{Name: "standings", Help: "of the campaign here", Example: "/standings"}, plan: planStandings}}
}

// planStandings shows who leads: regions held, then battles won, then by name.
func planStandings(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	lines := []chat.Line{t.say("standings.head", "title", t.title(), "round", t.Round)}
	for i, s := range t.Standings(t.name) {
		lines = append(lines, t.say("standings.line", "n", i+1, "who", reason.Person(s.Player),
			"regions", s.Regions, "won", s.Won, "drawn", s.Drawn, "lost", s.Lost))
	}
	if len(t.Players) == 0 {
		lines = append(lines, t.say("standings.nobody"))
	}
	return only(a.post(lines...))
}
