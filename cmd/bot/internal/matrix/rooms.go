//go:build goolm

package matrix

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"sync"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// rooms is what is known of every room that the bot is in, or was: from sync
// answers alone, so that nothing is believed before it was seen there.
type rooms struct {
	keep  *keep
	store *store
	me    id.UserID

	mu   sync.Mutex
	all  map[id.RoomID]*room
	with map[id.UserID]map[id.RoomID]bool // where somebody is
}

// lastSeen is how many of the latest events of a room are remembered, to know
// where a gap ends.
const lastSeen = 16

// room is one room; its members stand in records of their own.
type room struct {
	ID         id.RoomID
	Joined     bool                          // the bot's own join came by sync
	Live       bool                          // what is said now is for the bot; false until its join was passed
	Greeted    bool                          // the desk was told of the join
	Direct     bool                          // somebody's, or ours, for two
	For        id.UserID                     `json:",omitempty"` // whom we made it for
	Encryption *event.EncryptionEventContent `json:",omitempty"` // the first that came; it never changes
	Visibility event.HistoryVisibility       `json:",omitempty"`
	Power      json.RawMessage               `json:",omitempty"`
	Create     json.RawMessage               `json:",omitempty"`
	Creator    id.UserID                     `json:",omitempty"`
	Successor  id.RoomID                     `json:",omitempty"`
	Inviter    id.UserID                     `json:",omitempty"`
	Before     id.RoomID                     `json:",omitempty"` // the first of the rooms that this one goes on with
	Parents    []id.RoomID                   `json:",omitempty"` // spaces that it says it belongs to
	Children   []id.RoomID                   `json:",omitempty"` // rooms that it says belong to it
	Seen       []id.EventID                  `json:",omitempty"`

	members map[id.UserID]member
}

// member is somebody in a room. Only the name is theirs to choose.
type member struct {
	User id.UserID
	Is   event.Membership
	Name string `json:",omitempty"`

	looks string // what the name looks like, to tell at once who looks the same
}

// shown is what somebody is called who looks like nobody else.
func (m member) shown() string {
	if m.Name != "" {
		return m.Name
	}
	return harmless(m.User.Localpart())
}

