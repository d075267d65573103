//go:build goolm

package matrix

import (
	"bytes"
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

	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

var errDead = errors.New("the bot is dead")

// step is something that leaves the bot or comes to it: a request, or a commit of
// its pocket.
type step struct {
	request *http.Request
	body    []byte            // of the request
	answer  []byte            // of the homeserver, once it came
	commit  map[string][]byte // nil if it is a request
}

// mortal is the world of a bot that dies at a step: before it is done, or after. From
// then on nothing leaves it and nothing is kept, until it is started anew.
type mortal struct {
	*chattest.Pocket
	next http.RoundTripper

	mu    sync.Mutex
	at    func(step) bool
	after bool
	dead  bool
	died  chan struct{}
	done  []step // since the bot was started
}

func newMortal(next http.RoundTripper) *mortal {
	return &mortal{Pocket: chattest.NewPocket(), next: next, died: make(chan struct{})}
}

// dies sets the step that the bot does not survive.
func (m *mortal) dies(after bool, at func(step) bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.at, m.after = at, after
}

// wakes lets it live again.
func (m *mortal) wakes() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.at, m.dead, m.done, m.died = nil, false, nil, make(chan struct{})
}

// fatal tells whether the bot is dead, or dies of a step now.
func (m *mortal) fatal(s step, after bool) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !m.dead && after {
		m.done = append(m.done, s)
	}
	if !m.dead && m.at != nil && m.after == after && m.at(s) {
		m.dead = true
		close(m.died)
	}
	return m.dead
}

// kill is death at no step.
func (m *mortal) kill() {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !m.dead {
		m.dead = true
		close(m.died)
	}
}

// end is closed when the bot is dead.
func (m *mortal) end() <-chan struct{} {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.died
}

// RoundTrip makes a request, unless the bot is dead.
func (m *mortal) RoundTrip(r *http.Request) (*http.Response, error) {
	s := step{request: r}
	if r.Body != nil && r.Method != http.MethodGet {
		var err error
		if s.body, err = io.ReadAll(r.Body); err != nil {
			return nil, err
		}
		r.Body = io.NopCloser(bytes.NewReader(s.body))
	}
	if m.fatal(s, false) {
		return nil, errDead
	}
	a, err := m.next.RoundTrip(r)
	if err != nil {
		return nil, err
	}
	if s.answer, err = io.ReadAll(a.Body); err != nil {
		return nil, err
	}
	a.Body.Close()
	a.Body = io.NopCloser(bytes.NewReader(s.answer))
	if m.fatal(s, true) {
		return nil, errDead
	}
	return a, nil
}

// Commit makes changes, unless the bot is dead.
func (m *mortal) Commit(ctx context.Context, changes map[string][]byte) error {
	if len(changes) == 0 {
		return nil
	}
	if m.fatal(step{commit: changes}, false) {
		return errDead
	}
	if err := m.Pocket.Commit(ctx, changes); err != nil {
		return err
	}
	if m.fatal(step{commit: changes}, true) {
		return errDead
	}
	return nil
}

// asks is a request with a method whose path has a part.
func asks(method, part string) func(step) bool {
	return func(s step) bool {
		return s.request != nil && s.request.Method == method && strings.Contains(s.request.URL.Path, part)
	}
}

// keeps is a commit that puts something there whose key begins so.
func keeps(prefix string) func(step) bool {
	return func(s step) bool {
		for k, v := range s.commit {
			if strings.HasPrefix(k, prefix) && v != nil {
				return true
			}
		}
		return false
	}
}

// drops is a commit that takes something away whose key begins so.
func drops(prefix string) func(step) bool {
	return func(s step) bool {
		for k, v := range s.commit {
			if strings.HasPrefix(k, prefix+sep) && v == nil {
				return true
			}
		}
		return false
	}
}

// inOrder is the step that fits last, when others came before it.
func inOrder(steps ...func(step) bool) func(step) bool {
	return func(s step) bool {
		if len(steps) > 0 && steps[0](s) {
			steps = steps[1:]
			return len(steps) == 0
		}
		return false
	}
}

// theatre is a bot that dies and comes back, with ann in an encrypted room.
type theatre struct {
	*testing.T // of the scene
	whole      *testing.T
	s          *matrixtest.Server
	world      *mortal
	slow       *sluggish
	liar       *liar
	pump       *pump
	b          *bot
	ann        *matrixtest.Person
	fen        id.RoomID
	n          int
	more       []*matrixtest.Person // newcomers of this scene
}

// openTheatre makes one; scenes are played in it one after the other.
func openTheatre(t *testing.T) *theatre {
	th := &theatre{T: t, whole: t, s: matrixtest.New(t), liar: &liar{}, pump: &pump{t: t}}
	th.slow = &sluggish{next: th.liar}
	th.world = newMortal(th.slow)
	th.b = newBot(t, th.s, func(b *bot) {
		b.parts.Transport, b.parts.Pocket, b.parts.Settle = th.world, th.world, th.pump.settle
		b.parts.Make = painter{[]byte("no picture at all")}
	})
	th.pump.b = th.b
	th.b.echoes()
	th.ann = th.s.Join("ann")
	return th
}

// scene begins with a new room; warm: where everybody has everybody's key.
func (th *theatre) scene(t *testing.T, warm bool) {
	t.Helper()
	th.T, th.n = t, th.n+1
	th.fen = th.ann.Room(true, th.b.user)
	th.ann.AwaitMembers(th.fen, 2)
	if !warm {
		return
	}
	th.ann.Say(th.fen, th.text("!warm"))
	th.ann.Await("the bot", from(th.b.user, th.text("/WARM")))
	th.awaits("nothing to be on its way", func() bool { return th.kept("pend") == 0 }) // its echo came too
}

// awaits waits until something is so.
func (th *theatre) awaits(what string, so func() bool) {
	th.Helper()
	for range 1500 {
		if so() {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	th.Fatalf("waited in vain for %s", what)
}

// kept is how much the bot has under a name.
func (th *theatre) kept(name string) (n int) {
	_ = th.b.keep.scan(name+sep, func(string, []byte) error { n++; return nil })
	return n
}

// passed tells whether a step was done since the bot was started.
func (th *theatre) passed(at func(step) bool) bool {
	th.world.mu.Lock()
	defer th.world.mu.Unlock()
	return slices.ContainsFunc(th.world.done, at)
}

// text is a text of this scene alone.
func (th *theatre) text(s string) string { return fmt.Sprint(s, " ", th.n) }

// survives waits until the bot is dead and starts it on what it had kept.
func (th *theatre) survives() {
	th.Helper()
	select {
	case <-th.world.end():
	case <-time.After(20 * time.Second):
		th.Fatal("the bot did not come to the step that it dies of")
	}
	th.b.stop()
	th.world.wakes()
	th.b.run(th.whole)
	th.b.nudge()
}

// post is one of the store's, in the scene's room.
func (th *theatre) post(name, text string) chat.Post {
	return chat.Post{ID: chat.PostID(th.text(name)), To: chat.Destination{Place: placeOf(string(th.fen), "")}, Entry: -1,
		Lines: []chat.Line{{{Kind: chat.Plain, Text: th.text(text)}}}}
}

// gives hands posts to the pump, which tries until they are sent.
func (th *theatre) gives(posts ...chat.Post) {
	th.pump.mu.Lock()
	th.pump.posts = append(th.pump.posts, posts...)
	th.pump.mu.Unlock()
	th.b.nudge()
}
