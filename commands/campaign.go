package commands

import (
	"strings"
	"time"

	"drumhead/campaign"
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
	"drumhead/storage"
)

// campaignGame is how a campaign stands among a person's games.
const campaignGame = "campaign"

func campaignCommands() []command {
	region := args.Param{Name: "region", Kind: args.Region, Optional: true, Help: "a region of the campaign"}
	return []command{
		{Spec: args.Spec{Name: "campaign start", Stays: true, Help: "from a built-in or a file", Example: "/campaign start osier", Files: true,
			Params: []args.Param{{Name: "campaign", Kind: args.Word, Optional: true, Help: "a built-in one: osier"}}}, plan: planStart},
		{Spec: args.Spec{Name: "campaign join", Help: "take a home, and a region beside it", Example: "/campaign join Withy Lock",
			Params: []args.Param{{Name: "home", Kind: args.Region, Optional: true, Help: "a free home; the first one if left out"}}}, plan: planJoin},
		{Spec: args.Spec{Name: "campaign map", Mode: args.Private, Help: "who holds what; links of one region", Example: "/campaign map Alder Ford",
			Params: []args.Param{region}}, plan: planMap},
		{Spec: args.Spec{Name: "campaign gazette", Help: "the last round, or round N", Example: "/campaign gazette 1",
			Params: []args.Param{{Name: "round", Kind: args.Number, Optional: true, Help: "which round"}}}, plan: planGazette},
		{Spec: args.Spec{Name: "campaign round", Mode: args.Private, Help: "organiser: close the round now", Example: "/campaign round",
			Params: []args.Param{{Name: "round", Kind: args.Number, Optional: true, Help: "the round to close, to be sure"}}}, plan: planRound},
		{Spec: args.Spec{Name: "campaign time-up"}, timer: true, plan: planRoundTime},
		{Spec: args.Spec{Name: "campaign unopposed"}, timer: true, plan: planUnopposed},
	}
}

// atlas is a campaign as it is shown: its state, and the ledger that it lies in,
// which knows the people behind its pseudonyms.
type atlas struct {
	proof.Campaign
	ask  *ask
	view *view
}

