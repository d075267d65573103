package commands

import (
	"strconv"
	"strings"

	"drumhead/campaign"
	"drumhead/commands/chat"
	"drumhead/engine/reason"
)

// tellCampaign tells what an entry of a campaign came to: a claim, an objection
// or a result.
func tellCampaign(d *done) (told, error) {
	t := atlasOf(d.ask, d.after)
	post := chat.Post{Entry: int64(d.rec.Seq)}
	for _, b := range d.rec.Events {
		e, err := campaign.ParseEvent(b)
		if err != nil {
			return told{}, err
		}
		switch e := e.(type) {
		case *campaign.Claimed:
			t.tellClaim(e, &post)
		case *campaign.Objected:
			t.tellObjection(e, atlasOf(d.ask, d.before), &post)
		case *campaign.Resulted:
			post.Lines = append(post.Lines, t.say("result."+e.How, "score", t.score(e.Score)))
			c := campaign.Counted{Score: e.Score, How: e.How, Outcome: e.Outcome}
			if line := t.outcome(c); line != nil {
				post.Lines = append(post.Lines, line)
			}
		case *campaign.Graded:
			if line := t.rise(e, d); line != nil {
				post.Lines = append(post.Lines, line)
			}
		}
	}
	out := told{posts: []chat.Post{post}}
	return out, t.claims(atlasOf(d.ask, d.before).State, &out)
}

// tellClaim asks the other side whether it was so, and if they said otherwise
// asks both which it was.
func (t atlas) tellClaim(e *campaign.Claimed, post *chat.Post) {
	other := e.Players[0]
	if other == e.By {
		other = e.Players[1]
	}
	mine, theirs := t.view.person(e.By), t.view.person(other)
	post.Notify = []chat.Person{theirs}
	if e.Against == 0 {
		id := "result.claim"
		if e.Instead > 0 {
			id = "result.corrected"
		}
		post.Lines = []chat.Line{
			t.say(id, "who", reason.Person(e.By), "score", t.score(e.Score), "other", reason.Person(other)),
			t.say("result.until", "time", t.clock(e.Until)),
		}
		post.Choices = choices(
			chat.Choice{Label: "Right", Command: "/result right " + strconv.Itoa(e.Claim), Once: true, Who: []chat.Person{theirs}},
			chat.Choice{Label: "Not so", Command: "/result not so " + strconv.Itoa(e.Claim), Once: true, Who: []chat.Person{theirs}})
		return
	}
	earlier, _ := t.Claim(e.Against)
	post.Lines = []chat.Line{
		t.say("result.two", "who", reason.Person(e.By), "score", t.score(e.Score), "other", reason.Person(other), "earlier", t.score(earlier.Score)),
		t.say("result.settle"),
	}
	post.Choices = choices(
		chat.Choice{Label: short(e.Score), Command: "/result right " + strconv.Itoa(e.Claim), Who: []chat.Person{theirs}},
		chat.Choice{Label: short(earlier.Score), Command: "/result right " + strconv.Itoa(e.Against), Who: []chat.Person{mine}})
	if post.Choices[0].Label == post.Choices[1].Label {
		post.Choices[0].Label, post.Choices[1].Label = "The later", "The earlier"
	}
}

// tellObjection says that a claim does not count, and what can be done now.
func (t atlas) tellObjection(e *campaign.Objected, before atlas, post *chat.Post) {
	c, _ := before.Claim(e.Claim)
	if c.By == e.By {
		post.Lines = []chat.Line{t.say("result.withdrawn", "who", reason.Person(e.By), "score", t.score(c.Score))}
		return
	}
	post.Notify = []chat.Person{t.view.person(c.By)}
	post.Lines = []chat.Line{
		t.say("result.objected", "who", reason.Person(e.By), "score", t.score(c.Score)),
		t.say("result.otherwise", "command", typed(exampleResult), "rule", typed("/result rule "+strconv.Itoa(e.Claim))),
	}
}

// score is a result in words, the winner first.
func (t atlas) score(s campaign.Score) chat.Line {
	one, other, scores := s.Players[0], s.Players[1], s.Scores
	if s.Winner == other {
		one, other = other, one
		if len(scores) == 2 {
			scores = []int{scores[1], scores[0]}
		}
	}
	var high, at chat.Line
	if len(scores) == 2 {
		high = t.say("result.score.high", "one", scores[0], "other", scores[1])
	}
	if s.Region != "" {
		at = t.say("result.score.at", "region", t.named(s.Region))
	}
	id := "result.score.beat"
	if s.Winner == "" {
		id = "result.score.drew"
	}
	return t.say(id, "one", reason.Person(one), "other", reason.Person(other), "high", high, "at", at)
}

// short is a score as a label: "8 to 6", or how it ended if no score was said.
func short(s campaign.Score) string {
	switch {
	case len(s.Scores) == 2:
		return strconv.Itoa(s.Scores[0]) + " to " + strconv.Itoa(s.Scores[1])
	case s.Winner == "":
		return "A draw"
	}
	return "A win"
}

// rise tells of a unit that reached a grade, with the sum that took it there. A
// unit that sinks back is not news.
func (t atlas) rise(g *campaign.Graded, d *done) chat.Line {
	if g.Experience < g.Enough || !t.risen(g) {
		return nil
	}
	id := "campaign.rise.are"
	name := t.unit(g.Player, g.Unit)
	if !plural(string(name)) {
		id = "campaign.rise.is"
	}
	return t.say(id, "unit", name, "grade", g.To, "sum", t.sum(g, d), "n", g.Experience, "enough", g.Enough)
}

// risen tells whether a change of grade is a rise of the present round.
func (t atlas) risen(g *campaign.Graded) bool {
	for _, r := range t.Now.Rises {
		if r == (campaign.Rise{Player: g.Player, Unit: g.Unit, From: g.From, To: g.To}) {
			return true
		}
	}
	return false
}

// sum is how a unit's experience came about: "7 + 2 fought + 3 broke a unit".
func (t atlas) sum(g *campaign.Graded, d *done) chat.Line {
	var line chat.Line
	for _, b := range d.rec.Events {
		e, err := campaign.ParseEvent(b)
		l, ok := e.(*campaign.Learned)
		if err != nil || !ok || l.Player != g.Player || l.Unit != g.Unit {
			continue
		}
		line = t.say("campaign.sum.before", "n", l.Before)
		for _, part := range []struct {
			id string
			n  int
		}{{"fought", l.Fought}, {"broke", l.Broke}, {"won", l.Won}, {"fell", l.Fell}} {
			switch {
			case part.n > 0:
				line = append(line, t.say("campaign.sum."+part.id, "n", part.n, "units", l.Deeds)...)
			case part.n < 0:
				line = append(line, t.say("campaign.sum.less", "n", -part.n, "why", t.say("campaign.sum.because."+part.id))...)
			}
		}
	}
	return line
}

// plural tells whether a unit's name speaks of several: "Fen Riders are", "the
// Sluice Mortar is".
func plural(name string) bool {
	name = strings.ToLower(name)
	for _, end := range []string{"men", "folk", "people", "guard"} {
		if strings.HasSuffix(name, end) {
			return true
		}
	}
	return strings.HasSuffix(name, "s") && !strings.HasSuffix(name, "ss")
}
