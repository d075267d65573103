//go:build goolm

package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"go.mau.fi/util/dbutil"

	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/crypto/olm"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// inRecord is a session that somebody speaks in, or the news that its key is
// withheld from us.
type inRecord struct {
	Pickle    []byte                             `json:",omitempty"`
	Session   *crypto.InboundGroupSession        `json:",omitempty"` // without its Internal
	ID        id.SessionID                       `json:",omitempty"`
	Withheld  *event.RoomKeyWithheldEventContent `json:",omitempty"`
	Scheduled bool                               `json:",omitempty"`
	At        time.Time                          `json:",omitzero"`  // when it was withheld
	Gone      bool                               `json:",omitempty"` // it was forgotten, and does not come back
}

func (s *store) inbound(b []byte) (*crypto.InboundGroupSession, error) {
	var r inRecord
	if err := json.Unmarshal(b, &r); err != nil {
		return nil, fmt.Errorf("matrix: the pocket is damaged: %w", err)
	}
	switch {
	case r.Gone:
		return nil, errGone
	case r.Withheld != nil:
		return nil, r.Withheld
	}
	r.Session.Internal = olm.NewBlankInboundGroupSession()
	return r.Session, r.Session.Internal.Unpickle(r.Pickle, s.pickle)
}

// PutGroupSession keeps a session, also where its key was withheld before, but not one
// that was forgotten.
func (s *store) PutGroupSession(_ context.Context, g *crypto.InboundGroupSession) error {
	var before inRecord
	if _, err := s.read(key("in", string(g.RoomID), string(g.ID())), &before); err != nil || before.Gone {
		return err
	}
	b, err := g.Internal.Pickle(s.pickle)
	if err != nil {
		return err
	}
	bare := *g
	bare.Internal = nil
	return s.set(key("in", string(g.RoomID), string(g.ID())), inRecord{Pickle: b, Session: &bare, ID: g.ID(), Scheduled: g.IsScheduled})
}

// GetGroupSession returns a session, nil if there is none; the error of one whose
// key is withheld says so.
func (s *store) GetGroupSession(ctx context.Context, r id.RoomID, g id.SessionID) (*crypto.InboundGroupSession, error) {
	open, _ := ctx.Value(sessionsKey{}).(sessions)
	if known := open[g]; known != nil && known.RoomID == r {
		return known, nil
	}
	b, err := s.get(key("in", string(r), string(g)))
	if err != nil || b == nil {
		return nil, err
	}
	one, err := s.inbound(b)
	if err == nil && open != nil {
		open[g] = one
	}
	return one, err
}

// sessions are those that are open while one room is listened to, so that each is
// opened once and goes on where it stands. They belong to who listens alone.
type sessions map[id.SessionID]*crypto.InboundGroupSession

type sessionsKey struct{}

func withSessions(ctx context.Context) context.Context {
	return context.WithValue(ctx, sessionsKey{}, sessions{})
}

// redact takes the keys out of the sessions that pick chooses.
func (s *store) redact(prefix, reason string, pick func(inRecord) bool) (ids []id.SessionID, err error) {
	err = s.scan(prefix, func(at string, b []byte) error {
		var r inRecord
		if err := json.Unmarshal(b, &r); err != nil {
			return err
		}
		if r.Session == nil || !pick(r) {
			return nil
		}
		ids = append(ids, r.ID)
		return s.set(at, inRecord{At: s.now(), Withheld: &event.RoomKeyWithheldEventContent{
			RoomID: r.Session.RoomID, Algorithm: id.AlgorithmMegolmV1, SessionID: r.ID, SenderKey: r.Session.SenderKey,
			Code: event.RoomKeyWithheldBeeperRedacted, Reason: "Session redacted: " + reason,
		}})
	})
	return ids, err
}

// RedactGroupSession takes the key out of a session.
func (s *store) RedactGroupSession(_ context.Context, r id.RoomID, g id.SessionID, reason string) error {
	_, err := s.redact(key("in", string(r), string(g)), reason, func(inRecord) bool { return true })
	return err
}

// RedactGroupSessions takes the keys out of the sessions of a room, of a device, or both.
func (s *store) RedactGroupSessions(_ context.Context, r id.RoomID, k id.SenderKey, reason string) ([]id.SessionID, error) {
	if r == "" && k == "" {
		return nil, errors.New("matrix: neither a room nor a device whose sessions to redact")
	}
	return s.redact("in"+sep, reason, func(i inRecord) bool {
		return (r == "" || i.Session.RoomID == r) && (k == "" || i.Session.SenderKey == k) && !i.Scheduled && !i.Session.ReceivedAt.IsZero()
	})
}

// RedactExpiredGroupSessions takes the keys out of sessions long past their age.
func (s *store) RedactExpiredGroupSessions(context.Context) ([]id.SessionID, error) {
	return s.redact("in"+sep, "expired", func(i inRecord) bool {
		age := 2 * time.Duration(i.Session.MaxAge) * time.Millisecond
		return !i.Scheduled && age > 0 && !i.Session.ReceivedAt.IsZero() && i.Session.ReceivedAt.Add(age).Before(s.now())
	})
}

// RedactOutdatedGroupSessions takes the keys out of sessions that do not say when they came.
func (s *store) RedactOutdatedGroupSessions(context.Context) ([]id.SessionID, error) {
	return s.redact("in"+sep, "outdated", func(i inRecord) bool { return i.Session.ReceivedAt.IsZero() })
}

