//go:build goolm

package matrix

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

// sluggish keeps what is for the device back while it is told to, as a homeserver
// under load may.
type sluggish struct {
	next http.RoundTripper // nil: the homeserver
	mu   sync.Mutex
	hold bool
	kept []json.RawMessage
	last string            // what was asked for when they were given back
	back []json.RawMessage // they come again if it is asked for again
}

// RoundTrip takes the to-device events out of a sync answer, or gives them back.
func (s *sluggish) RoundTrip(r *http.Request) (*http.Response, error) {
	next := s.next
	if next == nil {
		next = matrixtest.Patient{}
	}
	a, err := next.RoundTrip(r)
	if err != nil || !strings.HasSuffix(r.URL.Path, "/sync") || a.StatusCode != http.StatusOK {
		return a, err
	}
	return rewritePart(a, "to_device", func(device *toDevice) {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.kept = append(s.kept, device.Events...)
		device.Events = nil
		if s.hold {
			return
		}
		if since := r.URL.Query().Get("since"); since != s.last {
			s.last, s.back = since, nil
		}
		for _, e := range s.kept {
			if !slices.ContainsFunc(s.back, func(b json.RawMessage) bool { return bytes.Equal(b, e) }) {
				s.back = append(s.back, e)
			}
		}
		device.Events, s.kept = s.back, nil
	})
}

// toDevice is what a sync answer has for the device.
type toDevice struct {
	Events []json.RawMessage `json:"events"`
}

func (s *sluggish) set(hold bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.hold = hold
}

// TestLateKey: a message whose key comes later is answered then, once, also if the
// bot was started anew in between.
func TestLateKey(t *testing.T) {
	s, slow := matrixtest.New(t), &sluggish{}
	b := newBot(t, s, func(b *bot) { b.parts.Transport = slow })
	b.echoes()
	ann := s.Join("ann")
	fen := ann.Room(true, b.user)
	ann.AwaitMembers(fen, 2)
	slow.set(true)
	ann.Say(fen, "!first")
	waits := func() (n int) {
		_ = b.keep.scan("late"+sep, func(string, []byte) error { n++; return nil })
		return n
	}
	for range 500 {
		if waits() == 1 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if waits() != 1 {
		t.Fatal("the message does not wait for its key")
	}
	b.stop()
	b.run(t)
	time.Sleep(300 * time.Millisecond)
	slow.set(false)
	ann.Send(fen, event.EventReaction, &event.ReactionEventContent{RelatesTo: event.RelatesTo{Type: event.RelAnnotation, EventID: "$x", Key: "y"}}) // so that an answer comes
	once(t, ann, b.user, "/FIRST")
	if waits() != 0 {
		t.Error("it still waits")
	}
}

// TestKeyThatNeverComes: after a while its sender is asked for the key, and after
// an hour people are told, once.
func TestKeyThatNeverComes(t *testing.T) {
	s, slow := matrixtest.New(t), &sluggish{}
	b := newBot(t, s, func(b *bot) { b.parts.Transport = slow })
	b.echoes()
	ann := s.Join("ann")
	fen, pub := ann.Room(true, b.user), ann.Room(false, b.user)
	ann.AwaitMembers(fen, 2)
	ann.AwaitMembers(pub, 2)
	slow.set(true)
	ann.Say(fen, "!one")
	ann.Say(fen, "!two")
	ann.Say(pub, "!tick")
	ann.Await("the bot", from(b.user, "/TICK"))
	b.later(2 * giveUp)
	ann.Say(pub, "!tock")
	once(t, ann, b.user, "matrix.unreadable")
}

// TestNewcomersAndLeavers: who leaves cannot read what is said after, who comes
// can; each change is followed by a new key.
func TestNewcomersAndLeavers(t *testing.T) {
	a := newAttempts(t)
	a.ann.Say(a.fen, "!with bo")
	a.ann.Await("the answer", from(a.b.user, "/WITH BO"))
	first, err := a.b.store.GetOutboundGroupSession(t.Context(), a.fen)
	if err != nil || first == nil {
		t.Fatal(first, err)
	}
	if _, err := a.bo.Cli.LeaveRoom(t.Context(), a.fen); err != nil {
		t.Fatal(err)
	}
	a.ann.AwaitMembers(a.fen, 2)
	time.Sleep(200 * time.Millisecond)
	a.ann.Say(a.fen, "!without bo")
	a.ann.Await("the answer", from(a.b.user, "/WITHOUT BO"))
	second, err := a.b.store.GetOutboundGroupSession(t.Context(), a.fen)
	if err != nil || second == nil || second.ID() == first.ID() {
		t.Errorf("the key stayed after somebody left: %v", err)
	}
	shared, err := a.b.store.IsOutboundGroupSessionShared(t.Context(), a.bo.Cli.UserID, a.bo.Mach.OwnIdentity().IdentityKey, second.ID())
	if err != nil || shared {
		t.Errorf("who left was told the new key: %v %v", shared, err)
	}
}

// TestOneCommitAPost: a post into a room whose key is shared costs one commit,
// which comes before the post leaves.
func TestOneCommitAPost(t *testing.T) {
	_, _, p, _, fen := lane(t)
	pocket := p.b.parts.Pocket.(*chattest.Pocket)
	time.Sleep(500 * time.Millisecond) // echoes are in
	before := pocket.Commits()
	var atSend int
	l := p.b.parts.Transport.(*liar)
	l.tell(func(r *http.Request) (*http.Response, error) {
		atSend = pocket.Commits()
		return matrixtest.Patient{}.RoundTrip(r)
	})
	if _, err := p.b.Send(t.Context(), chat.Post{ID: "p/warm", To: chat.Destination{Place: placeOf(string(fen), "")}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: "warm"}}}}); err != nil {
		t.Fatal(err)
	}
	if n := atSend - before; n != 1 {
		t.Errorf("%d commits before a warm post left, want 1", n)
	}
}

// TestNothingLeavesUnkept: where keys cannot be kept, nothing is sent.
func TestNothingLeavesUnkept(t *testing.T) {
	_, _, p, ann, fen := lane(t)
	pocket := p.b.parts.Pocket.(*chattest.Pocket)
	l := p.b.parts.Transport.(*liar)
	pocket.Fail(func(map[string][]byte) error { return io.ErrShortWrite })
	l.mu.Lock()
	sends := l.sends
	l.mu.Unlock()
	_, err := p.b.Send(t.Context(), chat.Post{ID: "p/unkept", To: chat.Destination{Place: placeOf(string(fen), "")}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: "unkept"}}}})
	pocket.Fail(nil)
	l.mu.Lock()
	defer l.mu.Unlock()
	if err == nil || l.sends != sends {
		t.Errorf("sent all the same: %v", err)
	}
	for _, e := range ann.Events() {
		if matrixtest.Body(e) == "unkept" {
			t.Error("it was seen")
		}
	}
}
