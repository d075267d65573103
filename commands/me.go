package commands

import (
	"strings"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/chat"
)

func meCommands() []command {
	return []command{
		{Spec: args.Spec{Name: "me zone", Mode: args.Private, Help: "where I live, so that times are mine: Europe/Paris", Example: "/me zone Europe/Paris",
			Params: []args.Param{{Name: "zone", Kind: args.Words, Optional: true, Help: "a city's zone, as Europe/Paris"}}},
			plan: planZone},
		{Spec: args.Spec{Name: "me show", Mode: args.Direct, Help: "what is stored about me", Example: "/me show"},
			plan: planShow},
	}
}

// planZone settles whose clock times are shown in. Only zones of places are
// taken: an abbreviation such as EST stands still when clocks change.
func planZone(a *ask) (*answer, error) {
	typed := strings.ReplaceAll(strings.TrimSpace(a.value("zone")), " ", "_")
	s := a.desk.somebody(a.msg.Person)
	if typed == "" {
		if s.Zone == "" {
			if zone, ok := findZone(a.msg.Zone); ok {
				return only(a.zoneSuggested(zone))
			}
			return only(a.post(a.say("me.nozone"), a.say("desk.example", "example", chat.Span{Kind: chat.Command, Text: "/me zone Europe/Paris"})))
		}
		return only(a.post(a.say("me.zone", "zone", s.Zone, "now", a.desk.when(a.now, a.msg.Person))))
	}
	zone, ok := findZone(typed)
	if !ok {
		return nil, refuse("/me zone America/New_York", "me.refuse.zone", "zone", said(strings.TrimSpace(a.value("zone"))))
	}
	s.Zone = zone
	if err := a.desk.keep(a.ctx, a.msg.Community, a.msg.Person, s); err != nil {
		return nil, err
	}
	return only(a.post(a.say("me.zone", "zone", zone, "now", a.desk.when(a.now, a.msg.Person))))
}

// zoneSuggested asks whether the zone of somebody's profile is right: nobody's
// clock is taken from there without their word.
func (a *ask) zoneSuggested(zone string) chat.Post {
	p := a.post(a.say("me.suggested", "zone", zone))
	p.Choices = choices(chat.Choice{Label: flat(a.say("me.take")), Command: "/me zone " + zone, Who: []chat.Person{a.msg.Person}})
	return p
}

// continents are what a city's zone begins with.
var continents = []string{"Africa", "America", "Antarctica", "Asia", "Atlantic", "Australia", "Europe", "Indian", "Pacific"}

// findZone reads the name of a place's zone, with its capitals put right. A city
// alone is enough where only one continent has a zone of that name.
func findZone(typed string) (string, bool) {
	if strings.EqualFold(typed, "utc") {
		return "UTC", true
	}
	parts := strings.Split(typed, "/")
	if len(parts) == 1 && typed != "" {
		var found []string
		for _, c := range continents {
			if zone, ok := findZone(c + "/" + typed); ok {
				found = append(found, zone)
			}
		}
		return strings.Join(found, ""), len(found) == 1
	}
	if len(parts) < 2 || strings.EqualFold(parts[0], "etc") {
		return "", false
	}
	for i, p := range parts {
		parts[i] = capitals(p)
	}
	for _, z := range []string{typed, strings.Join(parts, "/")} {
		if _, err := time.LoadLocation(z); err == nil {
			return z, true
		}
	}
	return "", false
}

// capitals gives each word of "new_york" or "port-au-prince" its capital, but
// for the small ones inside.
func capitals(s string) string {
	out := []byte(strings.ToLower(s))
	start := true
	for i, c := range out {
		if start && c >= 'a' && c <= 'z' {
			out[i] = c - 'a' + 'A'
		}
		start = c == '_' || c == '-'
	}
	name := string(out)
	for _, small := range []string{"_Of_", "_Es_", "-Au-", "_And_"} {
		name = strings.ReplaceAll(name, small, strings.ToLower(small))
	}
	return name
}

func planShow(a *ask) (*answer, error) {
	s := a.desk.somebody(a.msg.Person)
	lines := []chat.Line{a.say("me.show.name", "name", said(s.Name))}
	if s.Zone != "" {
		lines = append(lines, a.say("me.show.zone", "zone", s.Zone))
	} else {
		lines = append(lines, a.say("me.nozone"))
	}
	if len(s.Games) > 0 {
		lines = append(lines, a.say("me.show.games", "n", len(s.Games)))
	}
	lines = append(lines, a.say("me.show.rest"))
	return only(a.post(lines...))
}
