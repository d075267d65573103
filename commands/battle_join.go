package commands

import (
	"encoding/json"
	"fmt"
	"time"

	"drumhead/commands/chat"
	"drumhead/engine/battle"
	"drumhead/engine/muster"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
	"drumhead/storage"
)

// planBattleJoin takes an offer up: both forces come on the table, and the
// roll-off says who begins.
func planBattleJoin(a *ask) (*answer, error) {
	o, err := a.offerFor("/battle join")
	if err != nil {
		return nil, err
	}
	if f, running, err := a.playing(); err != nil || running {
		if err == nil {
			err = refuse("/battle status", "battle.refuse.running", "title", f.title())
		}
		return nil, err
	}
	p, err := a.pinned(o.Terms)
	if err != nil {
		return nil, err
	}
	me, err := a.seat("", a.msg.Person)
	if err != nil {
		return nil, err
	}
	if err := o.May(me); err != nil {
		return nil, err
	}
	theirs, err := a.sealedForce(o)
	if err != nil {
		return nil, err
	}
	mine, err := a.forceFor(a.msg.Person, p, a.value("force"), o.Terms.Points)
	if err != nil {
		return nil, err
	}
	begin := battle.Begin{Players: []string{o.By, me}, Terms: o.Terms, Offer: battle.OfferRef{Ledger: a.here.ledger.String(), Seq: o.Seq}}
	if begin.Offer.Leaf, err = a.leafOf(o.Seq); err != nil {
		return nil, err
	}
	who := [2]chat.Person{a.here.person(o.By), a.msg.Person}
	if begin.Forces, err = a.forcesOf(p, o.Terms, who, [2]muster.Force{theirs, mine}); err != nil {
		return nil, err
	}
	return a.begin(begin, [2]muster.Force{theirs, mine}, who, p)
}

// mostOffers is how many offers a post lists and lets one take up.
const mostOffers = 10

// offers lists what is offered here, with the choices of who asks.
func (a *ask) offers(list []battle.Offered) chat.Post {
	list = list[max(0, len(list)-mostOffers):]
	p := a.post(a.say("battle.status.offers", "n", len(list)))
	me := a.here.seats[a.msg.Person]
	for _, o := range list {
		to := a.say("battle.status.anybody")
		if o.To != "" {
			to = chat.Line{said(a.here.who(o.To).Text)}
		}
		title := reason.Name(o.Terms.Scenario)
		if pack, err := a.pinned(o.Terms); err == nil && pack.Scenario(o.Terms.Scenario) != nil {
			title = reason.Name(pack.Scenario(o.Terms.Scenario).Title)
		}
		seq := number64(o.Seq)
		p.Lines = append(p.Lines, a.say("battle.status.offer", "offer", number(int64(o.Seq)), "by", said(a.here.who(o.By).Text),
			"to", to, "title", title, "points", o.Terms.Points, "turns", o.Terms.Turns, "stake", a.stake(o.Terms)))
		who := []chat.Person{a.msg.Person}
		switch {
		case me != "" && o.By == me:
			p.Choices = append(p.Choices, chat.Choice{Label: "Take back " + seq, Command: "/battle decline " + seq, Who: who})
		case o.To == "" || me != "" && o.To == me:
			p.Choices = append(p.Choices, chat.Choice{Label: "Accept " + seq, Command: "/battle join " + seq, Who: who})
		}
	}
	p.Choices = choices(p.Choices...)
	return p
}

// stake names the region that an offer is about, if it is about one.
func (a *ask) stake(t battle.Terms) chat.Line {
	if t.Region == "" {
		return nil
	}
	c, err := a.campaignOf(t)
	if err != nil {
		return nil
	}
	return a.say("battle.status.stake", "region", c.named(t.Region))
}

