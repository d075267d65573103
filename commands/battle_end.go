package commands

import (
	"errors"
	"time"

	"drumhead/campaign"
	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// clock sets the battle's timer for who moves.
func (f field) clock(till time.Time) ([]storage.Timer, error) {
	t, err := timer(f.clockName(), till, "battle time-up", args.Values{"battle": number64(f.seq)})
	return []storage.Timer{t}, err
}

// over tells that play is at an end, and lets the result stand by itself after
// a while.
func (f field) over(d *done) (told, error) {
	post := chat.Post{Entry: int64(d.rec.Seq), Lines: append(f.summary(), f.say("battle.over.ask", "one", f.mover(0), "two", f.mover(1), "hours", agreeHours)),
		Notify:  []chat.Person{f.person(0), f.person(1)},
		Choices: choices(chat.Choice{Label: "Agree", Command: "/battle agree", Who: f.both()}, chat.Choice{Label: "Dispute", Command: "/battle dispute", Who: f.both(), Form: flat(f.say("battle.result.form"))})}
	set, err := timer(f.clockName(), f.due(agreeHours), "battle stand", args.Values{"battle": number64(f.seq)})
	return told{posts: []chat.Post{post, f.boardEdit(time.Time{})}, set: []storage.Timer{set}}, err
}

func (f field) both() []chat.Person { return []chat.Person{f.person(0), f.person(1)} }

// summary is the battle on four lines: the score, where it came from, who fell.
func (f field) summary() []chat.Line {
	o := f.Outcome()
	lines := []chat.Line{f.say("battle.over.head_"+f.Why, "title", f.title(), "turns", f.Turn, "one", f.player(0), "mine", o.Score[0], "two", f.player(1), "theirs", o.Score[1])}
	for side := range o.Score {
		var from []reason.Reason
		for _, t := range o.Taken {
			if t.Points[side] > 0 {
				from = append(from, reason.New("battle.over.from", "at", reason.Name(f.Objective(t.Objective)), "n", t.Points[side]))
			}
		}
		if len(from) > 0 {
			lines = append(lines, f.say("battle.over.points", "player", f.player(side), "from", from))
		}
	}
	return append(lines, f.say("battle.over.fell", "one", f.player(0), "lost", o.Lost[0], "size", o.Size[0], "two", f.player(1), "gone", o.Lost[1], "number", o.Size[1]))
}

// result says who won.
func (f field) result() chat.Line {
	switch {
	case f.Winner == battle.Nobody:
		return f.say("battle.result.draw", "title", f.title())
	case f.Conceded != battle.Nobody:
		return f.say("battle.result.conceded", "player", f.player(f.Winner), "other", f.player(f.Conceded), "title", f.title())
	}
	return f.say("battle.result.won", "player", f.player(f.Winner), "title", f.title())
}

// planFinish proposes to end the battle as it stands.
func planFinish(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	return f.ending(battle.Finish{Battle: f.seq})
}

// planPlay plays on: no to a proposal to end it.
func planPlay(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	if late, err := f.movedOn(endsAgreement); late != nil || err != nil {
		return late, err
	}
	return f.ending(battle.Play{Battle: f.seq})
}

// planAgree agrees to a proposal or to the result.
func planAgree(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	if late, err := f.movedOn(endsAgreement); late != nil || err != nil {
		return late, err
	}
	return f.ending(battle.Agree{Battle: f.seq})
}

// planDispute objects to the result. What about stays in the player's words.
func planDispute(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	if late, err := f.movedOn(endsAgreement); late != nil || err != nil {
		return late, err
	}
	do, words := battle.Dispute{Battle: f.seq}, a.value("words")
	if words != "" {
		if do.Said, err = a.salt("dispute", words); err != nil {
			return nil, err
		}
	}
	act, err := f.tried(do)
	if err != nil {
		return nil, f.named(err)
	}
	if words != "" {
		act.words = []string{"dispute"}
	}
	act.tell = func(d *done) (told, error) {
		if err := a.desk.disputes(a.ctx, a.msg.Community, f.view.place); err != nil {
			return told{}, err
		}
		f := f.at(d.after)
		head := f.say("battle.disputed", "player", reason.Person(d.rec.Player))
		if words != "" {
			head = f.say("battle.disputes", "player", reason.Person(d.rec.Player), "words", said(words))
		}
		p := chat.Post{Entry: int64(d.rec.Seq), Lines: []chat.Line{head, f.say("battle.frozen")}}
		p.Choices = choices(chat.Choice{Label: "Agree after all", Command: "/battle agree", Who: f.both()})
		return told{posts: []chat.Post{p}, cancel: []string{f.clockName()}}, nil
	}
	return act1(act)
}

// planConcede gives the battle away. What cannot be undone takes a second post,
// whose button repeats the thing.
func planConcede(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	if late, err := f.movedOn(endsBattle); late != nil || err != nil {
		return late, err
	}
	do := battle.Concede{Battle: f.seq}
	if _, err := f.tried(do); err != nil {
		return nil, f.named(err)
	}
	if a.value("sure") == "" {
		p := a.post(f.say("battle.concede.ask", "title", f.title(), "other", f.player(battle.Other(f.side()))))
		p.To.Only = a.msg.Person
		p.Choices = choices(f.choice("Concede "+string(f.title()), "/battle concede surely", []chat.Person{a.msg.Person}))
		return only(p)
	}
	return f.ending(do)
}

// planStand lets a result stand that nobody objected to.
func planStand(a *ask) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	act, err := f.act(battle.Agree{Battle: f.seq})
	if err != nil {
		return nil, err
	}
	act.bot = true
	act.tell, act.then = f.tellEnding, f.counted
	return act1(act)
}

