package commands

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
	"drumhead/engine/battle"
	"drumhead/storage"
)

// shelfRestored keeps which ledgers may know less than the chat: a ledger's id → how
// many entries this store has of it.
const shelfRestored = "restored"

// MarkRestored marks every ledger of a store that was put back or copied: nothing is
// appended to any of them, and no die is rolled, before somebody has said what the
// chat knows. Keys that the chat may have seen must not be used again.
func MarkRestored(ctx context.Context, store storage.Store) error {
	var all []storage.KeyValue
	for head, err := range store.Ledgers(ctx) {
		if err != nil {
			return err
		}
		all = append(all, storage.KeyValue{Key: head.Ledger.String(), Value: []byte(number64(head.Size))})
	}
	return putAll(ctx, store.Shelf(shelfRestored), all)
}

// doubted tells whether a ledger is marked.
func (d *Desk) doubted(ctx context.Context, l storage.LedgerID) (bool, error) {
	_, err := d.store.Shelf(shelfRestored).Get(ctx, l.String())
	if errors.Is(err, storage.ErrNone) {
		return false, nil
	}
	return err == nil, err
}

// doubt finds out whether this ledger may know less than the chat: it was marked, or
// the chat shows posts of it that the store does not know, since the store is older
// than the chat or a copy ran beside it. Answers that stand in no outbox are no
// witness. Where a platform cannot show our own posts nothing can be noticed.
func (d *Desk) doubts(ctx context.Context, v *view) (err error) {
	if v.doubt, err = d.doubted(ctx, v.ledger); err != nil {
		return err
	}
	own, err := d.own(ctx, v)
	if err != nil {
		return err
	}
	back, err := d.adopted(ctx, v.ledger)
	if err != nil {
		return err
	}
	unknown := false
	for _, s := range own {
		id, stored := ParseStoredID(s.Post)
		if !stored || id.Ledger != v.ledger {
			continue
		}
		v.shown = max(v.shown, id.Seq)
		_, _, err := d.store.Post(ctx, id)
		switch {
		case id.Seq >= v.head.Size, errors.Is(err, storage.ErrNone) && id.Seq >= back:
			unknown = true
		case err != nil && !errors.Is(err, storage.ErrNone):
			return err
		}
	}
	if unknown && !v.doubt {
		v.doubt = true
		err = d.store.Shelf(shelfRestored).Put(ctx, storage.KeyValue{Key: v.ledger.String(), Value: []byte(number64(v.head.Size))})
	}
	if v.doubt && err == nil {
		err = d.tellMissing(ctx, v)
	}
	return err
}

// own are our own latest posts in a place; none where they cannot be read.
func (d *Desk) own(ctx context.Context, v *view) ([]chat.Seen, error) {
	if d.reread == nil {
		v.blind = true
		return nil, nil
	}
	own, err := d.reread.Own(ctx, v.place, ownPosts)
	switch {
	case err == nil:
		d.unread.read(v.ledger)
	case errors.Is(err, errors.ErrUnsupported), errors.Is(err, chat.ErrGone), errors.Is(err, chat.ErrMuted): // nor ever will be
		v.blind = true
	case ctx.Err() != nil:
		return nil, err
	default:
		d.log.Warn("our own posts could not be read again", "place", v.place, "err", err)
		d.couldNotRead(v)
	}
	return own, nil
}

// ownPosts is how many of our own latest posts are read again.
const ownPosts = 20

// restored refuses to add to a ledger that may know less than the chat.
func (a *ask) restored(v *view) error {
	switch {
	case !v.open():
		return nil
	case v.unread && !v.doubt:
		return frozen{refuse("", "restore.refuse.unread")}
	case !v.doubt:
		return nil
	}
	return frozen{refuse("/settings restored", "restore.refuse.doubt", "entry", number(int64(v.head.Size-1)))} // timers try again
}

func restoredCommand() command {
	return command{Spec: args.Spec{Name: "settings restored", Files: true, Help: "after a restore: read missing entries back, or say the last number shown here", Example: "/settings restored 41",
		Params: []args.Param{{Name: "last", Kind: args.Number, Optional: true, Help: "the highest #N in this place's posts; or hand in the files of the turns"}}}, plan: planRestored}
}

// planRestored goes on after a restore. Missing entries are read back from the files
// that hang on the turns. If the chat knows nothing more the ledger goes on under a new
// seal, and what waits for a word is ended: its key is given up. Else the ledger ends,
// and a new one begins that names it: no second history of the old one is ever made.
func planRestored(a *ask) (*answer, error) {
	v := a.here
	if !v.open() || !v.doubt {
		id, now := "restore.refuse.none", *v
		if _, err := a.desk.own(a.ctx, &now); err != nil {
			return nil, err
		}
		if v.open() && now.blind {
			id = "restore.refuse.blind"
		}
		return nil, refuse("", id)
	}
	if len(a.msg.Files) > 0 {
		return a.readBack(v)
	}
	last, given := a.values.Number("last")
	switch {
	case !given:
		return only(a.post(v.missing()...))
	case last < 0:
		return nil, refuse("/settings restored "+number64(v.head.Size-1), "restore.refuse.number", "said", strconv.Itoa(last))
	case uint64(last) < v.shown:
		return nil, refuse("/settings restored "+number64(v.shown), "restore.refuse.lower", "last", last, "shown", int(v.shown))
	}
	if asked, err := a.agreeOn(v, uint64(last)); asked != nil || err != nil {
		return asked, err
	}
	if uint64(last) >= v.head.Size {
		from := &proof.From{Ledger: v.ledger.String(), Root: base64.StdEncoding.EncodeToString(v.head.Root[:]), Size: v.head.Size, Why: proof.Restored}
		if _, err := a.desk.openLedger(a.ctx, v.place, a.msg.Community, a.now, from); err != nil {
			return nil, err
		}
		a.desk.notices.drop(v.noticed())
		return only(a.post(a.say("restore.ended", "last", last, "size", int(v.head.Size)), a.say("restore.kept")))
	}
	return a.goOn(v, a.say("restore.goes_on", "entry", number(int64(last))))
}

