package commands

import (
	"context"
	"errors"
	"strings"

	"drumhead/campaign"
	"drumhead/commands/chat"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// shelfUnits keeps what people call their units in a campaign: ledger, line end,
// person, line end, key → name.
const shelfUnits = "units"

// stake settles which region of which campaign a battle would be for: the ledger
// of the campaign and the region's id, as they stand in the terms. It refuses
// what the two could not fight for as things stand.
func (a *ask) stake(region string, one, other chat.Person) (campaignLedger, id string, err error) {
	t, err := a.campaign()
	if err != nil {
		return "", "", err
	}
	r, err := t.region(region, "/campaign map")
	if err != nil {
		return "", "", err
	}
	for _, p := range []chat.Person{one, other} {
		if _, joined := t.Player(t.view.seats[p]); !joined {
			return "", "", refuse("/campaign join", "result.refuse.stranger", "who", a.desk.who(p))
		}
	}
	if err := campaign.Contest(t.State, r.ID, t.view.seats[one], t.view.seats[other]); err != nil {
		return "", "", t.spoken(err)
	}
	return t.view.ledger.String(), r.ID, nil
}

// spoken puts the people of the campaign into a refusal that will be shown with
// the pseudonyms of another place.
func (t atlas) spoken(err error) error {
	var r *reason.Refusal
	if !errors.As(err, &r) {
		return err
	}
	said := *r
	said.Reason.Args = append([]reason.Arg{}, r.Reason.Args...)
	for i, arg := range said.Reason.Args {
		if p, ok := arg.Value.(reason.Person); ok {
			said.Reason.Args[i].Value = t.view.who(string(p))
		}
	}
	return &said
}

// career is what a unit has become in a campaign before a battle begins: its
// grade, and the experience behind it. A campaign that is not here knows none.
func (a *ask) career(campaignLedger string, owner chat.Person, key string) (grade string, experience int, err error) {
	v, err := a.ledgerView(campaignLedger)
	if err != nil || v == nil {
		return "", 0, err
	}
	t := atlasOf(a, v)
	if t.File == nil {
		return "", 0, nil
	}
	u, _ := t.Unit(v.seats[owner], key)
	return t.File.Grade(u.Experience).ID, u.Experience, nil
}

// campaignResult gives the act that makes a battle count in the campaign of its
// terms: for the `then` of the entry that ended it. No act comes of a battle
// without a campaign, or that the campaign cannot count (somebody left, it was
// counted before): the battle ends all the same.
func campaignResult(d *done, s battle.State) ([]act, error) {
	if s.Terms.Campaign == "" || s.Stage != battle.Ended {
		return nil, nil
	}
	a := d.ask
	v, err := a.ledgerView(s.Terms.Campaign)
	if err != nil || v == nil {
		return nil, err
	}
	t := atlasOf(a, v)
	result := campaign.Result{How: campaign.HowBattle, Score: t.fought(d, s),
		Battle: &campaign.Battle{Ledger: d.rec.Ledger.String(), Seq: int64(d.rec.Seq), Leaf: d.leaf.String()}}
	if result.Score == nil {
		return nil, nil
	}
	result.Units = deeds(s, result.Score.Players)
	if err := campaign.Check(t.State, campaign.Command{By: campaign.Bot, Act: result}); err != nil {
		a.desk.log.Warn("a battle cannot count in its campaign", "battle", d.rec.Ledger, "entry", d.rec.Seq, "campaign", s.Terms.Campaign, "err", err)
		return nil, nil
	}
	count := t.act(result, true)
	count.tell = func(c *done) (told, error) { return tellBattle(c, d, s) }
	return []act{count}, nil
}

// fought is a battle's end as the campaign knows its people; nil if one of them
// is not in it.
func (t atlas) fought(d *done, s battle.State) *campaign.Score {
	score := campaign.Score{Scores: []int{s.Score[0], s.Score[1]}, Region: s.Terms.Region}
	for _, p := range s.Players {
		seat, ok := t.view.seats[d.after.person(p)]
		if !ok {
			return nil
		}
		score.Players = append(score.Players, seat)
	}
	if s.Winner != battle.Nobody {
		score.Winner = score.Players[s.Winner]
	}
	return &score
}

// deeds is what each unit did, with its owner as the campaign knows them.
func deeds(s battle.State, players []string) []campaign.Deeds {
	var out []campaign.Deeds
	for _, u := range s.Units {
		out = append(out, campaign.Deeds{Player: players[u.Side], Unit: u.Key, Fought: u.Fought, Broke: len(u.Broke), Fell: u.Gone != ""})
	}
	return out
}

// tellBattle tells a battle's result where the campaign is talked of, and where
// the battle was played what its units have become.
func tellBattle(c, d *done, s battle.State) (told, error) {
	if err := c.ask.remember(c, s); err != nil {
		return told{}, err
	}
	out, err := tellCampaign(c)
	if err != nil || c.act.place == d.act.place {
		return out, err
	}
	t := atlasOf(c.ask, c.after)
	there := chat.Post{To: chat.Destination{Place: d.act.place}, Entry: -1}
	for _, b := range c.rec.Events {
		e, err := campaign.ParseEvent(b)
		if err != nil {
			return out, err
		}
		switch e := e.(type) {
		case *campaign.Resulted:
			if e.Region != "" {
				there.Lines = append(there.Lines, t.outcome(campaign.Counted{Score: e.Score, Outcome: e.Outcome}))
			}
		case *campaign.Graded:
			if line := t.rise(e, c); line != nil {
				there.Lines = append(there.Lines, line)
			}
		}
	}
	if len(there.Lines) > 0 {
		out.posts = append(out.posts, there)
	}
	return out, nil
}

// remember keeps what the units of a battle are called, for the gazette.
func (a *ask) remember(c *done, s battle.State) error {
	var names []storage.KeyValue
	for _, u := range s.Units {
		name := s.Names[u.ID]
		if name == "" {
			continue
		}
		for _, seat := range campaignSeats(c, s, u.Side) {
			names = append(names, storage.KeyValue{Key: unitKey(c.rec.Ledger, seat, u.Key), Value: []byte(name)})
		}
	}
	if len(names) == 0 {
		return nil
	}
	return a.desk.store.Shelf(shelfUnits).Put(a.ctx, names...)
}

func unitKey(l storage.LedgerID, owner chat.Person, key string) string {
	return strings.Join([]string{l.String(), string(owner), key}, "\n")
}

// unit is what a unit is called: its owner's name for it, else its key.
func (t atlas) unit(player, key string) reason.Name {
	b, err := t.ask.desk.store.Shelf(shelfUnits).Get(context.WithoutCancel(t.ask.ctx), unitKey(t.view.ledger, t.view.person(player), key))
	if err != nil {
		return reason.Name(key)
	}
	return reason.Name(b)
}
