//go:build goolm

package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// parcel is a part of a post on its way: remembered from before it leaves until
// it is seen in the room.
type parcel struct {
	Post    chat.PostID
	Txn     string
	Room    id.RoomID
	Content json.RawMessage
	Extra   json.RawMessage `json:",omitempty"` // a file that goes before it
	Edit    chat.PostID     `json:",omitempty"`
	Changes id.EventID      `json:",omitempty"` // the message in whose place it shows
	Redacts id.EventID      `json:",omitempty"` // the message that it takes away; it has no content
	Beside  id.EventID      `json:",omitempty"` // the message of the words that it belongs to
	Looks   string          `json:",omitempty"` // sum of a picture or file, to know it again
	Picture bool            `json:",omitempty"`
	Card    *card           `json:",omitempty"`
	Try     int
	Time    time.Time  // when it was tried last
	Told    time.Time  // the same by the house's clock
	Event   id.EventID `json:",omitempty"` // the homeserver said so; it was not seen yet
	Again   bool       `json:",omitempty"` // the homeserver had lost it once
	Two     bool       `json:",omitempty"` // nobody but one person and the bot was there to read it
}

// delivered is a part that the homeserver has.
type delivered struct {
	Event id.EventID
	Edits id.EventID `json:",omitempty"` // the message that it changes
	Time  time.Time
}

// root is the message that shows a post: an edit shows in the place of the first.
func (d delivered) root() id.EventID {
	if d.Edits != "" {
		return d.Edits
	}
	return d.Event
}

// sent tells whether a part is with the homeserver.
func (a *Adapter) sent(txn string) (d delivered, ok bool, err error) {
	ok, err = a.keep.read(key("sent", txn), &d)
	return d, ok, err
}

// pending tells whether a part is on its way: it may be with the homeserver or not.
func (a *Adapter) pending(txn string) (p parcel, ok bool, err error) {
	ok, err = a.keep.read(key("pend", txn), &p)
	return p, ok, err
}

// echo takes an event of our own in: a part arrived.
func (a *Adapter) echo(ctx context.Context, e *event.Event) bool {
	txn := e.Unsigned.TransactionID
	if txn == "" {
		txn = a.txnInside(ctx, e)
	}
	if txn == "" {
		return false
	}
	p, ok, err := a.pending(txn)
	if err != nil || !ok {
		return ok
	}
	if at := time.UnixMilli(e.Timestamp); at.Sub(p.Told).Abs() < mostAhead {
		p.Told = at // the platform's own
	}
	if _, err := a.took(p, e.ID, true); err != nil {
		a.log.Error("matrix: an echo could not be noted", "err", err)
	}
	return true
}

// txnInside finds the part of an event that comes without its transaction, as
// those that fill a gap do: by the post named inside.
func (a *Adapter) txnInside(ctx context.Context, e *event.Event) string {
	waiting := map[string]string{}
	_ = a.keep.scan("pend"+sep, func(_ string, b []byte) error {
		var p parcel
		if json.Unmarshal(b, &p) == nil && p.Room == e.RoomID {
			waiting[string(p.Post)+"\x00"+string(p.Event)], waiting[string(p.Post)] = p.Txn, p.Txn
		}
		return nil
	})
	if len(waiting) == 0 {
		return ""
	}
	content := e.Content
	if e.Type.Type == event.EventEncrypted.Type {
		if !parsed(e) {
			return ""
		}
		open, err := a.mach.DecryptMegolmEvent(ctx, e)
		if err != nil {
			return ""
		}
		content = open.Content
	}
	post, _ := content.Raw[postMark].(string)
	if txn, ok := waiting[post+"\x00"+string(e.ID)]; ok {
		return txn
	}
	return waiting[post]
}

// answer sends a post that stands in no outbox; one that cannot go out now waits
// in the pocket, in order.
func (a *Adapter) answer(ctx context.Context, p chat.Post) error {
	if a.queued(p.To) {
		return a.queue(p)
	}
	_, err := a.Send(ctx, p)
	switch {
	case errors.Is(err, chat.ErrLater):
		return a.queue(p)
	case errors.Is(err, chat.ErrGone), errors.Is(err, chat.ErrMuted):
		a.log.Warn("matrix: an answer could not be shown", "post", p.ID, "err", err)
		return nil
	}
	return err
}

// queue keeps a post for later.
func (a *Adapter) queue(p chat.Post) error {
	a.mu.Lock()
	a.waiting = true
	a.mu.Unlock()
	var n uint64
	if _, err := a.keep.read("queued", &n); err != nil {
		return err
	}
	if err := a.keep.set("queued", n+1); err != nil {
		return err
	}
	return a.keep.set(key("queue", fmt.Sprintf("%016x", n)), p)
}