// campaign finds the campaign that somebody means: the one here, else the only
// one that they play in.
func (a *ask) campaign() (atlas, error) {
	if c, ok := proof.CampaignOf(a.here.game); ok {
		return atlas{c, a, a.here}, nil
	}
	var found []atlas
	for _, g := range a.desk.somebody(a.msg.Person).Games {
		if g.What != campaignGame {
			continue
		}
		v, err := a.there(g.Place)
		if err != nil {
			return atlas{}, err
		}
		if c, ok := proof.CampaignOf(v.game); ok {
			found = append(found, atlas{c, a, v})
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return atlas{}, refuse("/campaign start osier", "campaign.refuse.none")
	}
	return atlas{}, refuse("", "campaign.refuse.which", "n", len(found))
}

// atlasOf is the campaign of a view that is known to have one.
func atlasOf(a *ask, v *view) atlas {
	c, _ := proof.CampaignOf(v.game)
	return atlas{c, a, v}
}

func (t atlas) say(id string, pairs ...any) chat.Line { return t.view.speaker().Say(id, pairs...) }

func (t atlas) title() reason.Name { return reason.Name(t.File.Title) }

// named is a region's title, to be shown.
func (t atlas) named(region string) reason.Name {
	r, _ := t.File.Region(region)
	return reason.Name(r.Title)
}

// name is what a player is called, for sorting.
func (t atlas) name(pseudonym string) string {
	return strings.ToLower(t.view.who(pseudonym).Text)
}

// clock is a time as the asker reads it; a post that nobody asked for has the
// clock of who started the campaign.
func (t atlas) clock(ms int64) chat.Span {
	who := t.ask.msg.Person
	if who == "" {
		who = t.view.person(t.By)
	}
	return t.ask.desk.when(time.UnixMilli(ms), who)
}

// until says when a round closes.
func (t atlas) until() chat.Line {
	if t.Until == 0 {
		return t.say("campaign.until.organiser")
	}
	return t.say("campaign.until.time", "time", t.clock(t.Until))
}

// region finds the region that somebody means by its title, its home or its id,
// or by the beginning of just one.
func (t atlas) region(said, example string) (campaign.Region, error) {
	key := args.Key(said)
	var fits []campaign.Region
	for _, r := range t.File.Regions {
		for _, name := range []string{r.Title, r.ID, r.Home} {
			if name != "" && args.Key(name) == key {
				return r, nil
			}
		}
		if key != "" && (strings.HasPrefix(args.Key(r.Title), key) || r.Home != "" && strings.HasPrefix(args.Key(r.Home), key)) {
			fits = append(fits, r)
		}
	}
	switch len(fits) {
	case 1:
		return fits[0], nil
	case 0:
		return campaign.Region{}, t.noRegion(said, example)
	}
	var names []reason.Name
	for _, r := range fits {
		names = append(names, reason.Name(r.Title))
	}
	return campaign.Region{}, refuse(example, "campaign.refuse.several", "region", reason.Name(said), "names", names)
}

// noRegion refuses a name that no region has, with the nearest, or with all.
func (t atlas) noRegion(said, example string) error {
	var titles []reason.Name
	byKey, keys := map[string]reason.Name{}, []string{}
	for _, r := range t.File.Regions {
		titles = append(titles, reason.Name(r.Title))
		byKey[args.Key(r.Title)] = reason.Name(r.Title)
		keys = append(keys, args.Key(r.Title))
	}
	if near := source.Nearest(args.Key(said), keys); near != "" {
		return refuse(example, "campaign.refuse.region_near", "region", reason.Name(said), "near", byKey[near])
	}
	return refuse(example, "campaign.refuse.region", "region", reason.Name(said), "regions", titles)
}

// campaignNames lists regions for completion.
func campaignNames(a *ask, k args.Kind) []string {
	if k != args.Region {
		return nil
	}
	t, err := a.campaign()
	if err != nil {
		return nil
	}
	var out []string
	for _, r := range t.File.Regions {
		out = append(out, r.Title)
	}
	return out
}

// planStart begins a campaign here, from a file of the organiser's or a built-in.
func planStart(a *ask) (*answer, error) {
	if t, running := proof.CampaignOf(a.here.game); running {
		return nil, refuse("/campaign map", "campaign.refuse.started", "title", reason.Name(t.File.Title), "round", t.Round)
	}
	if !a.msg.Organiser {
		return nil, refuse("", "campaign.refuse.organiser.start")
	}
	name, b, err := a.campaignFile()
	if err != nil {
		return nil, err
	}
	f, err := campaign.Parse(b)
	if err != nil {
		return nil, err
	}
	if err := a.desk.store.Shelf(shelfFiles).Put(a.ctx, storage.KeyValue{Key: f.SHA256, Value: b}); err != nil {
		return nil, err
	}
	return act1(act{args: campaign.Start{File: name, SHA256: f.SHA256, Organiser: true, Until: a.closing(f, a.msg.Person)}, tell: tellStart})
}

// campaignFile gives the bytes to start from. What somebody called their file
// stays out of the ledger.
func (a *ask) campaignFile() (name string, b []byte, err error) {
	if len(a.msg.Files) > 0 {
		return "file", a.msg.Files[0].Bytes, nil
	}
	name = strings.ToLower(a.value("campaign"))
	if name == "" {
		name = campaign.Builtins()[0]
	}
	b, ok := campaign.Builtin(name)
	if !ok {
		return "", nil, refuse("/campaign start osier", "campaign.refuse.builtin", "name", reason.Name(name), "names", campaign.Builtins())
	}
	return name, b, nil
}

// closing is when a round that begins now will close: so many days later by the
// clock of who runs it, at the next full hour.
func (a *ask) closing(f *campaign.File, who chat.Person) int64 {
	zone, err := time.LoadLocation(a.desk.somebody(who).Zone)
	if err != nil {
		zone = time.UTC
	}
	t := a.now.In(zone).AddDate(0, 0, f.RoundDays)
	hour := t.Truncate(time.Hour)
	if hour.Before(t) {
		hour = hour.Add(time.Hour)
	}
	return hour.UnixMilli()
}

func tellStart(d *done) (told, error) {
	t := atlasOf(d.ask, d.after)
	p := chat.Post{Entry: int64(d.rec.Seq), Lines: []chat.Line{
		t.say("campaign.started", "title", t.title(), "regions", len(t.File.Regions)),
		t.say("campaign.round", "round", t.Round, "until", t.until()),
	}}
	for _, r := range t.File.Regions {
		if t.Waits(r.ID) {
			p.Lines = append(p.Lines, t.say("campaign.free", "home", reason.Name(r.Title), "side", reason.Name(r.Home)))
		}
	}
	p.Choices = choices(chat.Choice{Label: "Join", Command: "/campaign join"}, chat.Choice{Label: "Map", Command: "/campaign map"})
	set, err := t.roundTimer()
	return told{posts: []chat.Post{p}, set: set}, err
}

// planJoin takes up a home, and a free region beside it.
func planJoin(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	join := campaign.Join{}
	if said := a.value("home"); said != "" {
		r, err := t.region(said, "/campaign join")
		if err != nil {
			return nil, err
		}
		join.Home = r.ID
	}
	if err := campaign.Check(t.State, campaign.Command{By: t.view.seats[a.msg.Person], Act: join}); err != nil {
		return nil, t.peopled(err)
	}
	return act1(act{place: t.view.place, args: join, tell: tellJoin})
}

func tellJoin(d *done) (told, error) {
	t := atlasOf(d.ask, d.after)
	me, _ := t.Player(d.rec.Player)
	home, _ := t.File.Region(me.Home)
	line := t.say("campaign.joined.alone", "who", reason.Person(me.ID), "side", reason.Name(home.Home), "home", reason.Name(home.Title))
	for _, r := range t.Holds(me.ID) {
		if r.ID != me.Home {
			line = t.say("campaign.joined.with", "who", reason.Person(me.ID), "side", reason.Name(home.Home), "home", reason.Name(home.Title), "region", reason.Name(r.Title))
		}
	}
	free := 0
	for _, r := range t.File.Regions {
		if t.Waits(r.ID) {
			free++
		}
	}
	p := chat.Post{Entry: int64(d.rec.Seq), Lines: []chat.Line{line, t.say("campaign.homes", "n", free)}}
	p.Choices = choices(chat.Choice{Label: "Map", Command: "/campaign map"})
	if free > 0 {
		p.Choices = choices(chat.Choice{Label: "Join", Command: "/campaign join"}, p.Choices[0])
	}
	a := d.ask
	return told{posts: []chat.Post{p}}, a.desk.plays(a.ctx, a.msg.Community, a.msg.Person, game{Place: t.view.place, What: campaignGame})
}
