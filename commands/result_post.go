package commands

import (
	"slices"
	"strconv"
	"time"

	"drumhead/campaign"
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// tellResult tells what an entry about a battle came to: a report that waits
// for the other side, an objection, or a battle that counts.
func tellResult(d *done) (told, error) {
	t := atlasOf(d.ask, d.after)
	post := chat.Post{Entry: int64(d.rec.Seq)}
	var rises []chat.Line
	var learnt *campaign.Learned
	for _, raw := range d.rec.Events {
		e, err := campaign.ParseEvent(raw)
		if err != nil {
			return told{}, err
		}
		switch e := e.(type) {
		case *campaign.Claimed:
			t.tellClaim(e, &post)
		case *campaign.Objected:
			t.tellObjection(e, &post)
		case *campaign.Resulted:
			t.tellCounted(e, &post)
		case *campaign.Learned:
			learnt = e
		case *campaign.Graded:
			if e.Experience > learnt.Before { // a unit that sinks back is no news
				rises = append(rises, t.rise(e, learnt))
			}
		}
	}
	for _, c := range t.Claims {
		if c.Disputed {
			if err := d.ask.desk.disputes(d.ask.ctx, d.ask.msg.Community, t.view.place); err != nil {
				return told{}, err
			}
		}
	}
	post.Lines = append(post.Lines, rises...)
	out := told{posts: []chat.Post{post}}
	if there, ok := t.toBattle(rises); ok {
		out.posts = append(out.posts, there)
	}
	return out, t.timers(atlasOf(d.ask, d.before).State, &out)
}

// ofBattle tells what an entry of a campaign says of a battle that ended with an
// entry of some ledger: its region, then the rises. Nothing for other entries.
func (t atlas) ofBattle(rec storage.Record, ledger string, end int64) []chat.Line {
	var lines []chat.Line
	var learnt *campaign.Learned
	for _, raw := range rec.Events {
		e, err := campaign.ParseEvent(raw)
		if err != nil {
			return nil
		}
		switch e := e.(type) {
		case *campaign.Resulted:
			if e.Battle == nil || e.Battle.Ledger != ledger || e.Battle.Seq != end {
				return nil
			}
			lines = append(lines, t.outcome(campaign.Counted{Score: e.Score, Outcome: e.Outcome}))
		case *campaign.Learned:
			learnt = e
		case *campaign.Graded:
			if learnt != nil && e.Experience > learnt.Before {
				lines = append(lines, t.rise(e, learnt))
			}
		}
	}
	return compact(lines)
}

// tellClaim asks the other side whether it was so; if they said otherwise it
// asks both which it was.
func (t atlas) tellClaim(e *campaign.Claimed, post *chat.Post) {
	other := e.Players[0]
	if other == e.By {
		other = e.Players[1]
	}
	mine, theirs := []chat.Person{t.view.person(e.By)}, []chat.Person{t.view.person(other)}
	agree := "/campaign agree " + strconv.Itoa(e.Claim)
	post.Notify = theirs
	said := t.say("campaign.saidso", "who", t.called(e.By), "battle", t.score(e.Score), "report", e.Claim)
	if e.Instead > 0 {
		said = t.say("campaign.corrected", "who", t.called(e.By), "battle", t.score(e.Score), "report", e.Claim)
	}
	if e.Against == 0 {
		post.Lines = []chat.Line{said, t.say("campaign.counts", "time", t.clock(e.Until), "who", reason.Person(other))}
		post.Choices = choices(chat.Choice{Label: "Right", Command: agree, Who: theirs},
			chat.Choice{Label: "Not so", Command: "/campaign object " + strconv.Itoa(e.Claim), Who: theirs})
		return
	}
	earlier, _ := t.Claim(e.Against)
	post.Lines = []chat.Line{said, t.say("campaign.saidso", "who", t.called(other), "battle", t.score(earlier.Score), "report", earlier.Number),
		t.say("campaign.differ"), t.say("campaign.ruled", "command", typed(resultExample))}
	post.Choices = choices(chat.Choice{Label: short(e.Score), Command: agree, Who: theirs},
		chat.Choice{Label: short(earlier.Score), Command: "/campaign agree " + strconv.Itoa(e.Against), Who: mine})
	if short(e.Score) == short(earlier.Score) {
		post.Choices[0].Label, post.Choices[1].Label = "The first", "The second"
	}
}

// tellObjection says that a report does not count, and what can be done now.
func (t atlas) tellObjection(e *campaign.Objected, post *chat.Post) {
	c, open := t.Claim(e.Claim)
	if !open {
		post.Lines = []chat.Line{t.say("campaign.withdrawn", "who", reason.Person(e.By))}
		return
	}
	post.Notify = []chat.Person{t.view.person(c.By)}
	post.Lines = []chat.Line{t.say("campaign.denied.head", "who", t.called(e.By), "battle", t.score(c.Score), "report", c.Number),
		t.say("campaign.denied.next", "command", typed(resultExample))}
}

// tellCounted tells of a battle that counts, and what it did to the map.
func (t atlas) tellCounted(e *campaign.Resulted, post *chat.Post) {
	post.Lines = []chat.Line{t.say("campaign.how."+e.How, "battle", t.score(e.Score), "round", t.Round)}
	if line := t.outcome(campaign.Counted{Score: e.Score, Outcome: e.Outcome}); line != nil {
		post.Lines = append(post.Lines, line)
	}
	post.Choices = choices(chat.Choice{Label: "Map", Command: "/campaign map"}, chat.Choice{Label: "Standings", Command: "/standings"})
}

// toBattle tells the rises also where the battle was played, if that is another
// place.
func (t atlas) toBattle(rises []chat.Line) (chat.Post, bool) {
	if len(rises) == 0 || len(t.Now.Results) == 0 {
		return chat.Post{}, false
	}
	b := t.Now.Results[len(t.Now.Results)-1].Battle
	if b == nil {
		return chat.Post{}, false
	}
	v, err := t.ask.ledgerView(b.Ledger)
	if err != nil || v == nil || v.place == t.view.place {
		return chat.Post{}, false
	}
	return chat.Post{To: chat.Destination{Place: v.place}, Entry: -1, Lines: rises}, true
}

// claimTimer is the name of the timer that lets a report count.
func claimTimer(number int) string { return "campaign.claim." + strconv.Itoa(number) }

// timers sets one for each new report that nobody disputes, and cancels those
// of reports that were settled or that time alone does not settle any more.
func (t atlas) timers(before campaign.State, out *told) error {
	for _, c := range before.Claims {
		if now, open := t.Claim(c.Number); !open || now.Disputed {
			out.cancel = append(out.cancel, claimTimer(c.Number))
		}
	}
	for _, c := range t.Claims {
		if _, known := before.Claim(c.Number); known || c.Disputed {
			continue
		}
		set, err := timer(claimTimer(c.Number), time.UnixMilli(c.Until), "campaign unopposed", args.Values{"claim": strconv.Itoa(c.Number)})
		if err != nil {
			return err
		}
		out.set = append(out.set, set)
	}
	return nil
}

// score says how a battle ended: "Ann beat Bo 7 to 5 at Alder Ford".
func (t atlas) score(s campaign.Score) chat.Line {
	first, second, id, scores := s.Players[0], s.Players[1], "campaign.score.beat", s.Scores
	switch s.Winner {
	case "":
		id = "campaign.score.drew"
	case second:
		first, second = second, first
		if scores != nil {
			scores = []int{scores[1], scores[0]}
		}
	}
	line := t.say(id, "one", t.called(first), "two", t.called(second))
	if scores != nil {
		line = append(line, t.say("campaign.score.points", "one", scores[0], "two", scores[1])...)
	}
	if s.Region != "" {
		line = append(line, t.say("campaign.score.at", "region", t.named(s.Region))...)
	}
	return line
}

// called is a player's name alone: one post points at one person, who is to do
// something, and only names the others.
func (t atlas) called(player string) chat.Span { return said(t.view.who(player).Text) }

// short is a score as a label: "8 to 6", or how it ended if none was said.
func short(s campaign.Score) string {
	switch {
	case len(s.Scores) == 2:
		high, low := max(s.Scores[0], s.Scores[1]), min(s.Scores[0], s.Scores[1])
		return strconv.Itoa(high) + " to " + strconv.Itoa(low)
	case s.Winner == "":
		return "A draw"
	}
	return "A win"
}

// rise says of a unit that reached a grade how: "7 + 2 fought + 3 broke a unit
// = 12; 12 is enough".
func (t atlas) rise(e *campaign.Graded, learnt *campaign.Learned) chat.Line {
	name, several := t.unit(e.Player, e.Unit)
	id := "campaign.rise.is"
	if several {
		id = "campaign.rise.are"
	}
	return t.say(id, "unit", name, "grade", e.To, "sum", t.sum(learnt), "total", e.Experience, "enough", e.Enough)
}

// sum is a unit's experience as a sum that one can follow.
func (t atlas) sum(e *campaign.Learned) chat.Line {
	line := t.say("campaign.sum.before", "n", e.Before)
	for _, part := range []struct {
		id string
		n  int
	}{{"fought", e.Fought}, {"broke", e.Broke}, {"won", e.Won}, {"fell", e.Fell}} {
		id := "campaign.sum." + part.id
		switch {
		case part.n < 0:
			line = append(line, t.say("campaign.sum.lost", "n", -part.n)...)
		case part.id == "broke" && e.Deeds == 1 && part.n > 0:
			line = append(line, t.say("campaign.sum.broke1", "n", part.n)...)
		case part.n > 0:
			line = append(line, t.say(id, "n", part.n, "units", e.Deeds)...)
		}
	}
	return line
}

// unit is what a unit is called, and whether it is several: its owner's name
// for it in the newest battle that counted here, else its key.
func (t atlas) unit(player, key string) (name reason.Name, several bool) {
	rounds := append(slices.Clone(t.Past), t.Now)
	for i := len(rounds) - 1; i >= 0; i-- {
		for j := len(rounds[i].Results) - 1; j >= 0; j-- {
			b := rounds[i].Results[j].Battle
			if b == nil || !slices.Contains(rounds[i].Results[j].Players, player) {
				continue
			}
			if name, several, ok := t.unitIn(b.Ledger, t.view.person(player), key); ok {
				return name, several
			}
		}
	}
	return reason.Name(key), false
}
