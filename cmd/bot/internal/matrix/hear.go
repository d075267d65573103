//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"
	"time"

	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/crypto/olm"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// hear takes one event of a room in. It is for the bot only if it came after the
// bot did. Echo tells that it is one of ours.
func (a *Adapter) hear(ctx context.Context, d chat.Desk, rid id.RoomID, e *event.Event, live bool) (echo bool, err error) {
	e.RoomID = rid
	e.Type.Class = event.MessageEventType
	if e.StateKey != nil {
		if e.Type.Type == event.StateTombstone.Type && live {
			return false, a.moved(ctx, rid)
		}
		return false, nil
	}
	if e.Sender == a.cli.UserID {
		return a.echo(ctx, e), nil
	}
	if !live || e.Unsigned.RedactedBecause != nil {
		return false, nil
	}
	switch e.Type.Type {
	case event.EventEncrypted.Type:
		return false, a.hearEncrypted(ctx, d, e)
	case event.EventRedaction.Type:
		return false, a.takenBack(ctx, e)
	case event.EventMessage.Type, event.EventReaction.Type:
		return false, a.understand(ctx, d, e)
	}
	return false, nil
}

// hearEncrypted opens an event, or keeps it until its key comes.
func (a *Adapter) hearEncrypted(ctx context.Context, d chat.Desk, e *event.Event) error {
	if !parsed(e) {
		return nil
	}
	open, err := a.mach.DecryptMegolmEvent(ctx, e)
	switch {
	case err == nil:
		return a.understand(ctx, d, open)
	case errors.Is(err, crypto.ErrNoSessionFound), errors.Is(err, crypto.ErrGroupSessionWithheld):
		return a.keepLate(e, err)
	case errors.Is(err, olm.ErrUnknownMessageIndex), errors.Is(err, errGone):
		return a.tell(ctx, e, "matrix.unreadable") // its key came too late, and only for what follows
	}
	a.log.Warn("matrix: an encrypted message was dropped", "event", e.ID, "why", err) // a replay, another room's, damage
	return nil
}

// parsed reads what an event says; an answer that is taken in again was read
// before. It is false if the content is not what the event's type says.
func parsed(e *event.Event) bool {
	return e.Content.Parsed != nil || e.Content.ParseRaw(e.Type) == nil
}

// understand translates an event and gives it to the desk.
func (a *Adapter) understand(ctx context.Context, d chat.Desk, e *event.Event) error {
	if !parsed(e) {
		return nil
	}
	var m chat.Message
	var heard bool
	var err error
	switch c := e.Content.Parsed.(type) {
	case *event.MessageEventContent:
		m, heard, err = a.message(ctx, e, c)
	case *event.ReactionEventContent:
		m, heard, err = a.reaction(ctx, e, c)
	}
	if err != nil || !heard {
		return err
	}
	if refused, err := a.refused(ctx, e); refused || err != nil {
		return err
	}
	counted, err := a.counted(e.ID)
	if err != nil {
		return err
	}
	if !counted && !a.pace.mayAt(a.saidAt(e), "say "+string(e.Sender), a.settings.perMinute(), time.Minute) {
		return a.tell(ctx, e, "matrix.slower")
	}
	if c, ok := e.Content.Parsed.(*event.MessageEventContent); ok && c.MsgType != event.MsgText && m.Tap == nil {
		if m.Files, err = a.handedIn(ctx, e, c, counted); m.Files == nil || err != nil {
			return err
		}
	}
	m.Zone = a.zoneOf(ctx, e.Sender)
	return a.give(ctx, d, e, m)
}

// counted tells whether a message was given to the desk before: an answer of which a
// part failed is taken in again, and what it says was not said twice.
func (a *Adapter) counted(message id.EventID) (bool, error) {
	a.mu.Lock()
	tried := a.failures[message] > 0
	a.mu.Unlock()
	acted, err := a.acted(message)
	return tried || acted, err
}

// acted tells whether the desk has answered a message.
func (a *Adapter) acted(message id.EventID) (bool, error) {
	b, err := a.keep.get(key("acted", string(message)))
	return b != nil, err
}