// begin makes the entry, with what people call their units beside it.
func (a *ask) begin(b battle.Begin, forces [2]muster.Force, who [2]chat.Person, p *rules.Pack) (*answer, error) {
	names := map[string]string{}
	n := 0
	for _, f := range forces {
		for _, name := range f.Names(p) {
			n++
			names[fmt.Sprintf("u%d", n)] = name
		}
	}
	words, err := json.Marshal(names)
	if err != nil {
		return nil, err
	}
	if b.Said, err = a.salt(wordNames, string(words)); err != nil {
		return nil, err
	}
	called, err := json.Marshal(forcesCalled(forces, p))
	if err != nil {
		return nil, err
	}
	return act1(act{command: battle.CommandBegin, args: b, words: []string{wordNames}, memo: string(called), tell: func(d *done) (told, error) {
		return a.begun(d, who, names, forcesCalled(forces, p))
	}})
}

// called is a force as its owner calls it, and what it costs.
type called struct {
	Name   string `json:"name"`
	Points int    `json:"points"`
}

func forcesCalled(forces [2]muster.Force, p *rules.Pack) (out [2]called) {
	for i, f := range forces {
		out[i] = called{f.Name, f.Points(p)}
	}
	return out
}

// begun tells of a battle that has begun, and remembers that the two play it.
func (a *ask) begun(d *done, who [2]chat.Person, names map[string]string, forces [2]called) (told, error) {
	for _, w := range who {
		if err := a.desk.plays(a.ctx, a.msg.Community, w, game{Place: d.after.place, What: battleGame}); err != nil {
			return told{}, err
		}
	}
	f := field{ask: a, seq: d.rec.Seq}.at(d.after)
	f.Names = names
	return tellBegin(d, f, forces)
}

// resumeBegin makes the act of a battle whose roll-off waited.
func resumeBegin(a *ask, s *settling, memo string) (act, error) {
	do, err := battle.ParseDo(s.rec.Command, s.rec.Args)
	if err != nil {
		return act{}, err
	}
	var who [2]chat.Person
	for side, p := range do.(battle.Begin).Players {
		who[side] = a.here.person(p)
	}
	names, err := a.unitNames(a.here, s.Seq)
	if err != nil {
		return act{}, err
	}
	var forces [2]called
	if memo != "" {
		err = json.Unmarshal([]byte(memo), &forces)
	}
	return act{tell: func(d *done) (told, error) { return a.begun(d, who, names, forces) }}, err
}

// sealedForce opens the force that was sealed with an offer.
func (a *ask) sealedForce(o battle.Offered) (muster.Force, error) {
	var f muster.Force
	list, err := a.desk.store.Words(a.ctx, a.here.ledger, o.Seq)
	if err != nil {
		return f, err
	}
	for _, w := range list {
		if w.Name == wordForce {
			return f, json.Unmarshal([]byte(w.Text), &f)
		}
	}
	return f, refuse("/battle open", "battle.refuse.no_list", "player", reason.Person(o.By))
}

// leafOf is the leaf hash of an entry here.
func (a *ask) leafOf(seq uint64) (string, error) {
	for e, err := range a.desk.store.Read(a.ctx, a.here.ledger, seq, seq+1) {
		if err != nil {
			return "", err
		}
		return storage.LeafHash(e.Bytes).String(), nil
	}
	return "", storage.ErrNone
}

// forcesOf writes forces as a battle's entry has them. A unit's key is the same
// in each of its owner's battles; its grade is that of the campaign at stake.
func (a *ask) forcesOf(p *rules.Pack, t battle.Terms, who [2]chat.Person, forces [2]muster.Force) ([][]battle.Model, error) {
	grade := func(int, string) string { return "" }
	if t.Campaign != "" {
		c, err := a.campaignOf(t)
		if err != nil {
			return nil, err
		}
		if err := c.mayContest(who[0], who[1], t.Region); err != nil {
			return nil, err
		}
		grade = func(side int, key string) string { return c.Grade(c.view.seats[who[side]], key) }
	}
	var out [][]battle.Model
	for side, f := range forces {
		nth := map[string]int{}
		var list []battle.Model
		for _, u := range f.Units {
			nth[u.Kind]++
			m := battle.Model{Kind: u.Kind, Size: u.Size, Key: fmt.Sprintf("%s %d", u.Kind, nth[u.Kind])}
			for _, known := range p.Grades {
				if g := grade(side, m.Key); g == known && g != p.Grades[0] {
					m.Grade = g
				}
			}
			list = append(list, m)
		}
		out = append(out, list)
	}
	return out, nil
}

