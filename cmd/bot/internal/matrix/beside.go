//go:build goolm

package matrix

import (
	"context"
	"errors"
	"slices"
	"time"

	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// beside is what a message of ours shows beside its words: the messages of its
// pictures and files. An edit of the words changes, keeps or takes away each.
type beside struct {
	List []besideOne
	Time time.Time
}

// besideOne is a picture or a file in the room.
type besideOne struct {
	Txn     string // of the part that brought it
	Event   id.EventID
	Looks   string
	Picture bool
}

func besideKey(rid id.RoomID, words id.EventID) string {
	return key("beside", string(rid), string(words))
}

// besides notes what a part changed of what a message shows.
func (a *Adapter) besides(p parcel, done delivered) error {
	a.taking.Lock() // an echo may note another
	defer a.taking.Unlock()
	return a.noteBeside(p, done)
}

// noteBeside does so; a.taking is held.
func (a *Adapter) noteBeside(p parcel, done delivered) error {
	var b beside
	at := besideKey(p.Room, p.Beside)
	if _, err := a.keep.read(at, &b); err != nil {
		return err
	}
	gone := done.root()
	if p.Redacts != "" {
		gone = p.Redacts
	}
	b.Time = done.Time
	i := slices.IndexFunc(b.List, func(o besideOne) bool { return o.Event == gone || o.Txn == p.Txn })
	switch one := (besideOne{p.Txn, done.root(), p.Looks, p.Picture}); {
	case p.Redacts != "":
		b.List = slices.DeleteFunc(b.List, func(o besideOne) bool { return o.Event == gone })
	case i >= 0:
		b.List[i] = one
	default:
		b.List = append(b.List, one)
	}
	if len(b.List) == 0 {
		a.keep.put(at, nil)
		return nil
	}
	return a.keep.set(at, b)
}

// attach brings the pictures and files of a post. Those of the post that it edits
// stay where they are the same; a picture that changed is changed in its place; what
// is no more is taken away, because it may show what was hidden since.
func (a *Adapter) attach(ctx context.Context, rid id.RoomID, root id.EventID, words delivered, p chat.Post) error {
	recipes := append(slices.Clone(p.Pictures), p.Files...)
	over := txnOf(rid, p.ID, -1)
	if _, before, err := a.sent(over); before || err != nil {
		return err
	}
	var old beside
	if words.Edits != "" {
		if _, err := a.keep.read(besideKey(rid, words.root()), &old); err != nil {
			return err
		}
	}
	text := parcel{Room: rid, Txn: txnOf(rid, p.ID, 0) + asText, Beside: words.root()}
	if file, ok, err := a.sent(text.Txn); err != nil {
		return err
	} else if ok { // it went before the words
		if err := a.besides(text, file); err != nil {
			return err
		}
	}
	for n, r := range recipes {
		part := parcel{Post: p.ID, Room: rid, Txn: txnOf(rid, p.ID, n+1), Beside: words.root(), Picture: n < len(p.Pictures)}
		if err := a.attachOne(ctx, root, p, r, part, &old); err != nil {
			return err
		}
	}
	if words.Edits == "" {
		return nil
	}
	for _, one := range old.List {
		if one.Txn == text.Txn {
			continue
		}
		gone := parcel{Post: p.ID, Room: rid, Txn: txnOf(rid, p.ID+chat.PostID(one.Event), -1), Beside: words.root(), Redacts: one.Event}
		if err := a.takeAway(ctx, gone); err != nil {
			return err
		}
	}
	return a.keep.set(key("sent", over), words)
}

// attachOne brings one picture or file, and strikes what it stands for off the old
// ones.
func (a *Adapter) attachOne(ctx context.Context, root id.EventID, p chat.Post, r chat.Recipe, part parcel, old *beside) error {
	if done, ok, err := a.sent(part.Txn); ok || err != nil {
		old.strike(func(o besideOne) bool { return o.Event == done.root() })
		return err
	}
	if a.parts.Make == nil {
		return nil
	}
	if err := a.ready(part); err != nil {
		return err
	}
	if before, again, err := a.pending(part.Txn); err != nil {
		return err
	} else if again { // uploaded, and perhaps sent
		old.strike(func(o besideOne) bool { return o.Event == before.Changes })
		_, err := a.dispatch(ctx, before)
		return err
	}
	one, err := a.make(ctx, r, part.Picture)
	if err != nil {
		a.log.Error("matrix: a picture or file could not be made", "kind", r.Kind, "name", r.Name, "err", err)
		return nil // the words of a post are enough without it
	}
	part.Looks = one.looks()
	if _, same := old.strike(func(o besideOne) bool { return o.Looks == part.Looks }); same {
		return nil
	}
	var before besideOne
	if part.Picture {
		before, _ = old.strike(func(o besideOne) bool { return o.Picture })
		part.Changes = before.Event
	}
	part.Content, err = a.attachment(ctx, part.Room, root, part.Changes, p, one)
	if errors.Is(err, chat.ErrLater) {
		return err
	}
	if err != nil {
		a.log.Error("matrix: a picture or file could not be uploaded", "kind", r.Kind, "name", r.Name, "err", err)
		if before.Event != "" { // it shows what is no more
			old.List = append(old.List, before)
		}
		return nil
	}
	_, err = a.dispatch(ctx, part)
	return err
}

// strike takes the first that fits out of the list.
func (b *beside) strike(fits func(besideOne) bool) (one besideOne, ok bool) {
	i := slices.IndexFunc(b.List, fits)
	if i < 0 {
		return one, false
	}
	one = b.List[i]
	b.List = slices.Delete(b.List, i, i+1)
	return one, true
}

// takeAway takes a message of ours away. One that is not there is away.
func (a *Adapter) takeAway(ctx context.Context, p parcel) error {
	if _, ok, err := a.sent(p.Txn); ok || err != nil {
		return err
	}
	_, err := a.dispatch(ctx, p)
	if errors.Is(err, chat.ErrGone) || errors.Is(err, chat.ErrMuted) {
		a.log.Warn("matrix: a picture or file could not be taken away", "event", p.Redacts, "err", err)
		return a.besides(p, delivered{Time: a.now()})
	}
	return err
}
