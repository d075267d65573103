package commands

import (
	"fmt"
	"strconv"
	"time"

	"drumhead/campaign"
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/storage"
)

// QuietRounds is after how many rounds without a battle the bot closes no more
// rounds by itself: a campaign that sleeps is left to sleep.
const QuietRounds = 3

// roundTimer is the timer that closes the present round; none if an organiser does.
func (t atlas) roundTimer() ([]storage.Timer, error) {
	if t.Until == 0 {
		return nil, nil
	}
	set, err := timer("campaign.round", time.UnixMilli(t.Until), "campaign time-up", args.Values{"round": strconv.Itoa(t.Round)})
	return []storage.Timer{set}, err
}

// planRound closes the round for an organiser. What cannot be undone takes a
// second post, whose button repeats the thing.
func planRound(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	if !a.msg.Organiser {
		return nil, refuse("/campaign map", "campaign.refuse.organiser.round")
	}
	n, said := a.values.Number("round")
	if !said {
		p := a.post(t.say("campaign.close.ask", "round", t.Round, "until", t.until()),
			t.say("campaign.close.so_far", "n", len(t.Now.Results), "claims", len(t.Claims)))
		p.Choices = choices(chat.Choice{Label: fmt.Sprintf("Close round %d", t.Round),
			Command: fmt.Sprintf("/campaign round %d", t.Round), Once: true, Who: []chat.Person{a.msg.Person}})
		return only(p)
	}
	return act1(t.close(n, a.msg.Person, false))
}

// planRoundTime closes the round whose time is up.
func planRoundTime(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	n, _ := a.values.Number("round")
	return act1(t.close(n, t.view.person(t.By), true))
}

// close is the act that ends a round and begins the next.
func (t atlas) close(round int, clock chat.Person, bot bool) act {
	next := campaign.Close{Round: round, Organiser: !bot, Until: t.ask.closing(t.File, clock)}
	if len(t.Now.Results) == 0 && t.Quiet()+1 >= QuietRounds {
		next.Until = 0
	}
	return act{place: t.view.place, command: next.Name(), args: next, bot: bot, tell: tellRound}
}

func tellRound(d *done) (told, error) {
	t := atlasOf(d.ask, d.after)
	lines, err := t.gazette(t.Round - 1)
	if err != nil {
		return told{}, err
	}
	closed, _ := t.Numbered(t.Round - 1)
	p := chat.Post{Entry: int64(d.rec.Seq), To: chat.Destination{Page: flat(t.say("campaign.gazette.page", "title", t.title(), "round", closed.Number))},
		Lines: lines, Pictures: t.chart(closed).picture(), Choices: choices(
			chat.Choice{Label: "Map", Command: "/campaign map"}, chat.Choice{Label: "Standings", Command: "/standings"})}
	set, err := t.roundTimer()
	out := told{posts: []chat.Post{p}, set: set}
	if len(set) == 0 {
		out.cancel = []string{"campaign.round"}
	}
	return out, err
}

// planGazette shows a round again: the last one that closed, or the one named.
func planGazette(a *ask) (*answer, error) {
	t, err := a.campaign()
	if err != nil {
		return nil, err
	}
	n, said := a.values.Number("round")
	if !said {
		n = max(t.Round-1, 1)
	}
	round, ok := t.Numbered(n)
	if !ok {
		return nil, refuse("/campaign gazette", "campaign.refuse.unplayed", "round", n, "now", t.Round)
	}
	lines, err := t.gazette(n)
	if err != nil {
		return nil, err
	}
	p := a.post(lines...)
	p.Pictures = t.chart(round).picture()
	return only(p)
}
