//go:build goolm

package matrix

import (
	"bytes"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"

	"drumhead/commands/chat"
)

// point is a step that the bot dies of, and what people must see all the same.
type point struct {
	what  string
	at    func(step) bool // nil: does kills it
	after bool            // it dies when the step is done, else before
	warm  bool            // everybody has everybody's key
	does  func(*theatre)  // ann says something, if nil
	then  func(*theatre)  // after the bot was started anew
	sees  []string        // by ann, once and in this order; the answer to what she said, if nil
}

// play plays points in one theatre. At the end of each ann says one thing more,
// which must be answered after all else.
func play(t *testing.T, points []point) {
	th := openTheatre(t)
	for _, p := range points {
		t.Run(p.what, func(t *testing.T) {
			th.scene(t, p.warm)
			if p.at != nil {
				th.world.dies(p.after, p.at)
			}
			if p.does == nil {
				p.does = rolls
			}
			p.does(th)
			th.survives()
			if p.then != nil {
				p.then(th)
			}
			for _, text := range p.sees {
				th.ann.Await(text, from(th.b.user, th.text(text)))
			}
			th.ann.Say(th.fen, th.text("!and then"))
			sees := []string{}
			for _, text := range append(p.sees, "/AND THEN") {
				sees = append(sees, th.text(text))
			}
			if p.sees == nil {
				sees = append([]string{th.text("/ROLL")}, sees...)
			}
			once(t, th.ann, th.b.user, sees...)
			if n := th.ann.Unread(th.fen); n > 0 {
				t.Errorf("ann could not read %d posts", n)
			}
			heard := map[string]chat.Source{}
			for _, m := range th.b.desk.Heard() {
				if before, ok := heard[m.Text]; ok && before != m.Source && !m.Joined {
					t.Errorf("%q was heard by two names", m.Text)
				}
				heard[m.Text] = m.Source
			}
		})
	}
}

func rolls(th *theatre) { th.ann.Say(th.fen, th.text("!roll")) }

// TestCrashHearing: the bot dies while it takes in what somebody said.
func TestCrashHearing(t *testing.T) {
	play(t, []point{
		{what: "an answer came, nothing of it taken in", after: true, at: func(s step) bool {
			return asks(http.MethodGet, "/sync")(s) && bytes.Contains(s.answer, []byte(`"m.room.encrypted"`))
		}},
		{what: "a key was read and not kept", at: keeps("in" + sep)},
		{what: "a key was kept, its message not heard", at: keeps("in" + sep), after: true},
		{what: "the desk was given it, nothing said", does: func(th *theatre) {
			th.b.desk.Answer(func(m chat.Message) []chat.Post {
				if !m.Joined {
					th.world.kill()
				}
				return nil
			})
			rolls(th)
			<-th.world.end()
			th.b.echoes()
		}},
		{what: "answered, the answer of the sync not kept", at: inOrder(asks(http.MethodPut, "/send/"), keeps(tokenKey))},
		{what: "answered and kept", at: inOrder(asks(http.MethodPut, "/send/"), keeps(tokenKey)), after: true},
	})
}

// newcomer is somebody who was never seen before, in the scene's room.
func (th *theatre) newcomer() {
	who := th.s.Join(fmt.Sprintf("newcomer-%d-%d", th.n, len(th.more)))
	if _, err := th.ann.Cli.InviteUser(th.Context(), th.fen, &mautrix.ReqInviteUser{UserID: who.Cli.UserID}); err != nil {
		th.Fatal(err)
	}
	th.more = append(th.more, who)
	who.AwaitMembers(th.fen, 2+len(th.more))
	th.ann.AwaitMembers(th.fen, 2+len(th.more))
}

// read checks that newcomers could read what was said.
func (th *theatre) read(texts ...string) {
	th.Helper()
	for _, who := range th.more {
		for _, text := range texts {
			who.Await(text, from(th.b.user, th.text(text)))
		}
	}
	th.more = nil
}

