//go:build goolm

package matrix

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

// liar is a way to the homeserver that lies about what happened to a message.
type liar struct {
	mu    sync.Mutex
	lies  []func(*http.Request) (*http.Response, error) // one for each message to come
	sends int
}

// RoundTrip tells the next lie about a message, and the truth about all else.
func (l *liar) RoundTrip(r *http.Request) (*http.Response, error) {
	if r.Method == http.MethodPut && strings.Contains(r.URL.Path, "/send/") {
		l.mu.Lock()
		l.sends++
		var lie func(*http.Request) (*http.Response, error)
		if len(l.lies) > 0 {
			lie, l.lies = l.lies[0], l.lies[1:]
		}
		l.mu.Unlock()
		if lie != nil {
			return lie(r)
		}
	}
	return matrixtest.Patient{}.RoundTrip(r)
}

func (l *liar) tell(lies ...func(*http.Request) (*http.Response, error)) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.lies = lies
}

func status(code int, body string, header ...string) func(*http.Request) (*http.Response, error) {
	return func(r *http.Request) (*http.Response, error) {
		h := http.Header{"Content-Type": {"application/json"}}
		for i := 0; i+1 < len(header); i += 2 {
			h.Set(header[i], header[i+1])
		}
		return &http.Response{StatusCode: code, Header: h, Body: io.NopCloser(strings.NewReader(body)), Request: r, ProtoMajor: 1, ProtoMinor: 1}, nil
	}
}

// taken lets the homeserver take the message, then says something else.
func taken(then func(*http.Request) (*http.Response, error)) func(*http.Request) (*http.Response, error) {
	return func(r *http.Request) (*http.Response, error) {
		a, err := matrixtest.Patient{}.RoundTrip(r)
		if err == nil {
			_, _ = io.Copy(io.Discard, a.Body)
			a.Body.Close()
		}
		return then(r)
	}
}

func lost(*http.Request) (*http.Response, error) { return nil, io.ErrUnexpectedEOF }

// pump sends posts as the desk's does: again and again until they are sent.
type pump struct {
	t     *testing.T
	b     *bot
	mu    sync.Mutex
	posts []chat.Post
}

// settle is what the adapter calls when something may go out.
func (p *pump) settle(ctx context.Context) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	for len(p.posts) > 0 {
		_, err := p.b.Send(ctx, p.posts[0])
		if errors.Is(err, chat.ErrLater) || ctx.Err() != nil {
			return nil
		}
		if err != nil {
			p.t.Errorf("post %s: %v", p.posts[0].ID, err)
		}
		p.posts = p.posts[1:]
	}
	return nil
}

func (p *pump) add(rid id.RoomID, texts ...string) {
	p.mu.Lock()
	for _, text := range texts {
		p.posts = append(p.posts, chat.Post{ID: chat.PostID("p/" + text), To: chat.Destination{Place: placeOf(string(rid), "")}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: text}}}})
	}
	p.mu.Unlock()
	p.b.nudge()
}

// lane is a bot behind a liar, a pump, and somebody in an encrypted room with it.
func lane(t *testing.T, change ...func(*bot)) (*matrixtest.Server, *liar, *pump, *matrixtest.Person, id.RoomID) {
	s, l := matrixtest.New(t), &liar{}
	p := &pump{t: t}
	change = append(change, func(b *bot) { b.parts.Transport, b.parts.Settle = l, p.settle })
	b := newBot(t, s, change...)
	p.b = b
	ann := s.Join("ann")
	fen := ann.Room(true, b.user)
	ann.AwaitMembers(fen, 2)
	b.echoes()
	ann.Say(fen, "!ready")
	ann.Await("the bot", from(b.user, "/READY"))
	return s, l, p, ann, fen
}

