//go:build goolm

package matrix

import (
	"context"
	"fmt"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
)

// TestFirstWords: the first thing said in a room is heard, however soon after the
// bot's coming it is said.
func TestFirstWords(t *testing.T) {
	s := matrixtest.New(t)
	b := newBot(t, s)
	ann := s.Join("ann")
	for i := range 24 {
		var rid id.RoomID
		if i%2 == 0 {
			rid = ann.Room(true, b.user)
		} else {
			r, err := ann.Cli.CreateRoom(context.Background(), &mautrix.ReqCreateRoom{Preset: "trusted_private_chat", IsDirect: true, Invite: []id.UserID{b.user},
				InitialState: []*event.Event{{Type: event.StateEncryption, StateKey: new(string), Content: event.Content{Parsed: &event.EncryptionEventContent{Algorithm: id.AlgorithmMegolmV1}}}}})
			if err != nil {
				t.Fatal(err)
			}
			rid = r.RoomID
		}
		ann.AwaitMembers(rid, 2)
		text := fmt.Sprintf("!roll %dd6", i+1)
		ann.Say(rid, text)
		heard := false
		for range 300 {
			for _, m := range b.desk.Heard() {
				heard = heard || m.Text == "/"+text[1:]
			}
			if heard {
				break
			}
			time.Sleep(10 * time.Millisecond)
		}
		if !heard {
			b.rooms.view(rid, func(one *room) { t.Errorf("%d was not heard: %+v", i, one) })
			_ = b.keep.scan("late", func(at string, v []byte) error { t.Logf("late %q", v); return nil })
		}
	}
}
