//go:build goolm

package matrix

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// What stands in a content of ours besides what Matrix knows, inside the
// encryption: the post, so that it is known again where the homeserver gives no
// transaction id; and the place that a post for one person is about.
const (
	postMark   = "org.drumhead.post"
	placeMark  = "org.drumhead.place"
	directMark = "org.drumhead.direct"
)

// Send brings a post to its place, once. When it returns nil the homeserver has
// taken it, and the pocket remembers it until it is seen in the room: what the
// homeserver then loses all the same is sent again (outbox.go).
func (a *Adapter) Send(ctx context.Context, p chat.Post) (chat.Receipt, error) {
	if err := ctx.Err(); err != nil {
		return chat.Receipt{}, err
	}
	rid, root, err := a.whither(ctx, p.To)
	if err != nil {
		return chat.Receipt{}, err
	}
	defer a.turns.take(string(rid))()
	return a.bring(ctx, rid, root, p)
}

// bring sends the parts of a post into a room: its text, its pictures, its files.
func (a *Adapter) bring(ctx context.Context, rid id.RoomID, root id.EventID, p chat.Post) (chat.Receipt, error) {
	card, _ := cardOf(p, placeOf(string(rid), string(root)), a.now())
	changes, err := a.edited(rid, p)
	if err != nil {
		return chat.Receipt{}, err
	}
	first := parcel{Post: p.ID, Room: rid, Card: &card, Edit: p.Edit, Changes: changes}
	first.Txn = txnOf(rid, p.ID, 0)
	done, ok, err := a.sent(first.Txn)
	if err == nil && !ok {
		if first.Content, first.Extra, err = a.content(ctx, rid, root, changes, p); err == nil {
			done, err = a.dispatch(ctx, first)
		}
	}
	if err == nil {
		err = a.attach(ctx, rid, root, done, p)
	}
	if err != nil {
		return chat.Receipt{}, err
	}
	return chat.Receipt{Ref: string(done.root()), Time: done.Time}, nil
}

// edited is the message that a post changes, "" if it is a new one. An edit of a
// post that is not known here is a new message.
func (a *Adapter) edited(rid id.RoomID, p chat.Post) (id.EventID, error) {
	if p.Edit == "" {
		return "", nil
	}
	before, _, err := a.sent(txnOf(rid, p.Edit, 0))
	return before.root(), err
}

// txnOf names a part of a post in a room for the homeserver, which takes it once.
func txnOf(rid id.RoomID, p chat.PostID, part int) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s\x00%d", rid, p, part))
	return "d" + base64.RawURLEncoding.EncodeToString(sum[:24])
}

// content is the message of a post's lines.
func (a *Adapter) content(ctx context.Context, rid id.RoomID, root, changes id.EventID, p chat.Post) (content, extra json.RawMessage, err error) {
	w := a.pen(rid)
	page := w.page(p)
	if len(page.Plain)+len(page.HTML) > mostBody {
		page = w.page(chat.Post{Lines: append(p.Lines[:min(1, len(p.Lines)):1], chat.Line{{Kind: chat.Plain, Text: a.parts.Say("matrix.long")}}), Notify: p.Notify, Choices: p.Choices})
		extra, err = a.textFile(ctx, rid, root, p)
		switch {
		case errors.Is(err, chat.ErrLater):
			return nil, nil, err
		case err != nil: // the message alone says nothing
			return nil, nil, fmt.Errorf("%w: the homeserver takes no file: %w", chat.ErrMuted, err)
		}
	}
	m := &event.MessageEventContent{
		MsgType: event.MsgNotice, Body: page.Plain, Format: event.FormatHTML, FormattedBody: page.HTML, Mentions: &event.Mentions{},
	}
	for _, u := range page.Mentions {
		m.Mentions.Add(id.UserID(u))
	}
	a.relate(m, root, changes)
	b, err := a.marked(m, p, rid)
	return b, extra, err
}

