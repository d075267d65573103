//go:build goolm

package matrix

import (
	"slices"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// A community is a space, for the rooms that it names and that name it; a room
// without a space is one of its own.

// family takes the events in that tie rooms and spaces.
func (one *room) family(e *event.Event) {
	switch c := e.Content.Parsed.(type) {
	case *event.SpaceParentEventContent:
		one.Parents = tied(one.Parents, id.RoomID(*e.StateKey), len(c.Via) > 0)
	case *event.SpaceChildEventContent:
		one.Children = tied(one.Children, id.RoomID(*e.StateKey), len(c.Via) > 0)
	}
}

// mostTied is how many rooms a space is known to have.
const mostTied = 500

func tied(list []id.RoomID, r id.RoomID, yes bool) []id.RoomID {
	list = slices.DeleteFunc(list, func(o id.RoomID) bool { return o == r })
	if yes && len(list) < mostTied {
		list = append(list, r)
	}
	return list
}

// community is the one that a room belongs to.
func (a *Adapter) community(rid id.RoomID) chat.Community {
	a.rooms.mu.Lock()
	defer a.rooms.mu.Unlock()
	return a.rooms.community(rid)
}

// community is the one that a room belongs to; r.mu is held.
func (r *rooms) community(rid id.RoomID) chat.Community {
	one := r.all[rid]
	if one == nil {
		return chat.Community(placeOf(string(rid), ""))
	}
	for _, p := range one.Parents {
		if space := r.all[p]; space != nil && space.Joined && slices.Contains(space.Children, rid) {
			return chat.Community(placeOf(string(p), ""))
		}
	}
	return chat.Community(placeOf(string(one.origin()), ""))
}

// home is the community that what somebody says in private is meant for: that
// where they spoke last, or one that they share with the bot.
func (a *Adapter) home(u id.UserID) chat.Community {
	last, err := a.keep.get(key("home", string(u)))
	if err != nil {
		a.log.Error("matrix: home", "err", err)
	}
	a.rooms.mu.Lock()
	defer a.rooms.mu.Unlock()
	var shared []chat.Community
	for rid := range a.rooms.with[u] {
		if one := a.rooms.all[rid]; one.Joined && !one.Direct {
			shared = append(shared, a.rooms.community(rid))
		}
	}
	if slices.Contains(shared, chat.Community(last)) {
		return chat.Community(last)
	}
	if len(shared) == 0 {
		return ""
	}
	return slices.Min(shared)
}

// setHome notes where somebody spoke last.
func (a *Adapter) setHome(u id.UserID, c chat.Community) {
	if b, err := a.keep.get(key("home", string(u))); err == nil && string(b) != string(c) {
		a.keep.put(key("home", string(u)), []byte(c))
	}
}
