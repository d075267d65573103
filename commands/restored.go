package commands

import (
	"context"
	"encoding/base64"
	"errors"
	"strconv"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/proof"
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
	if len(all) == 0 {
		return nil
	}
	return store.Shelf(shelfRestored).Put(ctx, all...)
}

// doubted tells whether a ledger is marked.
func (d *Desk) doubted(ctx context.Context, l storage.LedgerID) (bool, error) {
	_, err := d.store.Shelf(shelfRestored).Get(ctx, l.String())
	if errors.Is(err, storage.ErrNone) {
		return false, nil
	}
	return err == nil, err
}

// behind tells whether the chat shows posts of this ledger that the store does not
// know, and marks it then: the store is older than the chat, or a copy ran beside it.
// Answers that stand in no outbox are no witness. Where a platform cannot show our
// own posts nothing can be noticed.
func (d *Desk) behind(ctx context.Context, v *view) (bool, error) {
	if d.reread == nil {
		return false, nil
	}
	own, err := d.reread.Own(ctx, v.place, ownPosts)
	if err != nil {
		d.log.Warn("our own posts could not be read again", "place", v.place, "err", err)
		return false, nil
	}
	for _, s := range own {
		id, stored := ParseStoredID(s.Post)
		if !stored || id.Ledger != v.ledger {
			continue
		}
		_, _, err := d.store.Post(ctx, id)
		switch {
		case id.Seq >= v.head.Size, errors.Is(err, storage.ErrNone):
			return true, d.store.Shelf(shelfRestored).Put(ctx, storage.KeyValue{Key: v.ledger.String(), Value: []byte(number64(v.head.Size))})
		case err != nil:
			return false, err
		}
	}
	return false, nil
}

// ownPosts is how many of our own latest posts are read again.
const ownPosts = 20

// restored refuses to add to a ledger that may know less than the chat.
func (a *ask) restored(v *view) error {
	if !v.open() || !v.doubt {
		return nil
	}
	return frozen{refuse("/settings restored "+number64(v.head.Size-1), "restore.refuse.doubt", "entry", number(int64(v.head.Size-1)))} // timers try again
}

func restoredCommand() command {
	return command{Spec: args.Spec{Name: "settings restored", Help: "organiser, after a restore: the last number that the chat shows", Example: "/settings restored 41",
		Params: []args.Param{{Name: "last", Kind: args.Number, Help: "the highest #N in this place's posts"}}}, plan: planRestored}
}

// planRestored goes on after a restore. If the chat knows nothing more the ledger
// goes on under a new seal, and what waits for a word is ended: its key is given up.
// Else the ledger ends, and a new one begins that names it: no second history of the
// old one is ever made.
func planRestored(a *ask) (*answer, error) {
	v := a.here
	switch {
	case !v.open() || !v.doubt:
		return nil, refuse("", "restore.refuse.none")
	case !a.msg.Organiser:
		return nil, refuse("", "restore.refuse.organiser")
	}
	last, _ := a.values.Number("last")
	if last < 0 {
		return nil, refuse("/settings restored "+number64(v.head.Size-1), "restore.refuse.number", "said", strconv.Itoa(last))
	}
	shelf := a.desk.store.Shelf(shelfRestored)
	if uint64(last) >= v.head.Size {
		from := &proof.From{Ledger: v.ledger.String(), Root: base64.StdEncoding.EncodeToString(v.head.Root[:]), Size: v.head.Size, Why: proof.Restored}
		if _, err := a.desk.openLedger(a.ctx, v.place, a.msg.Community, a.now, from); err != nil {
			return nil, err
		}
		return only(a.post(a.say("restore.ended", "last", last, "size", int(v.head.Size)), a.say("restore.kept")))
	}
	sure, err := a.desk.newSeal(a.ctx, v.certain(), a.now, renewal{why: proof.Restored, told: a.say("desk.renewed_restored")})
	if err != nil {
		return nil, err
	}
	if err := shelf.Put(a.ctx, storage.KeyValue{Key: v.ledger.String()}); err != nil {
		return nil, err
	}
	a.here = sure
	a.views[v.place] = sure
	out := &answer{posts: []chat.Post{a.post(a.say("restore.goes_on", "entry", number(int64(last))))}}
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
