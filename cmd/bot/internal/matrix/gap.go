//go:build goolm

package matrix

import (
	"context"
	"maps"
	"net/http"
	"slices"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// gap is what an answer left out of a room's timeline.
type gap struct {
	live  bool         // the bot was in the room before it
	seen  []id.EventID // the last of before
	known map[id.EventID]bool
	// missed waits for what was left out, the oldest first.
	missed func() ([]*event.Event, error)
}

// timelines takes in what was said in each room. While the bot hears one, the
// homeserver looks up what is missing of the next.
func (a *Adapter) timelines(ctx context.Context, d chat.Desk, n *answer) error {
	looking, stop := context.WithCancel(ctx)
	defer stop()
	join := n.resp.Rooms.Join
	rids := slices.Sorted(maps.Keys(join))
	gaps := make([]gap, len(rids)+1)
	for i := range rids {
		for ahead := i; ahead < min(i+2, len(rids)); ahead++ {
			if gaps[ahead].missed == nil {
				gaps[ahead] = a.gapOf(looking, rids[ahead], join[rids[ahead]].Timeline, n.first)
			}
		}
		echoes, err := a.timeline(withSessions(ctx), d, rids[i], join[rids[i]].Timeline, n.first, gaps[i])
		n.echoes += echoes
		if err != nil {
			return err
		}
		gaps[i] = gap{}
	}
	return nil
}

// gapOf begins to fetch what an answer left out of a room, if anything.
func (a *Adapter) gapOf(ctx context.Context, rid id.RoomID, t mautrix.SyncTimeline, first bool) gap {
	g := gap{known: map[id.EventID]bool{}, missed: func() ([]*event.Event, error) { return nil, nil }}
	a.rooms.view(rid, func(one *room) { g.live, g.seen = one.Live, one.Seen })
	for _, e := range g.seen {
		g.known[e] = true
	}
	if !t.Limited || first || !g.live && a.joins(t.Events) {
		return g
	}
	var events []*event.Event
	var err error
	done := make(chan struct{})
	go func() {
		defer close(done)
		events, err = a.fetchGap(ctx, rid, t.PrevBatch, g.known, g.live)
	}()
	g.missed = func() ([]*event.Event, error) { <-done; return events, err }
	return g
}

// Bounds of a gap: what is older was missed for good.
const (
	mostMissed   = 10_000
	longestGap   = 7 * 24 * time.Hour
	missedAtOnce = 100
)

// fetchGap fetches what came between the last event that is known and an answer that
// left some out, the oldest first.
func (a *Adapter) fetchGap(ctx context.Context, rid id.RoomID, from string, known map[id.EventID]bool, live bool) ([]*event.Event, error) {
	var back []*event.Event
	for len(back) < mostMissed && from != "" {
		r, err := a.cli.Messages(ctx, rid, from, "", mautrix.DirectionBackward, nil, missedAtOnce)
		switch statusOf(err) {
		case http.StatusBadRequest, http.StatusForbidden, http.StatusNotFound: // the bot was put out meanwhile, or the room is gone
			a.log.Warn("matrix: what was said in a room meanwhile is not to be had", "room", rid, "err", err)
			slices.Reverse(back)
			return back, nil
		}
		if err != nil {
			return nil, explained(err)
		}
		over := len(r.Chunk) == 0
		for _, e := range r.Chunk {
			if over = over || known[e.ID] || a.now().Sub(time.UnixMilli(e.Timestamp)) > longestGap; over {
				break
			}
			back = append(back, e)
			over = !live && a.joins([]*event.Event{e})
		}
		if over || r.End == from {
			break
		}
		from = r.End
	}
	slices.Reverse(back)
	return back, nil
}
