//go:build goolm

package matrix

import (
	"fmt"
	"testing"
	"time"

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
			rid = ann.Direct(b.user)
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
