//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
)

// gate is a way to the homeserver that answers some requests itself, and notes all.
type gate struct {
	mu      sync.Mutex
	refuses func(r *http.Request) (status int) // 0: the homeserver answers
	passed  []string                           // method, path and body
}

func (g *gate) RoundTrip(r *http.Request) (*http.Response, error) {
	var body []byte
	if r.Body != nil {
		body, _ = io.ReadAll(r.Body)
		r.Body = io.NopCloser(strings.NewReader(string(body)))
	}
	g.mu.Lock()
	g.passed = append(g.passed, r.Method+" "+r.URL.Path+" "+string(body))
	code := 0
	if g.refuses != nil {
		code = g.refuses(r)
	}
	n := len(g.passed)
	g.mu.Unlock()
	switch {
	case code != 0:
		return status(code, `{"errcode":"M_LIMIT_EXCEEDED","error":"x","retry_after_ms":1}`)(r)
	case strings.HasSuffix(r.URL.Path, "/state"):
		return status(200, `[]`)(r)
	case strings.HasSuffix(r.URL.Path, "/upload") && strings.Contains(r.URL.Path, "/media/"):
		return status(200, `{"content_uri":"mxc://osier.test/x"}`)(r)
	case strings.Contains(r.URL.Path, "/send/"), strings.Contains(r.URL.Path, "/redact/"):
		return status(200, fmt.Sprintf(`{"event_id":"$sent%d"}`, n))(r)
	}
	return http.DefaultTransport.RoundTrip(r)
}

// refuse refuses every request whose path has such an end.
func (g *gate) refuse(end string, status int) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.refuses = func(r *http.Request) int {
		if strings.HasSuffix(r.URL.Path, end) {
			return status
		}
		return 0
	}
}

// saw counts the requests that have all of some words.
func (g *gate) saw(words ...string) (n int) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, p := range g.passed {
		if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(p, w) }) {
			n++
		}
	}
	return n
}

// gated is a bot on the made up homeserver behind a gate, with its real paces; it has
// taken in its first answer.
func gated(t *testing.T, prepare func(*Adapter)) (*faked, *gate) {
	f, g := newFaked(t), &gate{}
	f.world.next = g
	f.b.prepare = prepare
	f.b.run(t)
	f.goesOn()
	return f, g
}

func joined(who id.UserID) dict {
	return dict{"type": "m.room.member", "event_id": "$in-" + string(who), "sender": who, "state_key": who, "content": dict{"membership": "join"}}
}

func spoken(n int) dict {
	return dict{"type": "m.room.message", "event_id": fmt.Sprint("$said", n), "sender": "@ann:" + matrixtest.ServerName, "content": dict{"msgtype": "m.text", "body": fmt.Sprint("!said ", n)}}
}

func invitations(rids ...string) dict {
	invite := dict{"invite_state": dict{"events": []dict{{
		"type": "m.room.member", "sender": "@ann:" + matrixtest.ServerName, "state_key": matrixtest.FakeUser, "content": dict{"membership": "invite"},
	}}}}
	all := dict{}
	for _, rid := range rids {
		all[rid] = invite
	}
	return dict{"rooms": dict{"invite": all}}
}

func inRoom(timeline dict) dict {
	return dict{"rooms": dict{"join": dict{"!fen:" + matrixtest.ServerName: dict{"timeline": timeline}}}}
}

// TestInvitationsTakenInAgain: while the homeserver lets one invitation wait, those of
// the same answer are counted once, and no room is left that was joined.
func TestInvitationsTakenInAgain(t *testing.T) {
	f, g := gated(t, func(a *Adapter) {
		for range joinsAnHour - 3 {
			a.pace.may("join", joinsAnHour, time.Hour)
		}
	})
	waits := 3
	g.mu.Lock()
	g.refuses = func(r *http.Request) int {
		if strings.Contains(r.URL.Path, "/join") && strings.Contains(r.URL.Path, "!two") && waits > 0 {
			waits--
			return http.StatusTooManyRequests
		}
		return 0
	}
	g.mu.Unlock()
	f.home.Say(invitations("!one:"+matrixtest.ServerName, "!two:"+matrixtest.ServerName))
	f.awaits("both", func() bool { return g.saw("POST", "/join", "!one") > 0 && g.saw("POST", "/join", "!two") > 3 })
	f.goesOn()
	if n := g.saw("POST", "/leave"); n != 0 {
		t.Errorf("%d rooms were left", n)
	}
}

