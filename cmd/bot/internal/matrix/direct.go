//go:build goolm

package matrix

import (
	"context"
	"fmt"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// whither is the room and thread that a post goes to.
func (a *Adapter) whither(ctx context.Context, to chat.Destination) (rid id.RoomID, root id.EventID, err error) {
	if to.Only != "" {
		user, ok := readPerson(to.Only)
		if !ok || id.UserID(user) == a.cli.UserID {
			return "", "", fmt.Errorf("%w: %q is nobody on Matrix", chat.ErrGone, to.Only)
		}
		rid, err = a.direct(ctx, id.UserID(user))
		return rid, "", err
	}
	room, thread, ok := readPlace(to.Place)
	if !ok {
		return "", "", fmt.Errorf("%w: %q is no place on Matrix", chat.ErrGone, to.Place)
	}
	return a.current(id.RoomID(room)), id.EventID(thread), nil
}

// mostUpgrades is how often a room may have been upgraded.
const mostUpgrades = 20

// current is the room that goes on with another, itself if none does.
func (a *Adapter) current(rid id.RoomID) id.RoomID {
	for range mostUpgrades {
		var next id.RoomID
		a.rooms.view(rid, func(one *room) { next = one.Successor })
		var follows bool
		a.rooms.view(next, func(one *room) { follows = next != "" && one.Before != "" && one.Joined })
		if !follows {
			return rid
		}
		rid = next
	}
	return rid
}

// makeWithin is how long a room that was made may take to come by sync.
const makeWithin = time.Minute

// expects tells whether a room was made or joined just now.
func (a *Adapter) expects(rid id.RoomID) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	at, ok := a.expected[rid]
	if ok && a.now().Sub(at) > makeWithin {
		delete(a.expected, rid)
		ok = false
	}
	return ok
}

func (a *Adapter) expect(rid id.RoomID) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.expected[rid] = a.now()
}

// direct is the encrypted room with one person and nobody else, made if there is
// none. Who is in it is looked at each time: a third must not read along.
func (a *Adapter) direct(ctx context.Context, user id.UserID) (id.RoomID, error) {
	defer a.turns.take("direct " + string(user))()
	if rid := a.rooms.directWith(user, a.cli.UserID); rid != "" {
		return rid, nil
	}
	if a.making(user) {
		return "", fmt.Errorf("%w: the direct room is being made", chat.ErrLater)
	}
	if a.doubts() { // it may have been made already
		return "", fmt.Errorf("%w: looking for the direct room", chat.ErrLater)
	}
	hundred := 100
	state := func(t event.Type, c any) *event.Event {
		return &event.Event{Type: t, StateKey: new(string), Content: event.Content{Parsed: c}}
	}
	r, err := a.cli.CreateRoom(ctx, &mautrix.ReqCreateRoom{
		Preset: "private_chat", IsDirect: true, Invite: []id.UserID{user},
		CreationContent:    map[string]any{directMark: string(user)},
		PowerLevelOverride: &event.PowerLevelsEventContent{Users: map[id.UserID]int{a.cli.UserID: hundred}, InvitePtr: &hundred},
		InitialState: []*event.Event{
			state(event.StateEncryption, &event.EncryptionEventContent{Algorithm: id.AlgorithmMegolmV1}),
			state(event.StateHistoryVisibility, &event.HistoryVisibilityEventContent{HistoryVisibility: event.HistoryVisibilityInvited}),
		},
	})
	if err != nil {
		a.setDoubt(true)
		return "", fmt.Errorf("%w: a direct room: %w", chat.ErrLater, explained(err))
	}
	a.expect(r.RoomID)
	a.keep.put(key("making", string(user)), []byte(r.RoomID))
	go a.listDirect(context.WithoutCancel(ctx), user, r.RoomID)
	return "", fmt.Errorf("%w: the direct room is being made", chat.ErrLater)
}

// making tells whether a direct room was made that did not come by sync yet.
func (a *Adapter) making(user id.UserID) bool {
	b, err := a.keep.get(key("making", string(user)))
	return err == nil && b != nil && a.expects(id.RoomID(b))
}

// listDirect puts a room into the account's list of direct rooms, for clients
// that somebody may look after the bot with. Nothing of ours depends on it.
func (a *Adapter) listDirect(ctx context.Context, user id.UserID, rid id.RoomID) {
	ctx, cancel := context.WithTimeout(ctx, requestWithin)
	defer cancel()
	list := event.DirectChatsEventContent{}
	_ = a.cli.GetAccountData(ctx, event.AccountDataDirectChats.Type, &list) // none yet is an error
	list[user] = append(list[user], rid)
	if err := a.cli.SetAccountData(ctx, event.AccountDataDirectChats.Type, list); err != nil {
		a.log.Warn("matrix: the list of direct rooms", "err", err)
	}
}

// directWith is a room that is encrypted and has exactly the bot and one other,
// joined or invited; "" if there is none.
func (r *rooms) directWith(user, me id.UserID) (found id.RoomID) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for rid := range r.with[user] {
		one := r.all[rid]
		_, there := one.members[user]
		if one.private(me) && there && one.Encryption != nil && one.Joined && (found == "" || rid < found) {
			found = rid
		}
	}
	return found
}