// mostBody is how much text, plain and as HTML, goes into one event: an event has
// 65,536 bytes, of which encryption takes a quarter.
const mostBody = 2 * mostText

// marked is a content with what makes it known again.
func (a *Adapter) marked(m *event.MessageEventContent, p chat.Post, rid id.RoomID) (json.RawMessage, error) {
	raw := map[string]any{postMark: string(p.ID)}
	if at, _, ok := readPlace(p.To.Place); ok && p.To.Only != "" && a.current(id.RoomID(at)) != rid {
		raw[placeMark] = string(p.To.Place)
	}
	return json.Marshal(&event.Content{Parsed: m, Raw: raw})
}

// relate puts a message into its thread, or in the place of the one that it
// changes. An edit notifies nobody.
func (a *Adapter) relate(m *event.MessageEventContent, root, changes id.EventID) {
	switch {
	case changes != "":
		m.Mentions = &event.Mentions{}
		m.SetEdit(changes)
		m.Body = strings.ToValidUTF8(m.Body, "") // the library cuts what old clients show by bytes
	case root != "":
		m.RelatesTo = (&event.RelatesTo{}).SetThread(root, root)
	}
}

// pen writes for a room.
func (a *Adapter) pen(rid id.RoomID) pen {
	return pen{prefix: a.settings.prefix(), say: a.parts.Say, name: func(user string) (name string) {
		a.rooms.view(rid, func(one *room) { name = one.name(id.UserID(user)) })
		return name
	}}
}

// dispatch gives one part of a post to the homeserver, and remembers it until it
// is seen in the room.
func (a *Adapter) dispatch(ctx context.Context, p parcel) (delivered, error) {
	if p.Extra != nil {
		file := parcel{Post: p.Post, Room: p.Room, Txn: p.Txn + asText, Content: p.Extra}
		p.Extra = nil
		if _, ok, err := a.sent(file.Txn); err != nil {
			return delivered{}, err
		} else if !ok {
			if _, err := a.dispatch(ctx, file); err != nil {
				return delivered{}, err
			}
		}
	}
	if err := a.ready(p); err != nil {
		return delivered{}, err
	}
	if p.Try == 0 {
		p.Two = a.rooms.two(p.Room)
	}
	p.Try, p.Time = p.Try+1, a.now()
	p.Told = a.parts.Now()
	if err := a.keep.set(key("pend", p.Txn), p); err != nil {
		return delivered{}, err
	}
	e, err := a.put(ctx, p)
	if err != nil {
		return delivered{}, a.refusedBy(err, p)
	}
	return a.took(p, e, false)
}

// put makes the request of a part.
func (a *Adapter) put(ctx context.Context, p parcel) (id.EventID, error) {
	if p.Redacts == "" {
		return a.say(ctx, p.Room, event.EventMessage, p.Txn, p.Content)
	}
	ctx, cancel := context.WithTimeout(ctx, requestWithin)
	defer cancel()
	r, err := a.cli.RedactEvent(ctx, p.Room, p.Redacts, mautrix.ReqRedact{TxnID: p.Txn})
	if err != nil {
		return "", err
	}
	return r.EventID, nil
}

// ready tells whether a part may go out now: the bot's own join must have come by
// sync, and with it whether the room is encrypted; and nothing that may have been
// taken before is sent again before the room was looked at.
func (a *Adapter) ready(p parcel) error {
	var known, joined, invited bool
	a.rooms.view(p.Room, func(one *room) {
		joined, known = one.Joined, len(one.members) > 0 || one.Joined
		invited = one.members[a.cli.UserID].Is == event.MembershipInvite || one.For != "" && one.members[a.cli.UserID].Is != event.MembershipLeave
	})
	switch {
	case joined && !a.caughtUp():
		return fmt.Errorf("%w: looking who is in the room", chat.ErrLater)
	case joined && a.doubts():
		if _, again, err := a.pending(p.Txn); err != nil || !again {
			return err
		}
		return fmt.Errorf("%w: looking whether it arrived", chat.ErrLater)
	case joined:
		return nil
	case invited || a.expects(p.Room):
		return fmt.Errorf("%w: the room is being joined", chat.ErrLater)
	case known:
		return fmt.Errorf("%w: the bot is not in the room any more", chat.ErrGone)
	}
	return fmt.Errorf("%w: no such room", chat.ErrGone)
}