// TestInvitedAgainIsCounted: an invitation that comes once more is another one.
func TestInvitedAgainIsCounted(t *testing.T) {
	f, g := gated(t, func(a *Adapter) {
		for range joinsAnHour - 1 {
			a.pace.may("join", joinsAnHour, time.Hour)
		}
	})
	for range 2 {
		f.home.Say(invitations("!one:" + matrixtest.ServerName))
	}
	f.goesOn()
	if in, out := g.saw("POST", "/join"), g.saw("POST", "/leave"); in != 1 || out != 1 {
		t.Errorf("joined %d times and declined %d times, want 1 and 1", in, out)
	}
}

// TestDeclinedIsForgotten: nothing is kept of an invitation that was declined.
func TestDeclinedIsForgotten(t *testing.T) {
	f, _ := gated(t, nil)
	stranger := dict{"type": "m.room.member", "event_id": "$x", "sender": "@x:elsewhere.test", "state_key": matrixtest.FakeUser, "content": dict{"membership": "leave"}}
	f.home.Say(dict{"rooms": dict{"leave": dict{"!flood:elsewhere.test": dict{"timeline": dict{"events": []dict{stranger}}}}}})
	f.goesOn()
	if f.b.rooms.all["!flood:elsewhere.test"] != nil {
		t.Error("the room of an invitation that was declined is remembered")
	}
}

// TestGapThatIsRefused: what was missed in a room that the homeserver does not show any
// more is lost, and the bot goes on with all else.
func TestGapThatIsRefused(t *testing.T) {
	for _, code := range []int{http.StatusBadRequest, http.StatusForbidden, http.StatusNotFound} {
		t.Run(fmt.Sprint(code), func(t *testing.T) {
			f, g := gated(t, nil)
			g.refuse("/messages", code)
			f.home.Say(inRoom(dict{"limited": true, "prev_batch": "p", "events": []dict{}}))
			f.home.Say(inRoom(dict{"events": []dict{joined(matrixtest.FakeUser), spoken(1)}}))
			f.b.heard(t, "/said 1")
			if n := g.saw("/messages"); n != 1 {
				t.Errorf("asked %d times", n)
			}
		})
	}
}

// faltering is a desk that fails on one text, so often.
type faltering struct {
	chat.Desk
	text  string
	fails int
}

func (d *faltering) Handle(ctx context.Context, m chat.Message) ([]chat.Post, error) {
	if m.Text == d.text && d.fails > 0 {
		d.fails--
		return nil, errors.New("the disk is full")
	}
	return d.Desk.Handle(ctx, m)
}

// TestTakenInAgainIsNotTooFast: what somebody said is counted once, however often its
// answer is taken in.
func TestTakenInAgainIsNotTooFast(t *testing.T) {
	f, g := gated(t, nil)
	f.b.stop()
	f.b.echoes()
	f.b.settings.PerMinute, f.b.hears = 3, &faltering{f.b.desk, "/said 3", mostFailures - 1}
	f.b.run(t)
	f.home.Say(inRoom(dict{"events": []dict{joined(matrixtest.FakeUser), spoken(1), spoken(2), spoken(3), spoken(4)}}))
	f.awaits("that the fourth is too fast", func() bool { return g.saw("/send/", "matrix.slower") > 0 })
	f.goesOn()
	for n := 1; n <= 3; n++ {
		if g.saw("/send/", fmt.Sprint("/SAID ", n)) == 0 {
			t.Errorf("%d was not answered", n)
		}
	}
	if g.saw("/send/", "/SAID 4") != 0 {
		t.Error("who is too fast is answered")
	}
}