// PutWithheldGroupSession notes that a key is withheld, unless it is there.
func (s *store) PutWithheldGroupSession(_ context.Context, c event.RoomKeyWithheldEventContent) error {
	at := key("in", string(c.RoomID), string(c.SessionID))
	if b, err := s.get(at); err != nil || b != nil || c.RoomID == "" || c.SessionID == "" {
		return err
	}
	return s.set(at, inRecord{ID: c.SessionID, Withheld: &c, At: s.now()})
}

// GetWithheldGroupSession tells why a key is withheld, nil if it is not.
func (s *store) GetWithheldGroupSession(_ context.Context, r id.RoomID, g id.SessionID) (*event.RoomKeyWithheldEventContent, error) {
	var rec inRecord
	_, err := s.read(key("in", string(r), string(g)), &rec)
	return rec.Withheld, err
}

// groupSessions lists the sessions that pick chooses.
func (s *store) groupSessions(pick func(*crypto.InboundGroupSession) bool) dbutil.RowIter[*crypto.InboundGroupSession] {
	var list []*crypto.InboundGroupSession
	err := s.scan("in"+sep, func(_ string, b []byte) error {
		g, err := s.inbound(b)
		if errors.Is(err, crypto.ErrGroupSessionWithheld) || errors.Is(err, errGone) {
			return nil
		}
		if err == nil && pick(g) {
			list = append(list, g)
		}
		return err
	})
	if err != nil {
		return dbutil.NewRowIterWithError[*crypto.InboundGroupSession](nil, nil, err)
	}
	return dbutil.NewSliceIter(list)
}

// GetGroupSessionsForRoom lists the sessions of a room.
func (s *store) GetGroupSessionsForRoom(_ context.Context, r id.RoomID) dbutil.RowIter[*crypto.InboundGroupSession] {
	return s.groupSessions(func(g *crypto.InboundGroupSession) bool { return g.RoomID == r })
}

// GetAllGroupSessions lists every session.
func (s *store) GetAllGroupSessions(context.Context) dbutil.RowIter[*crypto.InboundGroupSession] {
	return s.groupSessions(func(*crypto.InboundGroupSession) bool { return true })
}

// GetGroupSessionsWithoutKeyBackupVersion lists the sessions that are not in a backup.
func (s *store) GetGroupSessionsWithoutKeyBackupVersion(_ context.Context, v id.KeyBackupVersion) dbutil.RowIter[*crypto.InboundGroupSession] {
	return s.groupSessions(func(g *crypto.InboundGroupSession) bool { return g.KeyBackupVersion != v })
}

// outRecord is a session that we speak in. The library's own struct has a map
// that JSON refuses; who was told the key stands under "shared".
type outRecord struct {
	ID              id.SessionID
	Pickle          []byte
	Created, Used   time.Time
	MaxAge          time.Duration
	Most, Count     int
	SharedHistory   *bool
	Shared          bool
	LastDecryptedAt time.Time
}

// AddOutboundGroupSession keeps the session of a room in place of an earlier one.
func (s *store) AddOutboundGroupSession(_ context.Context, o *crypto.OutboundGroupSession) error {
	b, err := o.Internal.Pickle(s.pickle)
	if err != nil {
		return err
	}
	return s.set(key("out", string(o.RoomID)), outRecord{
		ID: o.ID(), Pickle: b, Created: o.CreationTime, Used: o.LastEncryptedTime, MaxAge: o.MaxAge, Most: o.MaxMessages,
		Count: o.MessageCount, SharedHistory: o.SharedHistory, Shared: o.Shared,
	})
}

// UpdateOutboundGroupSession keeps a session that was used, unless it was
// removed meanwhile: that must stay so.
func (s *store) UpdateOutboundGroupSession(ctx context.Context, o *crypto.OutboundGroupSession) error {
	var r outRecord
	if ok, err := s.read(key("out", string(o.RoomID)), &r); err != nil || !ok || r.ID != o.ID() {
		return err
	}
	return s.AddOutboundGroupSession(ctx, o)
}

// GetOutboundGroupSession returns the session of a room, nil if there is none.
func (s *store) GetOutboundGroupSession(_ context.Context, room id.RoomID) (*crypto.OutboundGroupSession, error) {
	var r outRecord
	if ok, err := s.read(key("out", string(room)), &r); err != nil || !ok {
		return nil, err
	}
	o := &crypto.OutboundGroupSession{
		Internal: olm.NewBlankOutboundGroupSession(), MaxMessages: r.Most, MessageCount: r.Count, SharedHistory: r.SharedHistory,
		Users: map[crypto.UserDevice]crypto.OGSState{}, RoomID: room, Shared: r.Shared,
	}
	o.CreationTime, o.LastEncryptedTime, o.MaxAge = r.Created, r.Used, r.MaxAge
	return o, o.Internal.Unpickle(r.Pickle, s.pickle)
}

// RemoveOutboundGroupSession forgets the session of a room.
func (s *store) RemoveOutboundGroupSession(_ context.Context, room id.RoomID) error {
	s.put(key("out", string(room)), nil)
	return nil
}

// MarkOutboundGroupSessionShared notes that a device was told a key, and may ask
// for it again.
func (s *store) MarkOutboundGroupSessionShared(_ context.Context, u id.UserID, k id.IdentityKey, g id.SessionID) error {
	s.put(key("shared", string(u), string(k), string(g)), []byte{})
	return nil
}

// IsOutboundGroupSessionShared tells whether a device was told a key.
func (s *store) IsOutboundGroupSessionShared(_ context.Context, u id.UserID, k id.IdentityKey, g id.SessionID) (bool, error) {
	b, err := s.get(key("shared", string(u), string(k), string(g)))
	return b != nil, err
}
