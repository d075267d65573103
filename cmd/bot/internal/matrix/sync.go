//go:build goolm

package matrix

import (
	"context"
	"errors"
	"math/rand/v2"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// What the pocket has of the answer that was taken in last: where the next begins,
// and when that was.
const (
	tokenKey = "since"
	awayKey  = "away"
)

// Patience of the loop.
const (
	longPoll    = 30 * time.Second
	firstPause  = 200 * time.Millisecond
	longestWait = 30 * time.Second
	lookAgain   = 500 * time.Millisecond // between two looks when in doubt
	looks       = 2                      // without an echo of ours, then there is no doubt left
)

// listen asks for what happened, again and again.
func (a *Adapter) listen(ctx context.Context, d chat.Desk) error {
	filter, since := "", ""
	pause, stage := firstPause, answer{}
	for ctx.Err() == nil {
		err := func() (err error) {
			if filter == "" {
				if filter, err = a.begin(ctx); err != nil {
					return err
				}
				b, err := a.keep.get(tokenKey)
				if err != nil {
					return err
				}
				since = string(b)
				if _, err := a.keep.read(awayKey, &a.away); err != nil {
					return err
				}
			}
			if stage.resp == nil {
				if stage.resp, err = a.ask(ctx, since, filter); err != nil {
					return err
				}
				stage.first = since == ""
			}
			if err := a.take(ctx, d, &stage); err != nil {
				return err
			}
			since = stage.resp.NextBatch
			a.catch(true)
			return nil
		}()
		switch {
		case ctx.Err() != nil:
			return nil
		case errors.Is(err, ErrToken), errors.Is(err, errSoft), errors.Is(err, errPickle), errors.Is(err, errBroken):
			return err
		case errors.Is(err, context.Canceled): // asked in vain: somebody wants to look at once
			continue
		case err != nil:
			a.setDoubt(true)
			a.log.Warn("matrix: trying again soon", "err", err, "in", pause)
			sleep(ctx, pause/2+rand.N(pause))
			pause = min(2*pause, longestWait)
			continue
		}
		pause = firstPause
		a.look(stage.echoes == 0)
		stage = answer{}
		if a.doubts() {
			sleep(ctx, lookAgain)
		}
		if err := a.housekeep(ctx); err != nil && ctx.Err() == nil {
			a.log.Error("matrix: housekeeping", "err", err)
		}
	}
	return nil
}

// sleep waits, or until ctx ends.
func sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}

// begin starts the line and makes the filter of this start. Members are asked
// for whole: every one of them needs the key.
func (a *Adapter) begin(ctx context.Context) (string, error) {
	if err := a.start(ctx); err != nil {
		return "", err
	}
	if _, err := a.mach.GetOwnCrossSigningPublicKeys(ctx); err != nil { // found out without a lock otherwise
		return "", explained(err)
	}
	none := []event.Type{{Type: "*"}}
	r, err := a.cli.CreateFilter(ctx, &mautrix.Filter{
		Presence:    &mautrix.FilterPart{NotTypes: none},
		AccountData: &mautrix.FilterPart{NotTypes: none},
		Room: &mautrix.RoomFilter{
			Ephemeral: &mautrix.FilterPart{NotTypes: none}, AccountData: &mautrix.FilterPart{NotTypes: none},
			Timeline: &mautrix.FilterPart{Limit: timelineLimit},
		},
	})
	if err != nil {
		return "", explained(err)
	}
	return r.FilterID, nil
}

const timelineLimit = 50

