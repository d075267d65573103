//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

var _ chat.Rereader = (*Adapter)(nil)

// Own reads the bot's own latest posts in a place, the newest first, as the
// homeserver has them: at most limit, out of the last pages of the room.
func (a *Adapter) Own(ctx context.Context, place chat.Place, limit int) (seen []chat.Seen, err error) {
	room, root, ok := readPlace(place)
	if !ok {
		return nil, fmt.Errorf("%w: %q is no place on Matrix", chat.ErrGone, place)
	}
	rid, at := a.current(id.RoomID(room)), ""
	const pages = 5
	unreadable := 0
	for range pages {
		r, err := a.cli.Messages(ctx, rid, at, "", mautrix.DirectionBackward, nil, missedAtOnce)
		if err != nil {
			return nil, explained(err)
		}
		for _, e := range r.Chunk {
			one, ok, err := a.own(ctx, rid, e, id.EventID(root))
			if err != nil {
				unreadable++
			}
			if !ok {
				continue
			}
			if seen = append(seen, one); len(seen) == limit {
				return seen, nil
			}
		}
		if r.End == "" || r.End == at || len(r.Chunk) == 0 {
			break
		}
		at = r.End
	}
	if len(seen) == 0 && unreadable > 0 { // all of an earlier device: nothing can be told from them
		return nil, fmt.Errorf("matrix: our own posts are those of an earlier device: %w", errors.ErrUnsupported)
	}
	return seen, nil
}

// own reads an event as a post of ours.
func (a *Adapter) own(ctx context.Context, rid id.RoomID, e *event.Event, root id.EventID) (s chat.Seen, ok bool, err error) {
	e.RoomID = rid
	if e.Sender != a.cli.UserID || e.StateKey != nil || !parsed(e) {
		return s, false, nil
	}
	if e.Type.Type == event.EventEncrypted.Type {
		open, err := a.mach.DecryptMegolmEvent(ctx, e)
		if err != nil {
			return s, false, err
		}
		e = open
	}
	c, ok := e.Content.Parsed.(*event.MessageEventContent)
	if !ok || c.MsgType != event.MsgNotice || c.RelatesTo.GetReplaceID() != "" || c.RelatesTo.GetThreadParent() != root {
		return s, false, nil
	}
	post, _ := e.Content.Raw[postMark].(string)
	return chat.Seen{Post: chat.PostID(post), Ref: string(e.ID), Time: a.timeOf(e)}, true, nil
}