// once waits for texts of the bot and checks that each came once, in order.
func once(t *testing.T, p *matrixtest.Person, bot id.UserID, texts ...string) {
	t.Helper()
	for _, text := range texts {
		p.Await(text, from(bot, text))
	}
	p.Quiet(700 * time.Millisecond)
	var got []string
	for _, e := range p.Events() {
		for _, text := range texts {
			if e.Sender == bot && matrixtest.Body(e) == text {
				got = append(got, text)
			}
		}
	}
	if strings.Join(got, " ") != strings.Join(texts, " ") {
		t.Errorf("seen %q, want %q", got, texts)
	}
}

// TestOnceBehindALiar: whatever is said about a message, it comes once.
func TestOnceBehindALiar(t *testing.T) {
	_, l, p, ann, fen := lane(t)
	for name, lies := range map[string][]func(*http.Request) (*http.Response, error){
		"429 with a time in the body":   {status(429, `{"errcode":"M_LIMIT_EXCEEDED","retry_after_ms":300}`)},
		"429 with a time in the header": {status(429, `{}`, "Retry-After", "1")},
		"502, not taken":                {status(502, "<html>")},
		"502, taken":                    {taken(status(502, "<html>"))},
		"the answer lost":               {taken(lost)},
		"the answer lost twice":         {taken(lost), taken(lost)},
		"never arrived":                 {lost},
	} {
		t.Run(name, func(t *testing.T) {
			l.tell(lies...)
			word := strings.ReplaceAll(strings.ReplaceAll(name, " ", "-"), ",", "")
			p.add(fen, word+"-1", word+"-2")
			once(t, ann, p.b.user, word+"-1", word+"-2")
		})
	}
}

// TestOnceAcrossARestart: the bot is stopped when it does not know what became of
// a message, the homeserver forgets what it had been sent, and still each comes once.
func TestOnceAcrossARestart(t *testing.T) {
	s, l, p, ann, fen := lane(t)
	for i, lie := range []func(*http.Request) (*http.Response, error){taken(lost), lost, nil} {
		l.tell(lie)
		text := fmt.Sprintf("restart-%d", i)
		p.add(fen, text)
		for range 500 {
			l.mu.Lock()
			told := len(l.lies) == 0
			l.mu.Unlock()
			if told {
				break
			}
			time.Sleep(5 * time.Millisecond)
		}
		time.Sleep(150 * time.Millisecond) // a homeserver killed at once loses what it took
		p.b.stop()
		s.Kill()
		s.Start()
		p.b.run(t)
		p.b.nudge()
		once(t, ann, p.b.user, text)
	}
}

