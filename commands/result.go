package commands

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"drumhead/campaign"
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// ClaimStands is how long a reported result waits for an objection.
const ClaimStands = 48 * time.Hour

func resultCommands() []command {
	claim := []args.Param{{Name: "claim", Kind: args.Number, Help: "which report"}}
	return []command{
		{Spec: args.Spec{Name: "result", Help: "report a game played elsewhere", Example: "/result Ann beat Bo 7 to 5 at Alder Ford",
			Params: []args.Param{{Name: "words", Kind: args.Words, Help: "who beat or drew whom, the score, where"}}}, plan: planResult},
		{Spec: args.Spec{Name: "standings", Mode: args.Private, Help: "of this campaign", Example: "/standings"}, plan: planStandings},
		{Spec: args.Spec{Name: "campaign agree", Help: "a report is right", Example: "/campaign agree 1", Params: claim}, plan: planAgreeClaim},
		{Spec: args.Spec{Name: "campaign object", Help: "a report is not so, or take yours back", Example: "/campaign object 1", Params: claim}, plan: planObjectClaim},
	}
}

// spokenResult is "Ann beat Bo 7 to 5 at Alder Ford"; score and place may be
// left out.
var spokenResult = regexp.MustCompile(`(?i)^(.+?)\s+(beat|drew with|drew|lost to)\s+(.+?)(?:\s+(\d{1,4})\s*(?:to|-|:|–)\s*(\d{1,4}))?(?:\s+(?:at|for|in)\s+(.+?))?[.!]?$`)

// example of a result as it is said.
const resultExample = "/result Ann beat Bo 7 to 5 at Alder Ford"

// planResult reports a game that was played elsewhere. By one of the two it
// counts once the other agrees, or lets it stand; an organiser's word counts at once.
func planResult(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	score, people, err := t.spoken(a.value("words"))
	if err != nil {
		return nil, err
	}
	if a.msg.Organiser && !has(people, a.msg.Person) {
		r := campaign.Result{How: campaign.HowRuled, Organiser: true, Score: &score}
		return act1(act{place: t.view.place, command: r.Name(), args: r, tell: tellResult})
	}
	r := campaign.Report{Score: score, Until: a.now.Add(ClaimStands).UnixMilli()}
	return act1(act{place: t.view.place, command: r.Name(), args: r, tell: tellClaim})
}

// spoken reads a result as it is said, from the campaign's own players.
func (t atlas) spoken(words string) (campaign.Score, []chat.Person, error) {
	m := spokenResult.FindStringSubmatch(strings.TrimSpace(words))
	if m == nil {
		return campaign.Score{}, nil, refuse(resultExample, "campaign.refuse.words")
	}
	var s campaign.Score
	var people []chat.Person
	for _, name := range []string{m[1], m[3]} {
		who, err := t.ask.find(name, resultExample)
		if err != nil {
			return s, nil, err
		}
		seat, ok := t.view.seats[who]
		if !ok {
			return s, nil, refuse("/campaign join", "campaign.refuse.notin", "who", t.ask.desk.who(who))
		}
		s.Players, people = append(s.Players, seat), append(people, who)
	}
	switch strings.ToLower(m[2]) {
	case "beat":
		s.Winner = s.Players[0]
	case "lost to":
		s.Winner = s.Players[1]
	}
	if m[4] != "" {
		one, _ := strconv.Atoi(m[4]) // at most four digits
		two, _ := strconv.Atoi(m[5])
		s.Scores = []int{one, two}
	}
	if m[6] != "" {
		r, err := t.region(m[6], resultExample)
		if err != nil {
			return s, nil, err
		}
		s.Region = r.ID
	}
	return s, people, nil
}

// score says how a battle ended: "Ann beat Bo 7 to 5 at Alder Ford".
func (t atlas) score(s campaign.Score) chat.Line {
	first, second, id := s.Players[0], s.Players[1], "campaign.score.beat"
	scores := s.Scores
	switch s.Winner {
	case "":
		id = "campaign.score.drew"
	case second:
		first, second = second, first
		if scores != nil {
			scores = []int{scores[1], scores[0]}
		}
	}
	line := t.say(id, "one", reason.Person(first), "two", reason.Person(second))
	if scores != nil {
		line = append(line, t.say("campaign.score.points", "one", scores[0], "two", scores[1])...)
	}
	if s.Region != "" {
		line = append(line, t.say("campaign.score.at", "region", t.named(s.Region))...)
	}
	return line
}