// queued tells whether a post waits for the same destination.
func (a *Adapter) queued(to chat.Destination) (yes bool) {
	a.mu.Lock()
	waiting := a.waiting
	a.mu.Unlock()
	if !waiting {
		return false
	}
	_ = a.keep.scan("queue"+sep, func(_ string, b []byte) error {
		var p chat.Post
		yes = yes || json.Unmarshal(b, &p) == nil && p.To == to
		return nil
	})
	return yes
}

// unqueue sends what waited, in order in each place.
func (a *Adapter) unqueue(ctx context.Context) error {
	a.mu.Lock()
	waiting := a.waiting
	a.mu.Unlock()
	if !waiting || a.doubts() || !a.caughtUp() {
		return nil
	}
	stuck, left := map[chat.Destination]bool{}, 0
	err := a.keep.scan("queue"+sep, func(at string, b []byte) error {
		var p chat.Post
		if err := json.Unmarshal(b, &p); err != nil {
			return err
		}
		err := chat.ErrLater
		if !stuck[p.To] {
			_, err = a.Send(ctx, p)
		}
		switch {
		case errors.Is(err, chat.ErrLater):
			stuck[p.To] = true
			left++
			return nil
		case errors.Is(err, chat.ErrGone), errors.Is(err, chat.ErrMuted):
			a.log.Warn("matrix: an answer could not be shown", "post", p.ID, "err", err)
		case err != nil:
			return err
		}
		a.keep.put(at, nil)
		return nil
	})
	if err == nil && left == 0 {
		a.mu.Lock()
		a.waiting = false
		a.mu.Unlock()
	}
	return err
}

// confirmWithin is how long a post may stay unseen before the homeserver is asked
// for it: one that is killed loses what it had just taken.
const confirmWithin = 30 * time.Second

// confirm asks after parts that were taken and never seen.
func (a *Adapter) confirm(ctx context.Context) error {
	var lost []parcel
	err := a.keep.scan("pend"+sep, func(_ string, b []byte) error {
		var p parcel
		if err := json.Unmarshal(b, &p); err != nil {
			return err
		}
		if p.Event == "" && p.Again || p.Event != "" && a.now().Sub(p.Time) > confirmWithin {
			lost = append(lost, p)
		}
		return nil
	})
	if err != nil || a.doubts() {
		return err
	}
	for _, p := range lost {
		ask := a.askFor
		if p.Event == "" {
			ask = a.sendAgain
		}
		if err := ask(ctx, p); err != nil {
			return err
		}
	}
	return nil
}

// askFor asks for one event, and sends it again, once, if the homeserver lost it.
func (a *Adapter) askFor(ctx context.Context, p parcel) error {
	_, err := a.cli.GetEvent(ctx, p.Room, p.Event)
	switch {
	case err == nil:
		_, err = a.took(p, p.Event, true)
		return err
	case statusOf(err) != http.StatusNotFound:
		return err
	case !a.rooms.joined(p.Room) || p.Again: // after a kick it is 404 too
		a.keep.put(key("pend", p.Txn), nil)
		return nil
	}
	a.log.Warn("matrix: the homeserver lost a post that it had taken; sending it again", "post", p.Post)
	a.keep.put(key("sent", p.Txn), nil)
	p.Event, p.Again = "", true
	return a.sendAgain(ctx, p)
}

// sendAgain sends what the homeserver had taken and lost. Whoever sent it first
// holds it for sent, so it stays here until it is.
func (a *Adapter) sendAgain(ctx context.Context, p parcel) error {
	defer a.turns.take(string(p.Room))()
	if p.Two && !a.rooms.two(p.Room) { // who came since must not read it
		a.log.Warn("matrix: a private post that the homeserver lost is not sent again: somebody else has come", "post", p.Post)
		a.keep.put(key("pend", p.Txn), nil)
		return nil
	}
	_, err := a.dispatch(ctx, p)
	if errors.Is(err, chat.ErrLater) || errors.Is(err, chat.ErrGone) || errors.Is(err, chat.ErrMuted) {
		return nil
	}
	return err
}

// mostTold is how often such sentences come in one room within a minute, whoever
// they are for: a crowd could have the bot flood it otherwise.
const mostTold = 20

// tell says a sentence of the adapter's own to somebody where they spoke, once a
// day.
func (a *Adapter) tell(ctx context.Context, e *event.Event, id string, slots ...any) error {
	m := a.base(e, "")
	may := func() bool { return a.pace.may("tell "+string(e.RoomID), mostTold, time.Minute) }
	if !a.firstToday(id, m.Place, m.Person, may) {
		return nil
	}
	text := a.parts.Say(id, append([]any{"name", m.Name}, slots...)...)
	return a.answer(ctx, chat.Post{
		ID: chat.PostID("told/" + string(e.ID) + "/" + id), To: chat.Destination{Place: m.Place}, Entry: -1, Error: id,
		Lines: chat.Fold([]chat.Line{{{Kind: chat.Plain, Text: text}}}),
	})
}
