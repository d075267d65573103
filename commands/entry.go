package commands

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"

	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/dice"
	"drumhead/storage"
)

// gathered is what a message comes to in one ledger: one batch.
type gathered struct {
	place chat.Place
	first *view // as the store has it
	now   *view // with what was decided so far
	batch storage.Batch
	dones []*done
	bound bool // a checkpoint is posted with its newest entry
}

// carryOut decides acts one after the other, tells of them, and appends all in
// one transaction. Nothing is said and nothing kept in memory before that.
func (a *ask) carryOut(acts []act) error {
	var order []*gathered
	byPlace := map[chat.Place]*gathered{}
	var before []*done
	for i := 0; i < len(acts); i++ {
		act := acts[i]
		if act.place == "" {
			act.place = a.msg.Place
		}
		g := byPlace[act.place]
		if g == nil {
			v, err := a.there(act.place)
			if err != nil {
				return err
			}
			g = &gathered{place: act.place, first: v, now: v}
			byPlace[act.place] = g
			order = append(order, g)
		}
		d, err := a.decide(&act, g, before)
		if err != nil {
			return err
		}
		before = append(before, d)
		if act.then != nil && !d.waits {
			more, err := act.then(d)
			if err != nil {
				return err
			}
			acts = append(acts, more...)
		}
	}
	for _, d := range before {
		if err := a.tell(d, byPlace[d.act.place]); err != nil {
			return err
		}
	}
	return a.append(order)
}

// decide makes one act's entry: legal first, then a ledger and a seal to draw
// from, then dice.
func (a *ask) decide(act *act, g *gathered, before []*done) (*done, error) {
	c, err := a.commandOf(act, g, before)
	if err != nil {
		return nil, err
	}
	if err := a.restored(g.now); err != nil {
		return nil, err
	}
	if err := thawed(g.now, c); err != nil {
		return nil, err
	}
	mayRoll, err := g.now.game.Check(c)
	if err != nil {
		return nil, err
	}
	again := g.now.game.Again(c)
	draws := mayRoll && again == nil
	var w wish
	var seat string
	if draws {
		if w, err = a.wishFor(act, g, c); err != nil {
			return nil, err
		}
		if seat, err = a.seats(w, g, c); err != nil {
			return nil, err
		}
		if err := mayDraw(g.now); err != nil {
			return nil, err
		}
	}
	if err := a.ready(g, draws); err != nil {
		return nil, err
	}
	c.Seq = g.now.head.Size
	if c.Time = a.now; c.Time.Before(g.now.last.Time) {
		c.Time = g.now.last.Time
	}
	rec := storage.Record{Ledger: g.now.ledger, Seq: c.Seq, Head: g.now.head.Last, Time: c.Time,
		Player: c.Player, Command: c.Name, Args: c.Args}
	if len(g.dones) == 0 {
		rec.Source = string(g.now.source(a.msg.Source))
	}
	switch {
	case act.about != nil && act.about.cut != "":
		return a.resolve(act, g, rec)
	case act.about != nil:
		return a.moved(act, g, rec)
	case draws:
		wait, err := a.waitFor(w, seat, g.now, rec.Time)
		if err != nil {
			return nil, err
		}
		if wait != nil {
			return a.pend(act, g, rec, *wait)
		}
	}
	if err := a.roll(g, c, &rec, draws, again); err != nil {
		return nil, err
	}
	return a.enter(act, g, rec)
}

// commandOf is the act as the rules see it.
func (a *ask) commandOf(act *act, g *gathered, before []*done) (proof.Command, error) {
	c := proof.Command{Seq: g.now.head.Size, Time: a.now, Player: "bot", Name: act.command, Opened: act.opened}
	if c.Name == "" {
		c.Name = strings.ReplaceAll(a.command.Name, " ", ".")
	}
	if !act.bot {
		who := act.by
		if who == "" {
			who = a.msg.Person
		}
		seat, err := a.seat(g.place, who)
		if err != nil {
			return c, err
		}
		c.Player = seat
	}
	value := act.args
	if act.later != nil {
		var err error
		if value, err = act.later(before); err != nil {
			return c, err
		}
	}
	if value == nil {
		value = struct{}{}
	}
	var err error
	c.Args, err = storage.Canon(value)
	return c, err
}

// ready sees to it that a ledger is open and its seal has a key left. Both are
// appended on their own, before the command.
func (a *ask) ready(g *gathered, mayRoll bool) error {
	if !g.now.open() {
		v, err := a.desk.openLedger(a.ctx, g.place, a.msg.Community, a.now, nil)
		if err != nil {
			return err
		}
		g.first, g.now = v, v
	} else if mayRoll && len(g.dones) == 0 && g.now.book.Due() {
		v, err := a.desk.newSeal(a.ctx, g.now, a.now, renewal{why: proof.Spent, told: g.now.speaker().Say("desk.renewed_spent")})
		if err != nil {
			return err
		}
		g.first, g.now = v, v
	}
	if len(g.dones) == 0 {
		g.batch.Expect, g.batch.Players = g.now.head, a.invited[g.place]
		if len(g.batch.Players) > 0 {
			g.now = g.now.copy(g.batch.Players)
		}
	}
	return nil
}

