package commands

import (
	"drumhead/campaign"
	"drumhead/commands/chat"
	"drumhead/engine/reason"
)

// planMap tells the map in words: who holds what, or all about one region.
func planMap(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	if said := a.value("region"); said != "" {
		r, err := t.region(said, "/campaign map")
		if err != nil {
			return nil, err
		}
		return only(a.post(t.around(r)...))
	}
	p := a.post(t.whole()...)
	p.Pictures = t.chart(t.Now).picture()
	return only(p)
}

// whole is the map: one line for each holder, then what nobody holds.
func (t atlas) whole() []chat.Line {
	lines := []chat.Line{t.say("campaign.map.head", "title", t.title(), "round", t.Round, "until", t.until())}
	for _, s := range t.Standings(t.name) {
		lines = append(lines, t.say("campaign.map.holds", "who", reason.Person(s.Player), "n", s.Regions, "regions", t.held(s.Player)))
	}
	var free, waiting []reason.Name
	for _, r := range t.Holds("") {
		if t.Waits(r.ID) {
			waiting = append(waiting, reason.Name(r.Title))
		} else {
			free = append(free, reason.Name(r.Title))
		}
	}
	if len(free) > 0 {
		lines = append(lines, t.say("campaign.map.free", "n", len(free), "regions", free))
	}
	if len(waiting) > 0 {
		lines = append(lines, t.say("campaign.map.homes", "n", len(waiting), "regions", waiting))
	}
	return append(lines, t.say("campaign.map.more", "command", typed("/campaign map "+t.File.Regions[0].Title)))
}

// held lists a player's regions, the home marked.
func (t atlas) held(player string) chat.Line {
	p, _ := t.Player(player)
	var line chat.Line
	for i, r := range t.Holds(player) {
		if i > 0 {
			line = append(line, chat.Span{Kind: chat.Plain, Text: ", "})
		}
		id := "campaign.map.region"
		if r.ID == p.Home {
			id = "campaign.map.home"
		}
		line = append(line, t.say(id, "region", reason.Name(r.Title))...)
	}
	if line == nil {
		return t.say("campaign.map.nothing")
	}
	return line
}

// around is one region: whose it is, what it is linked to and how, and who may
// march in.
func (t atlas) around(r campaign.Region) []chat.Line {
	lines := []chat.Line{t.whose(r)}
	for _, l := range t.File.Links {
		next := l.Between[0]
		if next == r.ID {
			next = l.Between[1]
		} else if l.Between[1] != r.ID {
			continue
		}
		other, _ := t.File.Region(next)
		lines = append(lines, t.say("campaign.map.link."+l.By, "whose", t.whose(other)))
	}
	var may chat.Line
	for _, p := range t.Players {
		if p.ID == t.Holder(r.ID) || !t.Reaches(p.ID, r.ID) {
			continue
		}
		if may != nil {
			may = append(may, chat.Span{Kind: chat.Plain, Text: ", "})
		}
		may = append(may, t.view.who(p.ID))
	}
	switch {
	case t.Waits(r.ID):
		return append(lines, t.say("campaign.map.kept"))
	case len(may) == 0:
		return append(lines, t.say("campaign.map.nobody"))
	}
	return append(lines, t.say("campaign.map.may", "who", may))
}

// whose says of a region who holds it.
func (t atlas) whose(r campaign.Region) chat.Line {
	holder := t.Holder(r.ID)
	switch {
	case holder != "" && r.Home != "":
		return t.say("campaign.map.side", "region", reason.Name(r.Title), "side", reason.Name(r.Home), "who", reason.Person(holder))
	case holder != "":
		return t.say("campaign.map.whose", "region", reason.Name(r.Title), "who", reason.Person(holder))
	case r.Home != "":
		return t.say("campaign.map.waits", "region", reason.Name(r.Title), "side", reason.Name(r.Home))
	}
	return t.say("campaign.map.unheld", "region", reason.Name(r.Title))
}

// typed is a command that can be typed, in a line.
func typed(s string) chat.Span { return chat.Span{Kind: chat.Command, Text: s} }