// ending is an act that may end the battle.
func (f field) ending(do battle.Do) (*answer, error) {
	act, err := f.tried(do)
	if err != nil {
		return nil, f.named(err)
	}
	act.tell, act.then = f.tellEnding, f.counted
	return act1(act)
}

// tellEnding tells of a proposal, of one's agreement, or of the end.
func (f field) tellEnding(d *done) (told, error) {
	events, err := battleEvents(d.rec)
	if err != nil {
		return told{}, err
	}
	f = f.at(d.after)
	post := chat.Post{Entry: int64(d.rec.Seq)}
	out := told{}
	for _, e := range events {
		switch e := e.(type) {
		case *battle.Proposed:
			other := battle.Other(e.Side)
			post.Lines = []chat.Line{f.say("battle.proposed", "player", f.player(e.Side), "other", f.mover(other), "one", f.player(0), "mine", f.Score[0], "two", f.player(1), "theirs", f.Score[1])}
			post.Notify = []chat.Person{f.person(other)}
			post.Choices = choices(chat.Choice{Label: "Agree", Command: "/battle agree", Who: post.Notify},
				chat.Choice{Label: "Play on", Command: "/battle play", Who: post.Notify})
		case *battle.Withdrawn:
			post.Lines = []chat.Line{f.withdrawn(d.rec.Player, e)}
			post.Notify = []chat.Person{f.person(battle.Other(f.SideOf(d.rec.Player)))}
		case *battle.Finished:
			post.Lines = append(post.Lines, f.summary()...)
		case *battle.Agreed:
			if f.Stage == battle.Ended {
				continue
			}
			post.Lines = append(post.Lines, f.say("battle.agreed", "player", f.player(e.Side)))
			if f.Disputed == [2]bool{} { // time goes on to count, or does so again
				stands, err := timer(f.clockName(), f.due(agreeHours), "battle stand", args.Values{"battle": number64(f.seq)})
				if err != nil {
					return out, err
				}
				out.set = []storage.Timer{stands}
			}
		case *battle.End:
			return f.tellEnd(d, post)
		}
	}
	out.posts = []chat.Post{post}
	return out, nil
}