// roll decides the command with the dice of the next key, if it may roll, or with
// those that stand again. A command that drew nothing takes no key.
func (a *ask) roll(g *gathered, c proof.Command, rec *storage.Record, draws bool, again *storage.Again) error {
	var draw *proof.Draw
	var err error
	switch {
	case again != nil:
		draw, err = g.now.book.AgainOf(*again)
	case draws:
		draw, err = g.now.book.Sealed(g.now.keys)
	default:
		rec.Events, err = g.now.game.Decide(c, dice.NewShown(nil))
		return err
	}
	if err != nil {
		return err
	}
	err = dice.Try(func() (err error) {
		rec.Events, err = g.now.game.Decide(c, draw)
		return err
	})
	if err == nil {
		draw.Fill(rec)
	}
	return err
}

// enter encodes a decided entry and goes on to the state with it.
func (a *ask) enter(act *act, g *gathered, rec storage.Record) (*done, error) {
	b, err := rec.Encode()
	if err != nil {
		return nil, fmt.Errorf("entry %d, %s: %w", rec.Seq, rec.Command, err)
	}
	d := &done{ask: a, act: act, rec: rec, leaf: storage.LeafHash(b), before: g.now}
	after := g.now.copy(nil)
	if err := after.fold(rec, d.leaf); err != nil {
		return nil, err
	}
	d.after, g.now = after, after
	g.dones = append(g.dones, d)
	g.batch.Entries = append(g.batch.Entries, storage.Entry{Seq: rec.Seq, Bytes: b})
	for _, name := range act.words {
		for _, w := range a.salted {
			if w.Name == name {
				w.Seq = rec.Seq
				g.batch.Words = append(g.batch.Words, w)
			}
		}
	}
	return d, nil
}

// tell adds what an act has to say to its ledger's batch, and the checkpoints
// that fall due by themselves.
func (a *ask) tell(d *done, g *gathered) error {
	var t told
	var err error
	switch {
	case d.waits:
		t, err = d.tellPending()
	case d.act.tell != nil:
		t, err = d.act.tell(d)
	}
	if err != nil {
		return err
	}
	if checkpointDue(d.rec) {
		t.posts = append(t.posts, d.after.checkpointPost())
	}
	g.bound = binds(t.posts)
	for i := range t.posts {
		p := &t.posts[i]
		if p.To.Place == "" && p.To.Only == "" {
			p.To.Place = d.act.place
		}
		if p.To.Place == d.act.place && p.To.Only == "" && !p.Binds {
			p.To.Thread = d.thread()
		}
		a.answering(p)
		b, err := encodePost(*p)
		if err != nil {
			return err
		}
		place := string(p.To.Place)
		if place == "" {
			place = string(p.To.Only)
		}
		g.batch.Posts = append(g.batch.Posts, storage.Post{Place: place, Bytes: b, Open: len(p.Choices) > 0})
	}
	g.batch.Set = append(g.batch.Set, t.set...)
	g.batch.Cancel = append(g.batch.Cancel, t.cancel...)
	return nil
}

// answering marks the first post that is for all where the message was given, or
// for its author, as the answer to it. What binds is a message of its own.
func (a *ask) answering(p *chat.Post) {
	own := p.To.Only == a.msg.Person
	if a.told || a.fired != nil || p.Binds || p.Edit != "" || p.To.Only != "" && !own || p.To.Place != a.from && !(own && p.To.Place == "") {
		return
	}
	p.Answers, a.told = a.heard, true
}

// append stores everything, and only then lets the new states be seen.
func (a *ask) append(order []*gathered) error {
	batches := make([]storage.Batch, len(order))
	for i, g := range order {
		b := &g.batch
		b.Community, b.Place, b.Salt = g.now.about.Community, g.now.about.Place, g.now.about.Salt
		b.Source = storage.Source(g.dones[0].rec.Source)
		if a.fired != nil && g.place == a.msg.Place {
			b.Fired = []storage.TimerRef{*a.fired}
		}
		batches[i] = *b
	}
	for i, g := range order {
		if err := a.desk.grows(a.ctx, g.place); err != nil {
			for _, before := range order[:i] {
				a.desk.days.failed(before.place)
			}
			return err
		}
	}
	if err := a.desk.store.Append(a.ctx, batches...); err != nil {
		for _, g := range order {
			a.desk.live.drop(g.place)
			a.desk.days.failed(g.place)
		}
		return err
	}
	for _, g := range order {
		a.desk.live.put(g.place, g.now)
		a.desk.days.added(g.place, g.now.last.Time, g.bound)
	}
	return nil
}

// source is what stands in an entry for a message: a stranger cannot find the
// message from it, and one message has one.
func (v *view) source(s chat.Source) storage.Source {
	if s == "" {
		return ""
	}
	m := hmac.New(sha256.New, v.about.Salt)
	m.Write([]byte(s))
	return storage.Source(hex.EncodeToString(m.Sum(nil))[:32])
}