// openRooms reads what is known.
func openRooms(k *keep, s *store, me id.UserID) (*rooms, error) {
	r := &rooms{keep: k, store: s, me: me, all: map[id.RoomID]*room{}, with: map[id.UserID]map[id.RoomID]bool{}}
	byKey := map[string]*room{}
	err := k.scan("room"+sep, func(at string, b []byte) error {
		one := &room{members: map[id.UserID]member{}}
		if err := json.Unmarshal(b, one); err != nil {
			return fmt.Errorf("matrix: the pocket is damaged at %.40q: %w", at, err)
		}
		r.all[one.ID], byKey[key("mem", string(one.ID))+sep] = one, one
		return nil
	})
	if err != nil {
		return nil, err
	}
	for prefix, one := range byKey {
		err := k.scan(prefix, func(at string, b []byte) error {
			var m member
			if err := json.Unmarshal(b, &m); err != nil {
				return fmt.Errorf("matrix: the pocket is damaged at %.40q: %w", at, err)
			}
			r.enter(one, m)
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return r, nil
}

// at is a room, made if it is new; r.mu is held.
func (r *rooms) at(rid id.RoomID) *room {
	one, ok := r.all[rid]
	if !ok {
		one = &room{ID: rid, members: map[id.UserID]member{}}
		r.all[rid] = one
	}
	return one
}

// enter notes somebody's membership in memory.
func (r *rooms) enter(one *room, m member) {
	m.looks = likeness(m.shown())
	one.members[m.User] = m
	if r.with[m.User] == nil {
		r.with[m.User] = map[id.RoomID]bool{}
	}
	if m.Is.IsInviteOrJoin() {
		r.with[m.User][one.ID] = true
	} else {
		delete(r.with[m.User], one.ID)
		delete(one.members, m.User)
	}
}

// change changes a room and keeps it.
func (r *rooms) change(rid id.RoomID, f func(*room)) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	one := r.at(rid)
	f(one)
	return r.keep.set(key("room", string(rid)), one)
}

// view shows a room to f; a room that is not known is an empty one.
func (r *rooms) view(rid id.RoomID, f func(*room)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	one, ok := r.all[rid]
	if !ok {
		one = &room{ID: rid, members: map[id.UserID]member{}}
	}
	f(one)
}

// apply takes a state event in. An event whose content is not what its type says
// changes nothing.
func (r *rooms) apply(ctx context.Context, rid id.RoomID, e *event.Event) error {
	if e.StateKey == nil {
		return nil
	}
	e.Type.Class = event.StateEventType
	if e.Content.Parsed == nil && e.Content.ParseRaw(e.Type) != nil {
		return nil
	}
	if e.Type == event.StateMember {
		return r.member(ctx, rid, e)
	}
	if e.Type == event.StateSpaceParent || e.Type == event.StateSpaceChild {
		return r.change(rid, func(one *room) { one.family(e) })
	}
	if *e.StateKey != "" {
		return nil
	}
	return r.keep.together(ctx, func(ctx context.Context) error { return r.applyOwn(ctx, rid, e) })
}

// applyOwn takes what an event says of the room itself in.
func (r *rooms) applyOwn(ctx context.Context, rid id.RoomID, e *event.Event) error {
	rekey := false
	err := r.change(rid, func(one *room) {
		switch c := e.Content.Parsed.(type) {
		case *event.EncryptionEventContent:
			if one.Encryption == nil { // never off, never another
				one.Encryption = c
				if c.Algorithm == "" {
					one.Encryption = &event.EncryptionEventContent{Algorithm: id.AlgorithmMegolmV1}
				}
			}
		case *event.HistoryVisibilityEventContent:
			rekey = one.Visibility != "" && one.Visibility != c.HistoryVisibility
			one.Visibility = c.HistoryVisibility
		case *event.PowerLevelsEventContent:
			one.Power = e.Content.VeryRaw
		case *event.CreateEventContent:
			one.Create, one.Creator = e.Content.VeryRaw, e.Sender
			if whom, _ := e.Content.Raw[directMark].(string); e.Sender == r.me && whom != "" {
				one.For, one.Direct = id.UserID(whom), true
			}
		case *event.TombstoneEventContent:
			one.Successor = c.ReplacementRoom
		}
	})
	if err == nil && rekey {
		err = r.store.RemoveOutboundGroupSession(ctx, rid)
	}
	if err == nil && (e.Type == event.StateCreate || e.Type == event.StateTombstone) {
		err = r.follow(rid)
	}
	return err
}

// follow lets a room go on with another where each names the other: one alone could
// be anybody's claim.
func (r *rooms) follow(rid id.RoomID) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, old := range []*room{r.all[rid], r.all[r.all[rid].predecessor()]} {
		if old == nil || r.all[old.Successor] == nil {
			continue
		}
		next := r.all[old.Successor]
		if next.predecessor() != old.ID || next.Before != "" || next == old {
			continue
		}
		next.Before, next.Greeted = old.origin(), true
		if err := r.keep.set(key("room", string(next.ID)), next); err != nil {
			return err
		}
	}
	return nil
}

// predecessor is the room that a room says it goes on with, "" if none.
func (one *room) predecessor() id.RoomID {
	var c event.CreateEventContent
	if one == nil || one.Create == nil || json.Unmarshal(one.Create, &c) != nil {
		return ""
	}
	return c.GetPredecessor().RoomID
}

// mostName is how much of a name is kept, in characters.
const mostName = 40

// member takes somebody's membership in. Who comes must not read what was said
// before, and who goes not what is said after: the room gets a new key.
func (r *rooms) member(ctx context.Context, rid id.RoomID, e *event.Event) error {
	c := e.Content.AsMember()
	u := id.UserID(*e.StateKey)
	m := member{User: u, Is: c.Membership, Name: cutTo(harmless(c.Displayname), mostName)}
	return r.keep.together(ctx, func(ctx context.Context) error { return r.enters(ctx, rid, e.Sender, c, m) })
}

// enters notes a membership and takes the room's key away, both or neither.
func (r *rooms) enters(ctx context.Context, rid id.RoomID, by id.UserID, c *event.MemberEventContent, m member) error {
	u, rekey := m.User, false
	err := r.change(rid, func(one *room) {
		before := one.members[u].Is
		rekey = before.IsInviteOrJoin() != m.Is.IsInviteOrJoin()
		r.enter(one, m)
		if u == r.me {
			one.Joined = m.Is == event.MembershipJoin
			if m.Is == event.MembershipInvite {
				one.Direct, one.Inviter = one.Direct || c.IsDirect, by
			}
			if m.Is.IsLeaveOrBan() {
				one.Live, one.Greeted = false, false
			}
		}
	})
	if err != nil {
		return err
	}
	at := key("mem", string(rid), string(u))
	if m.Is.IsInviteOrJoin() {
		err = r.keep.set(at, m)
	} else {
		r.keep.put(at, nil)
	}
	if err == nil && rekey {
		err = r.store.RemoveOutboundGroupSession(ctx, rid)
	}
	return err
}

// present are those who must be able to read a room: joined or invited.
func (r *rooms) present(rid id.RoomID) (users []id.UserID) {
	r.view(rid, func(one *room) {
		for u := range one.members {
			users = append(users, u)
		}
	})
	slices.Sort(users)
	return users
}

func (r *rooms) encrypted(rid id.RoomID) (yes bool) {
	r.view(rid, func(one *room) { yes = one.Encryption != nil })
	return yes
}

// known tells whether the bot is in a room, or was, or may soon be.
func (r *rooms) known(rid id.RoomID) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.all[rid] != nil
}