// TestCrashSharing: the bot dies while it shares the key of its first words in a room
// with somebody whom it never met.
func TestCrashSharing(t *testing.T) {
	meets := func(th *theatre) { th.newcomer(); rolls(th) }
	var points []point
	for _, c := range []struct {
		what string
		at   func(step) bool
	}{
		{"who is in the room kept", keeps("mem" + sep)},
		{"a one-time key claimed", asks(http.MethodPost, "/keys/claim")},
		{"the room's key kept", keeps("out" + sep)},
		{"the room's key shared", asks(http.MethodPut, "/sendToDevice/")},
		{"the first message sent", asks(http.MethodPut, "/send/")},
		{"the first echo kept", drops("pend")},
		{"new one-time keys uploaded", func(s step) bool {
			return asks(http.MethodPost, "/keys/upload")(s) && bytes.Contains(s.body, []byte("signed_curve25519"))
		}},
	} {
		does, then := meets, func(th *theatre) { th.read("/ROLL") }
		if strings.Contains(c.what, "one-time keys") {
			does, then = drains, func(th *theatre) { th.more = th.more[:1]; th.read("/ROLL") }
		}
		points = append(points, point{what: "before " + c.what, at: c.at, does: does, then: then}, point{what: c.what, at: c.at, after: true, does: does, then: then})
	}
	play(t, points)
}

// drains lets people speak who were never seen before, each of whom takes a one-time
// key, until new ones are made.
func drains(th *theatre) {
	for _, text := range []string{"!roll", "hello", "hello", "hello"} {
		th.newcomer()
		th.more[len(th.more)-1].Say(th.fen, th.text(text))
		select {
		case <-th.world.end():
			return
		case <-time.After(time.Second):
		}
	}
}

// TestCrashPosts: the bot dies while it brings a post of the store to its room.
func TestCrashPosts(t *testing.T) {
	two := func(th *theatre) { th.gives(th.post("l/1", "one"), th.post("l/2", "two")) }
	both := []string{"one", "two"}
	put := asks(http.MethodPut, "/send/")
	play(t, []point{
		{what: "before it is kept that a message leaves", warm: true, does: two, sees: both, at: keeps("pend" + sep)},
		{what: "before a message leaves", warm: true, does: two, sees: both, at: put},
		{what: "a message left, the answer lost", warm: true, does: two, sees: both, at: put, after: true},
		{what: "the second left, the answer lost", warm: true, does: two, sees: both, at: inOrder(put, put), after: true},
		{what: "the homeserver has it, the store does not know", warm: true, sees: both, does: func(th *theatre) {
			if _, err := th.b.Send(th.Context(), th.post("l/1", "one")); err != nil {
				th.Fatal(err)
			}
			th.world.kill()
		}, then: two},
		{what: "before the echo is kept", warm: true, does: two, sees: both, at: drops("pend")},
		{what: "the echo is kept", warm: true, does: two, sees: both, at: drops("pend"), after: true},
		{what: "lost by the homeserver, before it is asked for", warm: true, does: loses, then: second, sees: both, at: asks(http.MethodGet, "/event/")},
		{what: "lost by the homeserver, asked for", warm: true, does: loses, then: second, sees: both, at: asks(http.MethodGet, "/event/"), after: true},
		{what: "lost by the homeserver, before it leaves again", warm: true, does: loses, then: second, sees: both, at: inOrder(asks(http.MethodGet, "/event/"), put)},
		{what: "lost by the homeserver, left again", warm: true, does: loses, then: second, sees: both, at: inOrder(asks(http.MethodGet, "/event/"), put), after: true},
	})
}

// loses sends a post that the homeserver takes and loses.
func loses(th *theatre) {
	th.liar.tell(status(http.StatusOK, `{"event_id":"$never:osier.test"}`))
	if _, err := th.b.Send(th.Context(), th.post("l/1", "one")); err != nil {
		th.Fatal(err)
	}
	th.b.later(2 * confirmWithin)
	th.ann.Send(th.fen, event.EventReaction, nothing) // so that an answer comes
}

// second hands in the post after a lost one when that was missed.
func second(th *theatre) {
	th.awaits("the lost post to be seen", func() bool { return th.kept("pend") == 0 })
	th.gives(th.post("l/2", "two"))
}

var nothing = &event.ReactionEventContent{RelatesTo: event.RelatesTo{Type: event.RelAnnotation, EventID: "$x", Key: "y"}}