// tellBegin shows both forces, the roll-off, and whose move it is; and puts up
// the board.
func tellBegin(d *done, f field, forces [2]called) (told, error) {
	events, err := battleEvents(d.rec)
	if err != nil {
		return told{}, err
	}
	begun := events[0].(*battle.Begun)
	post := chat.Post{Entry: int64(d.rec.Seq), Lines: []chat.Line{f.say("battle.begun.head", "title", f.title(), "entry", number(int64(d.rec.Seq)))}}
	for side, force := range forces {
		post.Lines = append(post.Lines, f.say("battle.begun.force", "player", f.player(side), "force", reason.Name(force.Name), "points", force.Points, "units", sizes(f, side)))
	}
	last := begun.Rolls[len(begun.Rolls)-1]
	high, low := max(last[0], last[1]), min(last[0], last[1])
	post.Lines = append(post.Lines, f.say("battle.begun.first", "player", f.player(f.First), "high", high, "low", low, "ties", len(begun.Rolls)-1, "grade", gradeOf(f, d.rec)))
	till := f.due(f.Terms.Hours)
	post.Lines = append(post.Lines, f.yourMove(till))
	post.Notify = []chat.Person{f.person(f.Side)}
	post.Choices = choices(chat.Choice{Label: "Start my turn", Command: "/order"}, chat.Choice{Label: "Standing orders", Command: "/battle ahead"})
	board := f.boardEdit(till)
	board.Edit = ""
	set, err := f.clock(till)
	return told{posts: []chat.Post{post, board}, set: set}, err
}

// yourMove names who moves and until when.
func (f field) yourMove(till time.Time) chat.Line {
	return f.say("battle.your_move", "player", f.mover(f.Side), "till", f.ask.desk.when(till, f.person(f.Side)))
}

// sizes lists a side's units with how many models stand.
func sizes(f field, side int) []reason.Reason {
	var out []reason.Reason
	for _, u := range f.Units {
		if u.Side == side && u.Stands() {
			out = append(out, f.sized(u))
		}
	}
	return out
}

// sized is a unit with its models; of one model that has lost some of itself also
// what is left of it.
func (f field) sized(u battle.Unit) reason.Reason {
	if left, all, name := f.worn(u); u.Size == 1 && left < all {
		return reason.New("battle.worn", "n", u.Left, "unit", f.unit(u.ID), "left", left, "all", all, "name", name)
	}
	return reason.New("battle.size", "n", u.Left, "unit", f.unit(u.ID))
}

// worn is how much of the model that falls next is left: its wounds, its hull.
func (f field) worn(u battle.Unit) (left, all int, name reason.Name) {
	all = f.Pack.Wounds(rules.Group{Unit: u.Kind, Models: 1})
	return all - u.Hurt, all, reason.Name(f.Pack.WoundsCalled())
}

// battleEvents reads the events of an entry of a battle.
func battleEvents(rec storage.Record) ([]battle.Event, error) {
	var out []battle.Event
	for _, b := range rec.Events {
		e, err := battle.ParseEvent(b)
		if err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	return out, nil
}

// gradeOf says how the dice of an entry were fixed; nothing if none fell.
func gradeOf(f field, rec storage.Record) chat.Line {
	if rec.Draw == 0 && rec.Again == nil {
		return nil
	}
	return f.view.grade(rec)
}