// TestOneFloodHidesNoSentence: who goes on although they were told does not use up what
// others may be told.
func TestOneFloodHidesNoSentence(t *testing.T) {
	f, g := gated(t, nil)
	f.b.stop()
	f.b.echoes()
	f.b.settings.PerMinute = 1
	f.b.run(t)
	said := []dict{joined(matrixtest.FakeUser)}
	for n := range mostTold + 5 {
		said = append(said, spoken(n))
	}
	for n := range 2 {
		other := spoken(1000 + n)
		other["sender"] = "@bo:" + matrixtest.ServerName
		said = append(said, other)
	}
	f.home.Say(inRoom(dict{"events": said}))
	f.awaits("the other's answer", func() bool { return g.saw("/send/", "/SAID 1000") > 0 })
	f.goesOn()
	if n := g.saw("/send/", "matrix.slower"); n != 2 {
		t.Errorf("%d people were told that they are too fast, want 2", n)
	}
}

// TestLongPostWithoutItsFile: where the homeserver takes no file a post that is too
// long for a message is refused for good, and nothing waits for it.
func TestLongPostWithoutItsFile(t *testing.T) {
	f, g := gated(t, nil)
	g.refuse("/upload", http.StatusForbidden)
	f.home.Say(inRoom(dict{"events": []dict{joined(matrixtest.FakeUser)}}))
	fen := id.RoomID("!fen:" + matrixtest.ServerName)
	f.awaits("the room", func() bool { return f.b.rooms.joined(fen) })
	long := chat.Post{ID: "long", To: chat.Destination{Place: placeOf(string(fen), "")}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: strings.Repeat("heron ", mostText/5)}}}}
	if _, err := f.b.Send(t.Context(), long); !errors.Is(err, chat.ErrMuted) {
		t.Errorf("it ended with %v", err)
	}
}

// TestPictureThatIsNotTaken: where the new picture of an edit is not taken, the old one
// does not stay: it may show what was hidden since.
func TestPictureThatIsNotTaken(t *testing.T) {
	f, g := gated(t, func(a *Adapter) { a.parts.Make = colours{} })
	f.home.Say(inRoom(dict{"events": []dict{joined(matrixtest.FakeUser)}}))
	fen := "!fen:" + matrixtest.ServerName
	f.awaits("the room", func() bool { return f.b.rooms.joined(id.RoomID(fen)) })
	if _, err := f.b.Send(t.Context(), board(fen, "b/1", "", "turn 1")); err != nil {
		t.Fatal(err)
	}
	g.refuse("/upload", http.StatusForbidden)
	if _, err := f.b.Send(t.Context(), board(fen, "b/2", "b/1", "turn 2")); err != nil {
		t.Fatal(err)
	}
	if shown, gone := g.saw("/send/", "turn "), g.saw("/redact/"); shown != 1 || gone != 1 {
		t.Errorf("%d pictures were sent and %d taken away, want 1 and 1", shown, gone)
	}
}

// TestNamelessLookAlike: who has no name of their own is called by the first part of
// their id, and so may be somebody else.
func TestNamelessLookAlike(t *testing.T) {
	one := &room{members: map[id.UserID]member{}}
	r := &rooms{with: map[id.UserID]map[id.RoomID]bool{}}
	for u, name := range map[id.UserID]string{"@ann:osier.test": "", "@mal:elsewhere.test": "\u0430nn", "@bo:osier.test": "", "@bo:elsewhere.test": "", "@cy:osier.test": ""} {
		r.enter(one, member{User: u, Is: event.MembershipJoin, Name: name})
	}
	for u := range one.members {
		if name := one.name(u); strings.Contains(name, string(u)) == (u == "@cy:osier.test") {
			t.Errorf("%s is called %q", u, name)
		}
	}
	if name := one.name("@ann:gone.test"); !strings.Contains(name, "@ann:gone.test") {
		t.Errorf("who is not there is called %q", name)
	}
}