// ask asks for the next answer: at once while in doubt or while something waits
// for the pocket to know a room.
func (a *Adapter) ask(ctx context.Context, since, filter string) (*mautrix.RespSync, error) {
	wait := longPoll
	if since == "" || a.doubts() {
		wait = 0
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	a.mu.Lock()
	if a.doubt {
		wait = 0
	}
	if a.interrupt = nil; wait > 0 {
		a.interrupt, a.asked = cancel, time.Now()
	}
	a.mu.Unlock()
	defer func() {
		a.mu.Lock()
		a.interrupt = nil
		a.mu.Unlock()
	}()
	r, err := a.cli.FullSyncRequest(ctx, mautrix.ReqSync{Timeout: int(wait / time.Millisecond), Since: since, FilterID: filter, StreamResponse: since == ""})
	return r, explained(err)
}

// answer is a sync answer on its way through; what was done of it is not done
// again when the rest failed.
type answer struct {
	resp    *mautrix.RespSync
	first   bool        // of a new login: nothing in it is for the bot
	entered []id.RoomID // the rooms that it is the first to tell of; nil: not looked yet
	keys    bool        // the part about keys is done
	echoes  int         // of our own posts

	accepted map[id.RoomID]bool // invitations that are counted and being followed
}

// newRooms are the rooms of an answer that the bot was not in before it.
func (a *Adapter) newRooms(r *mautrix.RespSync) []id.RoomID {
	rids := []id.RoomID{}
	for rid := range r.Rooms.Join {
		if !a.rooms.joined(rid) {
			rids = append(rids, rid)
		}
	}
	return rids
}

// reread takes in how a room stands now. Of a room that the bot has just come into
// a homeserver may tell a state that is newer than what is said after it, and not
// tell it again: then the older event would stay for good.
func (a *Adapter) reread(ctx context.Context, rid id.RoomID) error {
	state, err := a.cli.State(ctx, rid)
	if err != nil {
		return tolerable(err)
	}
	for _, byKey := range state {
		for _, e := range byKey {
			if err := a.rooms.apply(ctx, rid, e); err != nil {
				return err
			}
		}
	}
	return nil
}

// take takes an answer in, in the order in which its parts depend on each other,
// and commits it last: then the token moves on.
func (a *Adapter) take(ctx context.Context, d chat.Desk, n *answer) error {
	r := n.resp
	if n.entered == nil {
		n.entered, n.accepted = a.newRooms(r), map[id.RoomID]bool{}
	}
	for rid, one := range r.Rooms.Join {
		for _, e := range one.State.Events {
			if err := a.rooms.apply(ctx, rid, e); err != nil {
				return err
			}
		}
	}
	for rid, one := range r.Rooms.Leave {
		if !a.rooms.known(rid) {
			continue // an invitation that was declined: anybody can send any number of them
		}
		for _, e := range append(one.State.Events, one.Timeline.Events...) {
			if err := a.rooms.apply(ctx, rid, e); err != nil {
				return err
			}
		}
		if err := a.rooms.change(rid, func(one *room) { one.Joined, one.Live, one.Greeted = false, false, false }); err != nil {
			return err
		}
	}
	if !n.keys {
		if err := a.takeKeys(ctx, r); err != nil {
			return err
		}
		n.keys = true
	}
	if err := a.late(ctx, d); err != nil {
		return err
	}
	if err := a.timelines(ctx, d, n); err != nil {
		return err
	}
	if !n.first {
		for _, rid := range n.entered {
			if err := a.reread(ctx, rid); err != nil {
				return err
			}
		}
	}
	for rid, one := range r.Rooms.Invite {
		if err := a.invited(ctx, n, rid, one); err != nil {
			return err
		}
	}
	a.keep.put(tokenKey, []byte(r.NextBatch))
	now := a.now()
	if err := a.keep.set(awayKey, now); err != nil {
		return err
	}
	if err := a.keep.commit(ctx); err != nil {
		return err
	}
	a.away = now
	fresh := len(n.entered) > 0
	for rid := range r.Rooms.Join {
		fresh = fresh || a.expects(rid) // a new room may come in pieces
	}
	if fresh {
		a.nudge() // what waited for the rooms
	}
	return nil
}

// timeline takes in what was said in a room. Nothing from before the bot's own
// join is for it.
func (a *Adapter) timeline(ctx context.Context, d chat.Desk, rid id.RoomID, t mautrix.SyncTimeline, first bool, g gap) (echoes int, err error) {
	live, seen := g.live, g.seen
	missed, err := g.missed()
	if err != nil {
		return 0, err
	}
	for _, e := range missed {
		if !live && a.joins([]*event.Event{e}) {
			live = true
			if err := a.greet(ctx, d, rid, e); err != nil {
				return echoes, err
			}
		}
		if n, err := a.hear(ctx, d, rid, e, live); err != nil {
			return echoes, err
		} else if n {
			echoes++
		}
	}
	for _, e := range t.Events {
		if e.StateKey != nil { // of an answer that is taken in again too: the state before it was
			if err := a.rooms.apply(ctx, rid, e); err != nil {
				return echoes, err
			}
		}
		if g.known[e.ID] {
			continue
		}
		if e.StateKey != nil && !live && !first && a.joins([]*event.Event{e}) {
			live = true
			if err := a.greet(ctx, d, rid, e); err != nil {
				return echoes, err
			}
		}
		if n, err := a.hear(ctx, d, rid, e, live && !first); err != nil {
			return echoes, err
		} else if n {
			echoes++
		}
		seen = append(seen, e.ID)
	}
	return echoes, a.rooms.change(rid, func(one *room) {
		one.Live = one.Joined
		one.Seen = seen[max(0, len(seen)-lastSeen):]
		one.Greeted = one.Greeted || first
	})
}

// joins tells whether the bot's own join is among events.
func (a *Adapter) joins(events []*event.Event) bool {
	for _, e := range events {
		if e.Type.Type == event.StateMember.Type && e.StateKey != nil && *e.StateKey == string(a.cli.UserID) {
			if m, _ := e.Content.Raw["membership"].(string); m == string(event.MembershipJoin) {
				return true
			}
		}
	}
	return false
}