// tellClaim tells of a report that waits for the other side; of two that differ
// it asks which is right.
func tellClaim(d *done) (told, error) {
	t := atlasOf(d.ask, d.after)
	if len(t.Now.Results) > len(atlasOf(d.ask, d.before).Now.Results) {
		return tellResult(d) // the other side had said the same: agreed
	}
	c := t.Claims[len(t.Claims)-1]
	other := c.Score.Players[0]
	if other == c.By {
		other = c.Score.Players[1]
	}
	they := t.view.person(other)
	p := chat.Post{Entry: int64(d.rec.Seq), Notify: []chat.Person{they}}
	if c.Disputed {
		p.Lines = []chat.Line{t.say("campaign.differ")}
		for _, open := range t.Claims {
			if !open.Disputed || !sameTwo(open.Score, c.Score) {
				continue
			}
			p.Lines = append(p.Lines, t.say("campaign.saidso", "who", reason.Person(open.By), "battle", t.score(open.Score)))
			p.Choices = append(p.Choices, chat.Choice{Label: flat(t.score(open.Score)), Command: "/campaign agree " + strconv.Itoa(open.Number)})
		}
		p.Choices = choices(p.Choices...)
		return told{posts: []chat.Post{p}}, nil
	}
	p.Lines = []chat.Line{
		t.say("campaign.saidso", "who", reason.Person(c.By), "battle", t.score(c.Score)),
		t.say("campaign.counts", "time", t.clock(c.Until), "who", reason.Person(other))}
	p.Choices = choices(
		chat.Choice{Label: "Right", Command: "/campaign agree " + strconv.Itoa(c.Number), Who: []chat.Person{they}},
		chat.Choice{Label: "Not so", Command: "/campaign object " + strconv.Itoa(c.Number), Who: []chat.Person{they}})
	set, err := timer(claimTimer(c.Number), time.UnixMilli(c.Until), "campaign unopposed", args.Values{"claim": strconv.Itoa(c.Number)})
	return told{posts: []chat.Post{p}, set: []storage.Timer{set}, cancel: t.stale()}, err
}

// sameTwo tells whether two scores are of the same pair of players.
func sameTwo(a, b campaign.Score) bool {
	return a.Players[0] == b.Players[0] && a.Players[1] == b.Players[1] || a.Players[0] == b.Players[1] && a.Players[1] == b.Players[0]
}

func claimTimer(number int) string { return "campaign.claim." + strconv.Itoa(number) }

// stale names the timers of claims that do not wait any more: those settled,
// and those disputed, which time alone does not settle.
func (t atlas) stale() []string {
	var names []string
	for n := max(1, t.Claimed-staleDepth); n <= t.Claimed; n++ {
		if c, open := t.Claim(n); !open || c.Disputed {
			names = append(names, claimTimer(n))
		}
	}
	return names
}

// staleDepth is how many claims back timers are cancelled: more than can be open.
const staleDepth = 64

func planAgreeClaim(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	n, _ := a.values.Number("claim")
	return act1(act{place: t.view.place, command: campaign.Agree{}.Name(), args: campaign.Agree{Claim: n}, tell: tellResult})
}

func planObjectClaim(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	n, _ := a.values.Number("claim")
	return act1(act{place: t.view.place, command: campaign.Object{}.Name(), args: campaign.Object{Claim: n}, tell: func(d *done) (told, error) {
		t := atlasOf(d.ask, d.after)
		lines := []chat.Line{t.say("campaign.denied.head", "who", reason.Person(d.rec.Player)), t.say("campaign.denied.next", "command", typed(resultExample))}
		if _, open := t.Claim(n); !open {
			lines = []chat.Line{t.say("campaign.withdrawn", "who", reason.Person(d.rec.Player))}
		}
		return told{posts: []chat.Post{{Entry: int64(d.rec.Seq), Lines: lines}}, cancel: t.stale()}, nil
	}})
}