func (r *rooms) joined(rid id.RoomID) (yes bool) {
	r.view(rid, func(one *room) { yes = one.Joined })
	return yes
}

// origin is the room that games here go by: the first, where rooms were upgraded.
func (one *room) origin() id.RoomID {
	if one.Before != "" {
		return one.Before
	}
	return one.ID
}

// two tells whether a room is between the bot and one other now.
func (r *rooms) two(rid id.RoomID) (yes bool) {
	r.view(rid, func(one *room) { yes = one.private(r.me) })
	return yes
}

// private tells whether a room is between the bot and one other.
func (one *room) private(me id.UserID) bool {
	return one.Direct && len(one.members) == 2 && one.members[me].Is == event.MembershipJoin
}

// name is what somebody is called in a room. Two who look alike are told apart
// by their ids.
func (one *room) name(u id.UserID) string {
	me, ok := one.members[u]
	if !ok {
		me = member{User: u}
		me.looks = likeness(me.shown())
	}
	for other, m := range one.members {
		if other != u && m.looks == me.looks {
			return me.shown() + " (" + harmless(string(u)) + ")"
		}
	}
	return me.shown()
}

// levels are the room's power levels, nil where it has none.
func (one *room) levels() *event.PowerLevelsEventContent {
	power := &event.PowerLevelsEventContent{}
	if one.Power == nil || json.Unmarshal(one.Power, power) != nil {
		return nil
	}
	create := &event.Event{Type: event.StateCreate, Sender: one.Creator}
	create.Content.VeryRaw = one.Create
	if one.Create != nil && create.Content.ParseRaw(event.StateCreate) == nil {
		power.CreateEvent = create
	}
	return power
}

// runs tells whether somebody runs the room, by the room's own levels.
func (one *room) runs(u id.UserID) bool {
	power := one.levels()
	if power == nil {
		return one.Creator == u
	}
	return power.GetUserLevel(u) >= power.StateDefault()
}

// IsEncrypted tells whether a room is encrypted.
func (r *rooms) IsEncrypted(_ context.Context, rid id.RoomID) (bool, error) {
	return r.encrypted(rid), nil
}

// GetEncryptionEvent returns how a room is encrypted, nil if it is not.
func (r *rooms) GetEncryptionEvent(_ context.Context, rid id.RoomID) (c *event.EncryptionEventContent, err error) {
	r.view(rid, func(one *room) { c = one.Encryption })
	return c, nil
}

// GetHistoryVisibility tells who may read what was said before.
func (r *rooms) GetHistoryVisibility(_ context.Context, rid id.RoomID) (c *event.HistoryVisibilityEventContent, err error) {
	r.view(rid, func(one *room) {
		if one.Visibility != "" {
			c = &event.HistoryVisibilityEventContent{HistoryVisibility: one.Visibility}
		}
	})
	return c, nil
}

// FindSharedRooms lists the encrypted rooms that somebody shares with the bot.
func (r *rooms) FindSharedRooms(_ context.Context, u id.UserID) (shared []id.RoomID, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for rid := range r.with[u] {
		if one := r.all[rid]; one.Encryption != nil && one.Joined {
			shared = append(shared, rid)
		}
	}
	return shared, nil
}