// took notes that the homeserver has a part. Seen: it was seen in the room too. What
// the homeserver answers and what is seen come in any order.
func (a *Adapter) took(p parcel, e id.EventID, seen bool) (delivered, error) {
	a.taking.Lock()
	defer a.taking.Unlock()
	done := delivered{Event: e, Edits: p.Changes, Time: p.Told}
	if err := a.keep.set(key("sent", p.Txn), done); err != nil {
		return done, err
	}
	_, still, err := a.pending(p.Txn)
	if err != nil {
		return done, err
	}
	switch {
	case !still: // its echo was quicker than the answer
	case seen:
		a.keep.put(key("pend", p.Txn), nil)
	default:
		p.Event = e
		if err := a.keep.set(key("pend", p.Txn), p); err != nil {
			return done, err
		}
	}
	if p.Beside != "" {
		return done, a.noteBeside(p, done)
	}
	if p.Card == nil {
		return done, nil
	}
	if p.Card.Entry >= 0 {
		a.keep.put(key("entry", string(done.root())), entryOf(p.Card.Entry, a.now()))
	}
	p.Card.Event = string(done.root())
	return done, a.cards.add(*p.Card, p.Edit)
}

// refusedBy is the outcome of a request that failed. A refusal that is sure ends
// the part; anything else may have been taken.
func (a *Adapter) refusedBy(err error, p parcel) error {
	status := statusOf(err)
	switch {
	case status == 429:
		var h mautrix.HTTPError
		errors.As(err, &h)
		wait := retryAfter(h)
		time.AfterFunc(wait, a.nudge)
		if !p.Again {
			a.keep.put(key("pend", p.Txn), nil)
		}
		return fmt.Errorf("%w: the homeserver asks to wait %s", chat.ErrLater, wait)
	case status == 403:
		a.keep.put(key("pend", p.Txn), nil)
		if !a.rooms.joined(p.Room) {
			return fmt.Errorf("%w: %w", chat.ErrGone, err)
		}
		return fmt.Errorf("%w: %w", chat.ErrMuted, err)
	case status == 404:
		a.keep.put(key("pend", p.Txn), nil)
		return fmt.Errorf("%w: %w", chat.ErrGone, err)
	case status == 413 || status == 400:
		a.keep.put(key("pend", p.Txn), nil)
		return fmt.Errorf("%w: the homeserver takes no such message: %w", chat.ErrMuted, err)
	case status == 401:
		return fmt.Errorf("%w: %w", chat.ErrLater, explained(err))
	}
	a.setDoubt(true)
	return fmt.Errorf("%w: %w", chat.ErrLater, err)
}

// Bounds of what the homeserver may ask to wait.
const (
	leastWait = 500 * time.Millisecond
	mostWait  = time.Minute
)

// retryAfter is how long to wait after a 429: what its body or header says.
func retryAfter(h mautrix.HTTPError) time.Duration {
	wait := leastWait
	if h.RespError != nil {
		if ms, ok := h.RespError.ExtraData["retry_after_ms"].(float64); ok && ms > 0 && ms < 1e9 {
			wait = max(wait, time.Duration(ms)*time.Millisecond)
		}
	}
	if h.Response != nil {
		if s, err := time.ParseDuration(h.Response.Header.Get("Retry-After") + "s"); err == nil {
			wait = max(wait, s)
		}
	}
	return min(wait, mostWait)
}