// withdrawn says that a proposal stands no more: answered with no, or taken back.
func (f field) withdrawn(by string, e *battle.Withdrawn) chat.Line {
	if f.SideOf(by) == e.Side {
		return f.say("battle.withdrew", "player", f.player(e.Side))
	}
	return f.say("battle.plays_on", "player", reason.Person(by), "other", f.mover(e.Side))
}

// tellEnd is the last post of a battle, with its report.
func (f field) tellEnd(d *done, post chat.Post) (told, error) {
	post.Lines = append(post.Lines, f.result())
	if f.Terms.Region != "" {
		if c, err := f.ask.campaignOf(f.Terms); err == nil {
			post.Lines = append(post.Lines, f.say("battle.result.region", "region", c.named(f.Terms.Region), "title", c.title()))
			if _, counts := f.countable(c, d); !counts {
				post.Lines = append(post.Lines, f.say("battle.result.uncounted", "title", c.title()))
			}
		}
	}
	post.Lines = append(post.Lines, f.say("battle.result.handovers", "n", f.Handovers, "turns", f.Turn), f.say("battle.result.story"))
	post.Files = f.reportFiles(d.after.head.Size - 1)
	post.Choices = choices(chat.Choice{Label: "Write", Command: "/tell", Form: "A line for the story", Who: f.both()}, chat.Choice{Label: "Report", Command: "/battle report"})
	for side := range f.Players {
		if err := f.ask.desk.ends(f.ask.ctx, f.ask.msg.Community, f.person(side), game{Place: f.view.place, What: battleGame}); err != nil {
			return told{}, err
		}
	}
	return told{posts: []chat.Post{post, f.boardEdit(time.Time{})}, cancel: []string{f.clockName()}}, nil
}

// counted lets an ended battle count in the campaign whose region was at stake.
// A result that the campaign would not take, because it has moved on meanwhile,
// is left out, and the last post says so.
func (f field) counted(d *done) ([]act, error) {
	f = f.at(d.after)
	if f.Stage != battle.Ended || f.Terms.Campaign == "" {
		return nil, nil
	}
	c, err := f.ask.campaignOf(f.Terms)
	var gone *reason.Refusal
	if errors.As(err, &gone) {
		return nil, nil // there is no such campaign any more; the battle's own result stands
	}
	if err != nil {
		return nil, err
	}
	result, counts := f.countable(c, d)
	if !counts {
		return nil, nil
	}
	return []act{{place: c.view.place, command: result.Name(), args: result, bot: true, tell: tellResult}}, nil
}

// countable is the battle as the campaign would count it, false if it would not.
func (f field) countable(c atlas, d *done) (campaign.Result, bool) {
	result, ok := f.campaignResult(c, d)
	return result, ok && campaign.Check(c.State, campaign.Command{By: campaign.Bot, Act: result}) == nil
}

// campaignResult is the battle as the campaign counts it.
func (f field) campaignResult(c atlas, d *done) (campaign.Result, bool) {
	o := f.Outcome()
	var seats [2]string
	for side := range seats {
		seat, in := c.view.seats[f.person(side)]
		if !in {
			return campaign.Result{}, false
		}
		seats[side] = seat
	}
	r := campaign.Result{How: campaign.HowBattle,
		Battle: &campaign.Battle{Ledger: d.rec.Ledger.String(), Leaf: d.leaf.String(), Seq: int64(d.rec.Seq)},
		Score:  &campaign.Score{Players: seats[:], Region: f.Terms.Region, Scores: o.Score[:]}}
	if f.Conceded != battle.Nobody {
		r.Score.Scores = nil // who gives it away loses, whatever stood on the board
	}
	if o.Winner != battle.Nobody {
		r.Score.Winner = seats[o.Winner]
	}
	for _, u := range o.Units {
		r.Units = append(r.Units, campaign.Deeds{Player: seats[u.Side], Unit: u.Key, Fought: u.Fought, Fell: u.Gone != "", Broke: len(u.Broke)})
	}
	return r, true
}
