//go:build goolm

package matrix

import (
	"net/http"
	"strings"
	"sync"
	"testing"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
)

// editor is a way to the homeserver that changes sync answers before they arrive.
type editor struct {
	mu    sync.Mutex
	edit  func(*answered)
	joins []func(*http.Request) (*http.Response, error) // for joins to come
}

// answered is what a sync answer says of rooms, as much of it as the tests change.
type answered struct {
	Join map[id.RoomID]*struct {
		State    struct{ Events []dict } `json:"state"`
		Timeline struct {
			Events  []dict `json:"events"`
			Limited bool   `json:"limited"`
			Prev    string `json:"prev_batch"`
		} `json:"timeline"`
	} `json:"join"`
	Invite map[id.RoomID]any `json:"invite"`
	Leave  map[id.RoomID]any `json:"leave"`
}

// RoundTrip changes a sync answer, and answers joins as told.
func (d *editor) RoundTrip(r *http.Request) (*http.Response, error) {
	if strings.HasSuffix(r.URL.Path, "/join") {
		d.mu.Lock()
		defer d.mu.Unlock()
		if len(d.joins) > 0 {
			says := d.joins[0]
			d.joins = d.joins[1:]
			return says(r)
		}
	}
	a, err := matrixtest.Patient{}.RoundTrip(r)
	if err != nil || !strings.HasSuffix(r.URL.Path, "/sync") || a.StatusCode != http.StatusOK {
		return a, err
	}
	d.mu.Lock()
	edit := d.edit
	d.mu.Unlock()
	return rewritePart(a, "rooms", edit)
}

// newest tells whether an event is the power levels that the tests set.
func newest(e dict) bool {
	c, _ := e["content"].(dict)
	users, _ := c["users"].(dict)
	return e["type"] == event.StatePowerLevels.Type && users["@bo:"+matrixtest.ServerName] != nil
}

// rule lets ann make bo a moderator.
func rule(t *testing.T, ann, bo *matrixtest.Person, rid id.RoomID) {
	t.Helper()
	levels := &event.PowerLevelsEventContent{Users: map[id.UserID]int{ann.Cli.UserID: 100, bo.Cli.UserID: 50}}
	if _, err := ann.Cli.SendStateEvent(t.Context(), rid, event.StatePowerLevels, "", levels); err != nil {
		t.Fatal(err)
	}
}

// TestStateNewerThanWhatFollows: Dendrite may tell the newest state of a room that
// the bot came into before an older timeline, and never again. What is newest holds.
func TestStateNewerThanWhatFollows(t *testing.T) {
	s := matrixtest.New(t)
	ruled := make(chan struct{})
	d := &editor{edit: func(a *answered) {
		for _, one := range a.Join {
			<-ruled
			var kept []dict
			for _, e := range one.Timeline.Events {
				if !newest(e) {
					kept = append(kept, e)
				}
			}
			one.Timeline.Events = kept
		}
	}}
	b := newBot(t, s, func(b *bot) { b.parts.Transport = d })
	ann, bo := s.Join("ann"), s.Join("bo")
	fen := ann.Room(true, b.user, bo.Cli.UserID)
	rule(t, ann, bo, fen)
	close(ruled)
	ann.AwaitMembers(fen, 3)
	bo.AwaitMembers(fen, 3)
	bo.Say(fen, "!bo")
	if m := b.heard(t, "/bo"); !m.Organiser {
		t.Error("a moderator is no organiser")
	}
}

// TestTakenInAgain: an answer of which a part failed is taken in again with the
// state that it begins with; what came after that state still holds.
func TestTakenInAgain(t *testing.T) {
	s := matrixtest.New(t)
	var old dict
	d := &editor{}
	d.edit = func(a *answered) {
		for _, one := range a.Join {
			for _, e := range one.Timeline.Events {
				switch {
				case newest(e):
					one.State.Events = append(one.State.Events, old)
					a.Invite = map[id.RoomID]any{"!nowhere:" + matrixtest.ServerName: dict{"invite_state": dict{"events": []dict{{
						"type": "m.room.member", "state_key": "@" + botName + ":" + matrixtest.ServerName,
						"sender": "@ann:" + matrixtest.ServerName, "content": dict{"membership": "invite"},
					}}}}}
					d.mu.Lock()
					d.joins = append(d.joins, lost, status(http.StatusForbidden, `{"errcode":"M_FORBIDDEN"}`))
					d.mu.Unlock()
				case e["type"] == event.StatePowerLevels.Type:
					old = e
				}
			}
		}
	}
	b := newBot(t, s, func(b *bot) { b.parts.Transport = d })
	ann, bo := s.Join("ann"), s.Join("bo")
	fen := ann.Room(true, b.user, bo.Cli.UserID)
	ann.AwaitMembers(fen, 3)
	bo.AwaitMembers(fen, 3)
	bo.Say(fen, "!bo")
	if m := b.heard(t, "/bo"); m.Organiser {
		t.Error("anybody is an organiser")
	}
	rule(t, ann, bo, fen)
	bo.Say(fen, "!bo now")
	if m := b.heard(t, "/bo now"); !m.Organiser {
		t.Error("a moderator is no organiser")
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if old == nil || len(d.joins) != 0 {
		t.Error("the answer was not taken in again")
	}
}