// saidAt is when something was said, as far as the bot was away then: what gathered
// meanwhile was not said in one minute. At other times it is now, because a time is
// the word of the sender's server.
func (a *Adapter) saidAt(e *event.Event) time.Time {
	now, at := a.pace.now(), time.UnixMilli(e.Timestamp)
	if at.After(a.away.Add(mostAhead)) && at.Before(now) {
		return at
	}
	return now
}

// refused tells whether an event must not be believed, and tells its author why.
func (a *Adapter) refused(ctx context.Context, e *event.Event) (bool, error) {
	if e.Mautrix.WasEncrypted {
		switch e.Mautrix.TrustState {
		case id.TrustStateBlacklisted, id.TrustStateDeviceKeyMismatch, id.TrustStateCrossSignedUntrusted,
			// Nobody's device whom the homeserver names: it could name anybody.
			id.TrustStateUnknownDevice, id.TrustStateForwarded:
			return true, a.tell(ctx, e, "matrix.untrusted")
		}
		return false, nil
	}
	// Clients send reactions in clear everywhere; any homeserver could have
	// written a message that is.
	if e.Type.Type != event.EventReaction.Type && a.rooms.encrypted(e.RoomID) {
		return true, a.tell(ctx, e, "matrix.clear")
	}
	return false, nil
}

// mostFailures of the desk on one message. If the program fails on it, it is then
// put aside, so that it does not stop the bot for ever; if the store does, Run
// ends and nothing of it counts as heard.
const mostFailures = 3

// give gives a message to the desk and shows what it answers.
func (a *Adapter) give(ctx context.Context, d chat.Desk, e *event.Event, m chat.Message) error {
	posts, err := handled(ctx, d, m)
	if err != nil {
		if ctx.Err() != nil {
			return err
		}
		a.mu.Lock()
		a.failures[e.ID]++
		n := a.failures[e.ID]
		a.mu.Unlock()
		a.log.Error("matrix: a message could not be answered", "event", e.ID, "try", n, "err", err)
		switch {
		case n < mostFailures:
			return err
		case !errors.Is(err, errPanic):
			return fmt.Errorf("%w: %w", errBroken, err)
		}
		a.keep.put(key("poison", string(e.ID)), []byte(e.RoomID))
		if err := a.tell(ctx, e, "matrix.failed", "reference", string(e.ID)); err != nil {
			return err
		}
	}
	a.mu.Lock()
	delete(a.failures, e.ID)
	a.mu.Unlock()
	if err := a.keep.set(key("acted", string(e.ID)), a.now().Unix()); err != nil {
		return err
	}
	for _, p := range posts {
		if err := a.answer(ctx, p); err != nil {
			return err
		}
	}
	a.nudge()
	return nil
}

var (
	errPanic  = errors.New("panic")
	errBroken = errors.New("matrix: the desk is broken; what was said last is heard again after the next start")
)

// handled asks the desk; a panic is an error like any other.
func handled(ctx context.Context, d chat.Desk, m chat.Message) (posts []chat.Post, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: %v\n%s", errPanic, p, debug.Stack())
		}
	}()
	return d.Handle(ctx, m)
}

// base is a message without what it says.
func (a *Adapter) base(e *event.Event, root id.EventID) chat.Message {
	m := chat.Message{Source: chat.Source(Name + ":" + string(e.ID)), Person: personOf(string(e.Sender)), Time: a.timeOf(e)}
	a.rooms.view(e.RoomID, func(one *room) {
		m.Private, m.Name, m.Organiser = one.private(a.cli.UserID), one.name(e.Sender), one.runs(e.Sender)
		m.Place = placeOf(string(one.origin()), string(root))
	})
	m.Community = a.community(e.RoomID)
	if m.Private {
		m.Organiser = false
		if home := a.home(e.Sender); home != "" {
			m.Community = home
		}
	} else {
		a.setHome(e.Sender, m.Community)
	}
	return m
}

// Bounds of a time that the sender's server chose: outside of them it is ours.
const (
	mostAhead  = time.Minute
	mostBehind = 24 * time.Hour
)

