//go:build goolm

package matrix

import (
	"context"
	"errors"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// mostRooms is how many rooms the bot is in.
const mostRooms = 2000

// invited answers an invitation: it joins where the operator's lists allow it,
// and stays away silently where not.
func (a *Adapter) invited(ctx context.Context, n *answer, rid id.RoomID, in *mautrix.SyncInvitedRoom) error {
	var inviter id.UserID
	direct := false
	for _, e := range in.State.Events {
		if e.Type.Type != event.StateMember.Type || e.StateKey == nil || *e.StateKey != string(a.cli.UserID) {
			continue
		}
		e.Type.Class = event.StateEventType
		if parsed(e) && e.Content.AsMember().Membership == event.MembershipInvite {
			inviter, direct = e.Sender, e.Content.AsMember().IsDirect
		}
	}
	if inviter == "" {
		return nil
	}
	begun := n.accepted[rid] // it was counted, and may have been joined
	if !a.settings.admits(string(rid), string(inviter)) || !begun && (a.rooms.count() >= mostRooms || !a.pace.may("join", joinsAnHour, time.Hour)) {
		a.log.Info("matrix: an invitation was declined", "room", rid, "by", inviter)
		_, err := a.cli.LeaveRoom(ctx, rid)
		return tolerable(err)
	}
	n.accepted[rid] = true
	if err := a.rooms.change(rid, func(one *room) { one.Direct, one.Inviter = one.Direct || direct, inviter }); err != nil {
		return err
	}
	if err := a.keep.commit(ctx); err != nil { // once joined, no answer tells of the invitation again
		return err
	}
	a.expect(rid)
	_, err := a.cli.JoinRoomByID(ctx, rid)
	return tolerable(err)
}

// tolerable is an error that trying again could mend, nil if it could not.
func tolerable(err error) error {
	var h mautrix.HTTPError
	if errors.As(err, &h) && h.Response != nil && h.Response.StatusCode != 429 && !errors.Is(err, mautrix.MUnknownToken) {
		return nil
	}
	return explained(err)
}

func (r *rooms) count() (n int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, one := range r.all {
		if one.Joined {
			n++
		}
	}
	return n
}

// moved goes along when a room is upgraded, if the new one says so too and the
// operator's lists allow it. Where it may not enter yet it waits to be invited.
func (a *Adapter) moved(ctx context.Context, old id.RoomID) error {
	var next id.RoomID
	var inviter id.UserID
	a.rooms.view(old, func(one *room) { next, inviter = one.Successor, one.Inviter })
	if next == "" || !a.settings.admits(string(next), string(inviter)) && !a.settings.admits(string(old), string(inviter)) {
		return nil
	}
	if !a.pace.may("join", joinsAnHour, time.Hour) {
		return nil
	}
	if _, err := a.cli.JoinRoomByID(ctx, next); err != nil {
		a.log.Warn("matrix: the room that goes on with another could not be joined", "room", next, "err", err)
		return tolerable(err)
	}
	var create event.CreateEventContent
	if err := a.cli.StateEvent(ctx, next, event.StateCreate, "", &create); err != nil {
		return tolerable(err)
	}
	if create.GetPredecessor().RoomID != old {
		a.log.Warn("matrix: a room that claims to go on with another was left", "room", next)
		_, err := a.cli.LeaveRoom(ctx, next)
		return tolerable(err)
	}
	a.expect(next)
	return a.rooms.change(next, func(one *room) { one.Inviter = inviter })
}
