//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// mostLooks is how many people of the lists are asked for, and how many rooms are
// told of one by one.
const mostLooks = 10

// lists looks whether those who may invite the bot can be anybody.
func (d *doctor) lists(ctx context.Context) {
	s := d.settings
	home := server(s.User)
	if at, err := url.Parse(s.Homeserver); err == nil && at.Hostname() != home && slices.Contains(s.Servers, at.Hostname()) {
		d.wrong("servers", "%s is where the homeserver answers, and nobody's id ends so; write servers = [%q]", at.Hostname(), home)
	}
	for _, who := range s.People[:min(len(s.People), mostLooks)] {
		_, err := d.cli.GetProfile(ctx, id.UserID(who))
		if errors.Is(err, mautrix.MNotFound) {
			d.wrong("people", "nobody is called %s, as their homeserver says; correct the name in people", who)
		}
	}
	for _, rid := range s.Rooms[:min(len(s.Rooms), mostLooks)] {
		if !d.rooms.joined(id.RoomID(rid)) {
			d.good("rooms", "%s is in the list, and the bot is not in it yet; invite it", rid)
		}
	}
}

// inRooms looks whether the bot may do in its rooms what it needs to do, by their
// levels as it knew them last.
func (d *doctor) inRooms(ctx context.Context) {
	joined, clear, told := 0, 0, 0
	for _, one := range d.rooms.all {
		if !one.Joined {
			continue
		}
		joined++
		if one.Encryption == nil {
			clear++
		}
	}
	d.good("rooms", "%d, of which %d are not encrypted", joined, clear)
	for _, one := range d.rooms.sorted() {
		lacks := one.lacks(d.cli.UserID)
		if !one.Joined || one.Successor != "" || lacks == "" {
			continue
		}
		if told++; told <= mostLooks {
			d.wrong("room "+d.called(ctx, one.ID), "%s", lacks)
		}
	}
	if told > mostLooks {
		d.wrong("rooms", "%d more like these; raise the bot's level there", told-mostLooks)
	}
}

// sorted are the rooms by their ids.
func (r *rooms) sorted() (list []*room) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, one := range r.all {
		list = append(list, one)
	}
	slices.SortFunc(list, func(a, b *room) int { return strings.Compare(string(a.ID), string(b.ID)) })
	return list
}

// lacks tells what the bot may not do in a room that it needs to do, and what to do
// about it; "" if nothing.
func (one *room) lacks(me id.UserID) string {
	power := one.levels()
	if power == nil {
		return ""
	}
	has := power.GetUserLevel(me)
	post := event.EventMessage
	if one.Encryption != nil {
		post = event.EventEncrypted
	}
	if need := power.GetEventLevel(post); has < need {
		return fmt.Sprintf("the bot may not post there: its level is %d, and %s needs %d; raise the one or lower the other in the room's settings", has, post.Type, need)
	}
	if need := power.GetEventLevel(event.EventRedaction); has < need {
		return fmt.Sprintf("the bot may not take back what it posted, as it must when words are hidden: its level is %d, and m.room.redaction needs %d; raise the one or lower the other in the room's settings", has, need)
	}
	return ""
}

// called is a room's name, as the homeserver has it, or its id.
func (d *doctor) called(ctx context.Context, rid id.RoomID) string {
	var c event.RoomNameEventContent
	if err := d.cli.StateEvent(ctx, rid, event.StateRoomName, "", &c); err != nil || harmless(c.Name) == "" {
		return string(rid)
	}
	return fmt.Sprintf("%s (%s)", cutTo(harmless(c.Name), mostName), rid)
}

// waits tells what is still under way.
func (d *doctor) waits() {
	count := func(kind string) (n int) {
		_ = d.keep.scan(kind+sep, func(string, []byte) error { n++; return nil })
		return n
	}
	d.good("under way", "%d posts not seen in their rooms yet, %d that wait to go out, %d messages without their key", count("pend"), count("queue"), count("late"))
	if n := count("poison"); n > 0 {
		d.good("put aside", "%d messages on which the program failed; their references stand in the log, please report them", n)
	}
}