// deciders are the two whose battle is under way here; nobody where none is, or one of
// them is not known any more: then an organiser decides.
func (a *ask) deciders(v *view) []chat.Person {
	_, s, ok := proof.BattlesOf(v.game).Newest()
	if !ok || s.Stage == battle.Ended {
		return nil
	}
	one, two := v.person(s.Players[0]), v.person(s.Players[1])
	if one == "" || two == "" {
		return nil
	}
	return []chat.Person{one, two}
}

// shelfRestoring keeps what one of two players has said: ledger → the last number, and
// who said it.
const shelfRestoring = "restoring"

// agreeOn lets the players of a battle agree on how it goes on, or an organiser say it.
// It gives the post by which the other is asked; nil once it is agreed.
func (a *ask) agreeOn(v *view, last uint64) (*answer, error) {
	both := a.deciders(v)
	if both == nil {
		if !a.msg.Organiser {
			return nil, refuse("", "restore.refuse.organiser")
		}
		return nil, nil
	}
	if !has(both, a.msg.Person) {
		return nil, refuse("", "restore.refuse.players", "names", a.names(both))
	}
	shelf, said := a.desk.store.Shelf(shelfRestoring), number64(last)+" "
	before, err := shelf.Get(a.ctx, v.ledger.String())
	if err != nil && !errors.Is(err, storage.ErrNone) {
		return nil, err
	}
	other := both[0]
	if other == a.msg.Person {
		other = both[1]
	}
	if string(before) == said+string(other) {
		return nil, shelf.Put(a.ctx, storage.KeyValue{Key: v.ledger.String()})
	}
	if err := shelf.Put(a.ctx, storage.KeyValue{Key: v.ledger.String(), Value: []byte(said + string(a.msg.Person))}); err != nil {
		return nil, err
	}
	id := "restore.asks_on"
	if last >= v.head.Size {
		id = "restore.asks_end"
	}
	p := a.post(a.say(id, "who", a.desk.who(a.msg.Person), "last", int(last), "other", a.desk.who(other)))
	p.Notify = []chat.Person{other}
	p.Choices = choices(chat.Choice{Label: "Agree", Command: "/settings restored " + number64(last), Who: p.Notify})
	return only(p)
}

// goOn lets a ledger go on under a new seal, from which alone is drawn from now on.
func (a *ask) goOn(v *view, head chat.Line) (*answer, error) {
	sure := v.certain()
	r := renewal{why: proof.Restored, told: a.say("desk.renewed_restored")}
	lines := []chat.Line{head}
	for _, p := range sure.book.Pending() { // what an entry that was read back waits for
		if p.By != "" {
			continue // its key may have been seen: it is ended below
		}
		set, err := sure.wake(p)
		if err != nil {
			return nil, err
		}
		r.set = append(r.set, set)
	}
	if f, ok, err := a.battleIn(sure); err != nil {
		return nil, err
	} else if ok && f.Stage == battle.Playing {
		till := f.due(f.Terms.Hours)
		set, err := f.clock(till)
		if err != nil {
			return nil, err
		}
		r.set = append(r.set, set...)
		lines = append(lines, f.yourMove(till))
	}
	sure, err := a.desk.newSeal(a.ctx, sure, a.now, r)
	if err != nil {
		return nil, err
	}
	if err := a.desk.store.Shelf(shelfRestored).Put(a.ctx, storage.KeyValue{Key: v.ledger.String()}); err != nil {
		return nil, err
	}
	a.desk.notices.drop(v.noticed())
	a.here = sure
	a.views[v.place] = sure
	out := &answer{posts: []chat.Post{a.post(lines...)}}
	for _, p := range sure.book.Pending() {
		if !p.Lost {
			continue
		}
		s, err := a.settle(sure, p.Seq)
		if err != nil {
			return nil, err
		}
		lost := a.void(s, v.place, "lost")
		lost.bot = true
		out.acts = append(out.acts, lost)
	}
	return out, nil
}

// certain is a view that is doubted no more.
func (v *view) certain() *view {
	w := v.copy(nil)
	w.doubt = false
	return w
}

// missing says what this store lacks, and how it can go on.
func (v *view) missing() []chat.Line {
	say := v.speaker().Say
	lines := []chat.Line{say("restore.doubt", "entry", number(int64(v.head.Size-1)))}
	if v.shown >= v.head.Size {
		lines[0] = say("restore.missing", "first", int(v.head.Size), "last", int(v.shown))
	}
	return append(lines, say("restore.read"), say("restore.number"))
}

// tellMissing tells a place once what is missing.
func (d *Desk) tellMissing(ctx context.Context, v *view) error {
	if !d.notices.once(v.noticed()) {
		return nil
	}
	post := chat.Post{To: chat.Destination{Place: v.place}, Entry: -1, Lines: v.missing()}
	if v.shown >= v.head.Size {
		post.Choices = choices(chat.Choice{Label: "Begin anew", Command: "/settings restored " + number64(v.shown)})
	}
	list, err := d.number(ctx, chat.Message{Source: chat.Source(v.noticed())}, []chat.Post{post})
	if err == nil {
		d.notices.add(notice{what: v.noticed(), post: list[0]})
	}
	return err
}

// noticed names the restore of a ledger among what places are told once.
func (v *view) noticed() string { return fmt.Sprintf("restored:%s:%d", v.ledger, v.head.Size) }