// planUnopposed lets a report count that nobody objected to in time.
func planUnopposed(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	n, _ := a.values.Number("claim")
	r := campaign.Result{Claim: n, How: campaign.HowUnopposed}
	return act1(act{place: t.view.place, command: r.Name(), args: r, bot: true, tell: tellResult})
}

// tellResult tells of a battle that counts now: how it ended, what it did to
// the map, and which units learnt from it.
func tellResult(d *done) (told, error) {
	t := atlasOf(d.ask, d.after)
	c := t.Now.Results[len(t.Now.Results)-1]
	p := chat.Post{Entry: int64(d.rec.Seq), Lines: []chat.Line{t.say("campaign.recorded", "battle", t.score(c.Score), "round", t.Round)}}
	if line := t.outcome(c); line != nil {
		p.Lines = append(p.Lines, line)
	}
	rises, err := t.rises(d.rec.Events)
	if err != nil {
		return told{}, err
	}
	p.Lines = append(p.Lines, rises...)
	p.Choices = choices(chat.Choice{Label: "Map", Command: "/campaign map"}, chat.Choice{Label: "Standings", Command: "/standings"})
	return told{posts: []chat.Post{p}, cancel: t.stale()}, nil
}

// rises says of each unit that reached a grade how: "7 + 2 fought + 3 broke a
// unit = 12; 12 is enough".
func (t atlas) rises(events []storage.Object) ([]chat.Line, error) {
	var lines []chat.Line
	var learnt *campaign.Learned
	for _, raw := range events {
		e, err := campaign.ParseEvent(raw)
		if err != nil {
			return nil, err
		}
		switch e := e.(type) {
		case *campaign.Learned:
			learnt = e
		case *campaign.Graded:
			if learnt == nil || e.Experience < learnt.Before {
				continue
			}
			lines = append(lines, t.say("campaign.rise", "unit", t.unit(e.Player, e.Unit), "grade", e.To, "sum", t.sum(learnt), "total", e.Experience, "enough", e.Enough))
		}
	}
	return lines, nil
}

// sum is a unit's experience as a sum that one can follow.
func (t atlas) sum(e *campaign.Learned) chat.Line {
	line := t.say("campaign.sum.before", "n", e.Before)
	for _, part := range []struct {
		id string
		n  int
	}{{"campaign.sum.fought", e.Fought}, {"campaign.sum.broke", e.Broke}, {"campaign.sum.won", e.Won}, {"campaign.sum.fell", e.Fell}} {
		if part.n != 0 {
			line = append(line, t.say(part.id, "n", part.n, "units", e.Deeds)...)
		}
	}
	return line
}

// unit is what a unit is called: its kind, and which of them if it is not the
// first. The key is the kind's id and an ordinal.
func (t atlas) unit(player, key string) reason.Name {
	kind, ordinal := key, ""
	if i := strings.LastIndexAny(key, ".-"); i > 0 {
		if _, err := strconv.Atoi(key[i+1:]); err == nil {
			kind, ordinal = key[:i], key[i+1:]
		}
	}
	words := strings.FieldsFunc(kind, func(r rune) bool { return r == '-' || r == '_' || r == ' ' })
	for i, w := range words {
		words[i] = strings.ToUpper(w[:1]) + w[1:]
	}
	name := strings.Join(words, " ")
	if ordinal != "" && ordinal != "1" {
		name += " " + ordinal
	}
	return reason.Name(name)
}

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
	return only(a.post(lines...))
}

// campaignWaiting lists reports that somebody has to answer.
func campaignWaiting(a *ask, v *view, who chat.Person) []due {
	t := atlasOf(a, v)
	if t.File == nil {
		return nil
	}
	seat := v.seats[who]
	var list []due
	for _, c := range t.Claims {
		if c.By != seat && (c.Score.Players[0] == seat || c.Score.Players[1] == seat) {
			list = append(list, due{line: t.say("campaign.due", "title", t.title(), "battle", t.score(c.Score)), till: time.UnixMilli(c.Until).UTC(), work: 1})
		}
	}
	return list
}