// timeOf is when something was said, if that can be believed.
func (a *Adapter) timeOf(e *event.Event) time.Time {
	now, at := a.parts.Now(), time.UnixMilli(e.Timestamp)
	if at.After(now.Add(mostAhead)) || at.Before(now.Add(-mostBehind)) {
		return now
	}
	return at
}

// message translates a message. heard is false if it is not for the bot.
func (a *Adapter) message(ctx context.Context, e *event.Event, c *event.MessageEventContent) (m chat.Message, heard bool, err error) {
	text := c.Body
	switch c.MsgType {
	case event.MsgText:
	case event.MsgFile, event.MsgImage, event.MsgAudio, event.MsgVideo:
		text = c.GetCaption()
	case event.MsgVerificationRequest:
		if c.To == a.cli.UserID { // takes the operator, and another command
			err = a.tell(ctx, e, "matrix.verify")
		}
		return m, false, err
	default:
		return m, false, nil // notices are the words of bots
	}
	if before := c.RelatesTo.GetReplaceID(); before != "" { // an edit changes nothing that was said
		return m, false, a.done(ctx, e, before)
	}
	if c.Body == "" {
		return m, false, nil
	}
	if c.RelatesTo.GetReplyTo() != "" {
		text = event.TrimReplyFallbackText(text)
	}
	m = a.base(e, c.RelatesTo.GetThreadParent())
	replied := c.RelatesTo.GetNonFallbackReplyTo()
	m.Text, heard = a.addressed(e.RoomID, text, c.Mentions)
	if card, tap, ok := a.cards.pick(m, string(replied), text, heard); ok {
		return a.tapped(m, card, tap), true, nil
	}
	if command, ok := a.onPost(replied, text); ok {
		m.Text, heard = command, true
	}
	return m, heard || m.Private, nil
}

// mostFiles is how many files one person may hand in within a minute: while one is
// fetched everybody waits.
const mostFiles = 5

// handedIn is the file of a message, nil if it cannot be taken; its sender is told.
func (a *Adapter) handedIn(ctx context.Context, e *event.Event, c *event.MessageEventContent, counted bool) ([]chat.File, error) {
	if !counted && !a.pace.may("file "+string(e.Sender), mostFiles, time.Minute) {
		return nil, a.tell(ctx, e, "matrix.slower")
	}
	f, err := a.fetch(ctx, c)
	if err != nil {
		a.log.Warn("matrix: a file could not be fetched", "event", e.ID, "err", err)
		return nil, a.tell(ctx, e, "matrix.file", "file", harmless(c.GetFileName()), "most", mostHandedIn>>20)
	}
	return []chat.File{f}, nil
}

// onPost is the command that a reply to a post of ours means: the label of one that
// is about a post's entry, with or without the prefix.
func (a *Adapter) onPost(replied id.EventID, text string) (command string, ok bool) {
	if replied == "" || a.parts.OnPost == nil {
		return "", false
	}
	b, err := a.keep.get(key("entry", string(replied)))
	if err != nil || b == nil {
		return "", false
	}
	entry, _ := readEntry(b)
	return a.parts.OnPost(strings.TrimSpace(strings.TrimPrefix(text, a.settings.prefix())), entry)
}

// addressed is a text without what makes it one for the bot: the prefix, which
// becomes a slash, or its name at the beginning. A name that is no mention must be
// followed by a colon or a comma.
func (a *Adapter) addressed(rid id.RoomID, text string, mentions *event.Mentions) (rest string, yes bool) {
	if after, ok := strings.CutPrefix(text, a.settings.prefix()); ok && after != "" && startsWord(after) {
		return "/" + after, true
	}
	mentioned := mentions.Has(a.cli.UserID)
	var name string
	a.rooms.view(rid, func(one *room) { name = one.members[a.cli.UserID].Name })
	bare := strings.TrimPrefix(text, "@")
	for _, n := range []string{name, strings.TrimPrefix(string(a.cli.UserID), "@"), a.cli.UserID.Localpart()} {
		if n == "" || len(bare) < len(n) || !strings.EqualFold(bare[:len(n)], n) {
			continue
		}
		after := bare[len(n):]
		if !mentioned && !strings.HasPrefix(after, ":") && !strings.HasPrefix(after, ",") {
			continue
		}
		after = strings.TrimLeft(strings.TrimLeft(after, ":,"), " ")
		if cut, ok := strings.CutPrefix(after, a.settings.prefix()); ok && startsWord(cut) {
			after = "/" + cut
		}
		return after, true
	}
	return text, mentioned
}