// TestLostByTheHomeserver: what the homeserver took and then lost is sent again.
func TestLostByTheHomeserver(t *testing.T) {
	_, l, p, ann, fen := lane(t)
	l.tell(func(r *http.Request) (*http.Response, error) { // says yes and forgets
		return status(200, `{"event_id":"$never:osier.test"}`)(r)
	})
	p.add(fen, "forgotten")
	for range 300 {
		if _, ok, _ := p.b.sent(txnOf(fen, "p/forgotten", 0)); ok {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	p.b.later(2 * confirmWithin)
	ann.Say(fen, "!tick")
	ann.Await("the answer", from(p.b.user, "/TICK"))
	once(t, ann, p.b.user, "forgotten")
}

// TestHeardOnce: an answer that could not be kept is taken in again, and the desk
// is given the same message by the same name; its answer is shown once.
func TestHeardOnce(t *testing.T) {
	_, _, p, ann, fen := lane(t)
	pocket := p.b.parts.Pocket.(*chattest.Pocket)
	p.b.desk.Heard()
	var mu sync.Mutex
	fail := 2
	pocket.Fail(func(changes map[string][]byte) error {
		mu.Lock()
		defer mu.Unlock()
		_, token := changes[tokenKey]
		if token && fail > 0 {
			fail--
			return errors.New("the disk is full")
		}
		return nil
	})
	ann.Say(fen, "!again")
	once(t, ann, p.b.user, "/AGAIN")
	ann.Say(fen, "!more")
	once(t, ann, p.b.user, "/MORE")
	sources := map[chat.Source]bool{}
	for _, m := range p.b.desk.Heard() {
		sources[m.Source] = true
	}
	if len(sources) != 2 {
		t.Errorf("%d messages were heard by name, want 2", len(sources))
	}
}

// TestTheLogKeepsQuiet: neither what people say nor a token nor the password ever
// stands in the log, not even where requests fail.
func TestTheLogKeepsQuiet(t *testing.T) {
	var log logged
	s, l := matrixtest.New(t), &liar{}
	b := newBot(t, s, func(b *bot) { b.parts.Transport, b.parts.Log = l, log.logger() })
	b.echoes()
	ann := s.Join("ann")
	pub := ann.Room(false, b.user)
	ann.AwaitMembers(pub, 2)
	l.tell(status(500, `{"errcode":"M_UNKNOWN"}`), status(502, "x"))
	ann.Say(pub, "!whisper of herons")
	ann.Await("the answer", from(b.user, "/WHISPER OF HERONS"))
	var in login
	if _, err := b.keep.read(loginKey, &in); err != nil {
		t.Fatal(err)
	}
	text := strings.ToLower(log.String())
	for _, secret := range []string{"herons", strings.ToLower(in.Token), matrixtest.Password, "sixteen characters"} {
		if strings.Contains(text, secret) {
			t.Errorf("the log has %q", secret)
		}
	}
	if !strings.Contains(text, "status=500") {
		t.Error("the log does not tell of the failure")
	}
}

type logged struct {
	mu sync.Mutex
	bytes.Buffer
}

func (l *logged) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.Buffer.Write(b)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.Buffer.String()
}

// TestEdits: an edit shows in the place of the post, notifies nobody, and an edit
// of an edit is one of the first.
func TestEdits(t *testing.T) {
	_, _, p, ann, fen := lane(t)
	to := chat.Destination{Place: placeOf(string(fen), "")}
	send := func(pid, edit, text string) chat.Receipt {
		t.Helper()
		r, err := p.b.Send(t.Context(), chat.Post{ID: chat.PostID(pid), Edit: chat.PostID(edit), To: to, Entry: -1, Notify: []chat.Person{personOf(string(ann.Cli.UserID))}, Lines: []chat.Line{{{Kind: chat.Plain, Text: text}}}})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	first := send("b/1", "", "turn 1")
	if second := send("b/2", "b/1", "turn 2"); second.Ref != first.Ref {
		t.Error("an edit has another place")
	}
	send("b/3", "b/2", "turn 3")
	e := ann.Await("the last edit", func(e *event.Event) bool {
		c, ok := e.Content.Parsed.(*event.MessageEventContent)
		return ok && c.NewContent != nil && strings.HasPrefix(c.NewContent.Body, "turn 3")
	})
	c := e.Content.AsMessage()
	if string(c.RelatesTo.GetReplaceID()) != first.Ref {
		t.Errorf("edits %s, want %s", c.RelatesTo.GetReplaceID(), first.Ref)
	}
	if len(c.Mentions.UserIDs) > 0 {
		t.Errorf("an edit notifies %v", c.Mentions.UserIDs)
	}
}

// TestThread: what is said in a thread is a place of its own and answered there.
func TestThread(t *testing.T) {
	_, _, p, ann, fen := lane(t)
	root := ann.Say(fen, "a battle")
	c := &event.MessageEventContent{MsgType: event.MsgText, Body: "!here"}
	c.RelatesTo = (&event.RelatesTo{}).SetThread(root, root)
	ann.Send(fen, event.EventMessage, c)
	e := ann.Await("the answer", from(p.b.user, "/HERE"))
	if e.Content.AsMessage().RelatesTo.GetThreadParent() != root {
		t.Errorf("answered with %+v", e.Content.AsMessage().RelatesTo)
	}
}

func (l *logged) logger() *slog.Logger {
	return slog.New(slog.NewTextHandler(l, &slog.HandlerOptions{Level: slog.LevelDebug}))
}
