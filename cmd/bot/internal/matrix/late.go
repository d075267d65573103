//go:build goolm

package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"time"

	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// lateEvent is an encrypted event whose key has not come.
type lateEvent struct {
	ID      id.EventID
	Room    id.RoomID
	Sender  id.UserID
	TS      int64
	Content json.RawMessage
	Since   time.Time
	Asked   bool `json:",omitempty"`
	Code    event.RoomKeyWithheldCode
}

// readLate reads the note of an event that waits, and the event.
func readLate(b []byte) (l lateEvent, e *event.Event, err error) {
	if err := json.Unmarshal(b, &l); err != nil {
		return l, nil, err
	}
	e = &event.Event{ID: l.ID, RoomID: l.Room, Sender: l.Sender, Timestamp: l.TS, Type: event.EventEncrypted}
	return l, e, e.Content.UnmarshalJSON(l.Content)
}

// Patience with keys.
const (
	askForKey = 30 * time.Second // then its sender is asked for it
	giveUp    = time.Hour        // then people are told, once
	mostLate  = 10_000           // events kept
	lateEach  = 500              // of one person, whose flood must not push out what others said
)

// keepLate keeps an event until its key comes. A sender who gives no key to a
// device that nobody verified is told so, and what can be done.
func (a *Adapter) keepLate(e *event.Event, why error) error {
	c := e.Content.AsEncrypted()
	l := lateEvent{ID: e.ID, Room: e.RoomID, Sender: e.Sender, TS: e.Timestamp, Content: e.Content.VeryRaw, Since: a.now()}
	var withheld *event.RoomKeyWithheldEventContent
	if errors.As(why, &withheld) {
		l.Code = withheld.Code
	}
	return a.keep.set(key("late", string(c.SessionID), string(e.ID)), l)
}

// late handles the events whose keys came since the last answer.
func (a *Adapter) late(ctx context.Context, d chat.Desk) error {
	a.mu.Lock()
	var sessions []id.SessionID
	for s := range a.came {
		sessions = append(sessions, s)
	}
	a.mu.Unlock()
	for _, s := range sessions {
		if err := a.keep.scan(key("late", string(s))+sep, func(at string, b []byte) error {
			return a.hearLate(ctx, d, at, b)
		}); err != nil {
			return err
		}
		a.mu.Lock()
		delete(a.came, s)
		a.mu.Unlock()
	}
	return nil
}

// hearLate hears an event whose key has come, and forgets it after: if the bot dies
// between, it is heard once more, which the desk knows.
func (a *Adapter) hearLate(ctx context.Context, d chat.Desk, at string, b []byte) error {
	l, e, err := readLate(b)
	if err != nil {
		return err
	}
	if parsed(e) {
		g, err := a.store.GetGroupSession(ctx, l.Room, e.Content.AsEncrypted().SessionID)
		if g == nil && (err == nil || errors.Is(err, crypto.ErrGroupSessionWithheld)) {
			return nil // not yet
		}
	}
	if err := a.hearEncrypted(ctx, d, e); err != nil {
		return err
	}
	a.keep.put(at, nil)
	return nil
}

// waitsLate are the sessions of the events that wait. A key that came just before
// the bot died is not told of again.
func (l *line) waitsLate() (map[id.SessionID]bool, error) {
	waits := map[id.SessionID]bool{}
	return waits, l.keep.scan("late"+sep, func(at string, _ []byte) error {
		s, _, _ := strings.Cut(strings.TrimPrefix(at, "late"+sep), sep)
		waits[id.SessionID(s)] = true
		return nil
	})
}

// housekeep does what is due between two answers.
func (a *Adapter) housekeep(ctx context.Context) error {
	return errors.Join(a.unqueue(ctx), a.confirm(ctx), a.chase(ctx), a.wake(ctx), a.unwedge(ctx), a.devicesMissed(ctx), a.prune(ctx), a.keep.commit(ctx))
}

// chase asks for keys that do not come, and tells people where one never does.
func (a *Adapter) chase(ctx context.Context) error {
	n, by := 0, map[id.UserID]int{}
	return a.keep.scan("late"+sep, func(at string, b []byte) error {
		l, e, err := readLate(b)
		if err != nil {
			return err
		}
		age := a.now().Sub(l.Since)
		n, by[l.Sender] = n+1, by[l.Sender]+1
		switch {
		case l.Code == event.RoomKeyWithheldUnverified:
			a.keep.put(at, nil)
			return a.tell(ctx, e, "matrix.unverified")
		case age > giveUp || n > mostLate || by[l.Sender] > lateEach:
			a.keep.put(at, nil)
			return a.tell(ctx, e, "matrix.unreadable")
		case age > askForKey && !l.Asked:
			l.Asked = true
			if !parsed(e) {
				return nil
			}
			c := e.Content.AsEncrypted()
			if err := a.keep.set(at, l); err != nil {
				return err
			}
			err := a.mach.SendRoomKeyRequest(ctx, l.Room, c.SenderKey, c.SessionID, "", map[id.UserID][]id.DeviceID{l.Sender: {"*"}})
			if err != nil {
				a.log.Warn("matrix: a key could not be asked for", "err", err)
			}
		}
		return nil
	})
}

// noted looks at news about keys that the machine passes over: a sender who found
// none of ours, and one who withholds theirs.
func (a *Adapter) noted(_ context.Context, e *event.Event) {
	c, ok := e.Content.Parsed.(*event.RoomKeyWithheldEventContent)
	if !ok {
		return
	}
	switch c.Code {
	case event.RoomKeyWithheldNoOlmSession:
		a.keep.put(key("news", string(e.Sender)), []byte(e.Sender))
	case event.RoomKeyWithheldUnverified:
		_ = a.keep.scan(key("late", string(c.SessionID))+sep, func(at string, b []byte) error {
			var l lateEvent
			if err := json.Unmarshal(b, &l); err == nil {
				l.Code = c.Code
				return a.keep.set(at, l)
			}
			return nil
		})
	}
}

// wake opens channels to the devices of those who found no key of ours, so that
// at least their next message can be read.
func (a *Adapter) wake(ctx context.Context) error {
	return a.keep.scan("news"+sep, func(at string, who []byte) error {
		u := id.UserID(who)
		if !a.pace.may("wake "+string(u), 1, time.Minute) {
			return nil
		}
		for _, d := range a.mach.LoadDevices(ctx, u) {
			err := a.keep.together(ctx, func(ctx context.Context) error {
				return a.mach.SendEncryptedToDevice(ctx, d, event.ToDeviceDummy, event.Content{Parsed: &event.DummyEventContent{}})
			})
			if err != nil {
				a.log.Warn("matrix: a device could not be reached", "user", u, "err", err)
			}
		}
		a.keep.put(at, nil)
		return nil
	})
}

// unwedge opens new channels to the devices whose old ones broke.
func (a *Adapter) unwedge(ctx context.Context) error {
	return a.keep.scan("wedged"+sep, func(at string, who []byte) error {
		return a.keep.together(ctx, func(ctx context.Context) error {
			a.mach.UnwedgeDevice(ctx, id.UserID(who), id.SenderKey(strings.TrimPrefix(at, "wedged"+sep)))
			a.keep.put(at, nil)
			return nil
		})
	})
}

var _ crypto.StateStore = (*rooms)(nil)