// reaction translates a figure put on a post of ours into its choice. It is
// written in clear, so it may not do what binds.
func (a *Adapter) reaction(ctx context.Context, e *event.Event, c *event.ReactionEventContent) (m chat.Message, heard bool, err error) {
	number, ok := figure(c.RelatesTo.GetAnnotationKey())
	if !ok {
		return m, false, nil
	}
	card, ok := a.cards.on(string(c.RelatesTo.GetAnnotationID()))
	if !ok {
		return m, false, nil
	}
	m = a.base(e, "")
	choice, ok := card.byNumber(number)
	if !ok || !card.seenBy(m.Person) {
		return m, false, nil
	}
	if room, _, ok := readPlace(card.At); !ok || id.RoomID(room) != e.RoomID {
		return m, false, nil
	}
	if (card.Binds || choice.Form != "") && a.rooms.encrypted(e.RoomID) {
		return m, false, a.tell(ctx, e, "matrix.type", "number", number)
	}
	return a.tapped(m, card, chat.Tap{Post: card.Post, Number: number}), true, nil
}

// tapped is a message that picks a choice. What was shown to one person in the
// direct room acts where it belongs.
func (a *Adapter) tapped(m chat.Message, c card, t chat.Tap) chat.Message {
	m.Tap, m.Text = &t, ""
	at, _, ok := readPlace(c.To.Place)
	if !ok || c.To.Place == m.Place {
		return m
	}
	user, _ := readPerson(m.Person)
	a.rooms.view(a.current(id.RoomID(at)), func(one *room) {
		m.Organiser = one.runs(id.UserID(user)) && one.members[id.UserID(user)].Is == event.MembershipJoin
	})
	m.Place, m.Private, m.Community = c.To.Place, false, a.community(id.RoomID(at))
	return m
}

// figure reads "3" and its keycap.
func figure(s string) (int, bool) {
	s = strings.TrimSuffix(strings.TrimSuffix(s, "\u20e3"), "\ufe0f")
	if len(s) != 1 || s[0] < '1' || s[0] > '9' {
		return 0, false
	}
	return int(s[0] - '0'), true
}

// takenBack answers somebody who takes a command back that was carried out.
func (a *Adapter) takenBack(ctx context.Context, e *event.Event) error {
	gone := e.Redacts
	if gone == "" {
		if parsed(e) {
			gone = e.Content.AsRedaction().Redacts
		}
	}
	return a.done(ctx, e, gone)
}

// done tells somebody who takes back or changes a message that the desk was given
// before, that this comes too late.
func (a *Adapter) done(ctx context.Context, e *event.Event, message id.EventID) error {
	if acted, err := a.acted(message); err != nil || !acted {
		return err
	}
	return a.tell(ctx, e, "matrix.done")
}

// greet tells the desk that the bot was invited.
func (a *Adapter) greet(ctx context.Context, d chat.Desk, rid id.RoomID, e *event.Event) error {
	var before bool
	var inviter id.UserID
	var private bool
	a.rooms.view(rid, func(one *room) {
		before, inviter, private = one.Greeted, one.Inviter, one.For != ""
	})
	if before || private {
		return nil
	}
	e.RoomID = rid
	m := a.base(e, "")
	m.Joined = true
	if inviter != "" {
		m.Person = personOf(string(inviter))
		a.rooms.view(rid, func(one *room) { m.Name = one.name(inviter) })
	}
	if err := a.give(ctx, d, e, m); err != nil {
		return err
	}
	return a.rooms.change(rid, func(one *room) { one.Greeted = true })
}
