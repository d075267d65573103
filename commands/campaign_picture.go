package commands

import (
	"fmt"

	"drumhead/campaign"
	"drumhead/commands/chat"
	"drumhead/commands/picture"
	"drumhead/commands/words"
	"drumhead/engine/reason"
)

// chart is a campaign's map in one round, to be drawn: who held what when it
// closed, or holds it now, what changed hands, and where battles were fought.
type chart struct {
	atlas
	of      campaign.Round
	held    []string          // by region, in the order of the file
	from    map[string]string // of regions taken in battle, who held them before
	fought  map[string]bool
	letters []string // of the players, in the order of joining
}

func (t atlas) chart(of campaign.Round) chart {
	c := chart{atlas: t, of: of, held: of.Held, from: map[string]string{}, fought: map[string]bool{}}
	if c.held == nil {
		c.held = t.Holders
	}
	took := map[string]bool{}
	for _, r := range of.Results {
		c.fought[r.Region] = true
		took[r.Region] = took[r.Region] || r.Outcome == campaign.Took
	}
	for _, v := range of.Taken { // a home or its neighbour that somebody joined with is no conquest
		if _, known := c.from[v.Region]; took[v.Region] && !known {
			c.from[v.Region] = v.From
		}
	}
	var names []string
	for _, p := range t.Players {
		names = append(names, t.view.who(p.ID).Text)
	}
	c.letters = initials(names)
	return c
}

// number is a player's place in the order of joining, which is their look on the
// map for as long as the campaign runs; -1 for nobody.
func (c chart) number(player string) int {
	for i, p := range c.Players {
		if p.ID == player {
			return i
		}
	}
	return -1
}

// before is who held a region before a battle took it; ok if one did.
func (c chart) before(i int) (player string, ok bool) {
	player, ok = c.from[c.File.Regions[i].ID]
	return player, ok && player != c.held[i]
}

// picture draws the map; of the present round as it stands after so many entries.
func (c chart) picture() []chat.Recipe {
	name := fmt.Sprintf("%s-round%d", slug(c.File.Title), c.of.Number)
	if c.of.Number == c.Round {
		name = fmt.Sprintf("%s-map%d", slug(c.File.Title), c.view.head.Size)
	}
	return drawn(c.scene(), name)
}

func (c chart) scene() picture.Map {
	m := picture.Map{Title: c.flat("title", "title", c.title(), "round", c.of.Number), Alt: c.alt(), Words: c.signs()}
	for i, p := range c.Players {
		m.Owners = append(m.Owners, picture.Owner{Letter: c.letters[i], Name: c.flat("owner", "who", c.view.who(p.ID), "n", len(c.holds(p.ID)))})
	}
	at := map[string]int{}
	for i, r := range c.File.Regions {
		at[r.ID] = i
		v := picture.Region{Name: r.Title, X: r.X, Y: r.Y, Owner: c.number(c.held[i]), Home: r.Home != "", Battle: c.fought[r.ID]}
		if from, ok := c.before(i); ok {
			was := c.number(from)
			v.Was = &was
		}
		m.Regions = append(m.Regions, v)
	}
	for _, l := range c.File.Links {
		m.Links = append(m.Links, picture.Link{From: at[l.Between[0]], To: at[l.Between[1]], By: l.By})
	}
	for _, s := range c.File.River {
		m.River = append(m.River, picture.Spot(s))
	}
	return m
}

func (c chart) flat(id string, pairs ...any) string {
	return words.Flat(c.say("campaign.picture."+id, pairs...))
}

func (c chart) signs() picture.Signs {
	sign := func(id string) string { return c.flat("sign." + id) }
	return picture.Signs{Battle: sign("battle"), Home: sign("home"), Road: sign("road"), River: sign("river"), Pass: sign("pass"), Was: sign("was")}
}

// holds lists the places of a player's regions in the file.
func (c chart) holds(player string) []int {
	var out []int
	for i, h := range c.held {
		if h == player {
			out = append(out, i)
		}
	}
	return out
}

// alt tells the map in words: every holder with their regions.
func (c chart) alt() string {
	said := []chat.Line{c.say("campaign.picture.title", "title", c.title(), "round", c.of.Number)}
	for _, p := range c.Players {
		if list := c.holds(p.ID); len(list) > 0 {
			said = append(said, c.say("campaign.picture.holds", "who", reason.Person(p.ID), "n", len(list), "regions", c.regions(list)))
		}
	}
	if free := c.holds(""); len(free) > 0 {
		said = append(said, c.say("campaign.picture.free", "regions", c.regions(free)))
	}
	return altOf(said...)
}

// regions names regions, each with its signs.
func (c chart) regions(list []int) chat.Line {
	var line chat.Line
	for k, i := range list {
		if k > 0 {
			line = append(line, chat.Span{Kind: chat.Plain, Text: ", "})
		}
		line = append(line, c.region(i)...)
	}
	return line
}

func (c chart) region(i int) chat.Line {
	r := c.File.Regions[i]
	battle := chat.Line(nil)
	if c.fought[r.ID] {
		battle = c.say("campaign.picture.here")
	}
	from, taken := c.before(i)
	switch {
	case taken && from != "":
		return c.say("campaign.picture.taken", "region", reason.Name(r.Title), "who", reason.Person(from), "battle", battle)
	case taken:
		return c.say("campaign.picture.won", "region", reason.Name(r.Title), "battle", battle)
	case r.Home != "" && c.held[i] != "":
		return c.say("campaign.picture.home", "region", reason.Name(r.Title), "battle", battle)
	case battle != nil:
		return c.say("campaign.picture.fought", "region", reason.Name(r.Title))
	}
	return words.Text(r.Title)
}

// table draws the standings: who holds how much, and how their battles ended.
func (t atlas) table() []chat.Recipe {
	c := t.chart(t.Now)
	s := picture.Standings{Title: c.flat("standing", "title", t.title()), Detail: c.flat("now", "round", t.Round)}
	said := []chat.Line{t.say("campaign.picture.table", "title", t.title(), "round", t.Round)}
	for i, line := range t.Standings(t.name) {
		regions := c.flat("regions", "n", line.Regions)
		number := c.number(line.Player)
		strip := picture.Strip{Place: i + 1, Owner: number, Letter: c.letters[number], Name: t.view.who(line.Player).Text, Value: line.Regions, Words: regions}
		var ends []string
		for _, end := range t.ends(line.Player) {
			strip.Battles = append(strip.Battles, picture.Battle{End: end, Letter: c.flat("letter." + end)})
			ends = append(ends, c.flat("end."+end))
		}
		id := "campaign.picture.strip"
		if len(ends) == 0 {
			id = "campaign.picture.idle"
		}
		said = append(said, c.say(id, "place", i+1, "who", reason.Person(line.Player), "regions", regions, "battles", ends))
		s.Strips = append(s.Strips, strip)
	}
	s.Alt = altOf(said...)
	return drawn(s, fmt.Sprintf("%s-standings%d", slug(t.File.Title), t.view.head.Size))
}

// ends is how a player's battles ended, in the order in which they counted.
func (t atlas) ends(player string) []string {
	var out []string
	for n := 1; n <= t.Round; n++ {
		r, _ := t.Numbered(n)
		for _, c := range r.Results {
			switch {
			case c.Players[0] != player && c.Players[1] != player:
			case c.Winner == "":
				out = append(out, "drawn")
			case c.Winner == player:
				out = append(out, "won")
			default:
				out = append(out, "lost")
			}
		}
	}
	return out
}
