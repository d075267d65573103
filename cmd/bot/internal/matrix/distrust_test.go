//go:build goolm

package matrix

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
)

// attempts are what somebody might send who is not to be believed. Each is sent,
// then something honest; the desk must hear the honest thing alone.
type attempts struct {
	t        *testing.T
	s        *matrixtest.Server
	b        *bot
	ann, bo  *matrixtest.Person
	fen      id.RoomID // encrypted
	pub      id.RoomID // not
	sequence int
}

func newAttempts(t *testing.T) *attempts {
	s := matrixtest.New(t)
	a := &attempts{t: t, s: s, b: newBot(t, s), ann: s.Join("ann"), bo: s.Join("bo")}
	a.b.echoes()
	a.fen = a.ann.Room(true, a.b.user, a.bo.Cli.UserID)
	a.pub = a.ann.Room(false, a.b.user, a.bo.Cli.UserID)
	for _, rid := range []id.RoomID{a.fen, a.pub} {
		a.ann.AwaitMembers(rid, 3)
		a.bo.AwaitMembers(rid, 3)
	}
	return a
}

// honest says something that must be heard, and returns what else was.
func (a *attempts) honest(t *testing.T, rid id.RoomID) (others []chat.Message) {
	t.Helper()
	a.sequence++
	text := fmt.Sprintf("!honest %d", a.sequence)
	a.bo.Say(rid, text)
	for range 1000 {
		for _, m := range a.b.desk.Heard() {
			switch {
			case m.Text == "/"+text[1:]:
				return others
			case !m.Joined:
				others = append(others, m)
			}
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatal("the honest one was not heard")
	return nil
}

// raw sends a content as it is, unencrypted.
func raw(t *testing.T, p *matrixtest.Person, rid id.RoomID, typ string, content any) id.EventID {
	t.Helper()
	r, err := p.Cli.SendMessageEvent(context.Background(), rid, event.Type{Type: typ, Class: event.MessageEventType}, content, mautrix.ReqSendEvent{DontEncrypt: true})
	if err != nil {
		t.Fatal(err)
	}
	return r.EventID
}

type dict = map[string]any

// TestWhatIsNotBelieved: each attempt is made, and nothing comes of it.
func TestWhatIsNotBelieved(t *testing.T) {
	a := newAttempts(t)
	replay := func(t *testing.T) { // the ciphertext of a command, sent once more
		a.ann.Say(a.fen, "!roll 1d6")
		a.honest(t, a.fen)
		rows, err := a.ann.Cli.Messages(t.Context(), a.fen, "", "", mautrix.DirectionBackward, nil, 20)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range rows.Chunk {
			if e.Sender == a.ann.Cli.UserID && e.Type.Type == event.EventEncrypted.Type {
				raw(t, a.ann, a.fen, event.EventEncrypted.Type, e.Content.Raw)
				return
			}
		}
		t.Fatal("nothing to send again")
	}
	elsewhere := func(t *testing.T) { // the ciphertext of a command for another room
		weir := a.ann.Room(true, a.bo.Cli.UserID)
		a.ann.AwaitMembers(weir, 2)
		e := a.ann.Say(weir, "!roll 9d6")
		sealed, err := a.ann.Cli.GetEvent(t.Context(), weir, e)
		if err != nil {
			t.Fatal(err)
		}
		raw(t, a.bo, a.fen, event.EventEncrypted.Type, sealed.Content.Raw)
	}
	for _, c := range []struct {
		name  string
		room  id.RoomID
		tries func(t *testing.T)
	}{
		{"a clear message in an encrypted room", a.fen, func(t *testing.T) {
			raw(t, a.ann, a.fen, "m.room.message", dict{"msgtype": "m.text", "body": "!roll 9d6"})
		}},
		{"a replayed ciphertext", a.fen, replay},
		{"a ciphertext of another room", a.fen, elsewhere},
		{"a notice, the words of another bot", a.fen, func(t *testing.T) {
			a.ann.Send(a.fen, event.EventMessage, &event.MessageEventContent{MsgType: event.MsgNotice, Body: "!roll 9d6"})
		}},
		{"an emote", a.fen, func(t *testing.T) {
			a.ann.Send(a.fen, event.EventMessage, &event.MessageEventContent{MsgType: event.MsgEmote, Body: "!roll 9d6"})
		}},
		{"a body that is a number", a.pub, func(t *testing.T) { raw(t, a.ann, a.pub, "m.room.message", dict{"msgtype": "m.text", "body": 5}) }},
		{"a relation that is a text", a.pub, func(t *testing.T) {
			raw(t, a.ann, a.pub, "m.room.message", dict{"msgtype": "m.text", "body": "!roll 9d6", "m.relates_to": "x"})
		}},
		{"mentions that are a text", a.pub, func(t *testing.T) {
			raw(t, a.ann, a.pub, "m.room.message", dict{"msgtype": "m.text", "body": "!roll 9d6", "m.mentions": dict{"user_ids": "x"}})
		}},
		{"no body", a.pub, func(t *testing.T) { raw(t, a.ann, a.pub, "m.room.message", dict{"msgtype": "m.text"}) }},
		{"no type", a.pub, func(t *testing.T) { raw(t, a.ann, a.pub, "m.room.message", dict{"body": "!roll 9d6"}) }},
		{"an encrypted event without a ciphertext", a.fen, func(t *testing.T) {
			raw(t, a.ann, a.fen, "m.room.encrypted", dict{"algorithm": "m.megolm.v1.aes-sha2", "ciphertext": 7})
		}},
		{"an encrypted event of nonsense", a.fen, func(t *testing.T) {
			raw(t, a.ann, a.fen, "m.room.encrypted", dict{"algorithm": "m.megolm.v1.aes-sha2", "ciphertext": strings.Repeat("A", 100), "session_id": strings.Repeat("x", 43), "sender_key": "y"})
		}},
		{"an edit of what was said", a.pub, func(t *testing.T) {
			e := a.ann.Say(a.pub, "nothing for a bot")
			c := &event.MessageEventContent{MsgType: event.MsgText, Body: "!roll 9d6"}
			c.SetEdit(e)
			a.ann.Send(a.pub, event.EventMessage, c)
		}},
		{"a reaction to nothing of ours", a.fen, func(t *testing.T) {
			raw(t, a.ann, a.fen, "m.reaction", dict{"m.relates_to": dict{"rel_type": "m.annotation", "event_id": "$nothing", "key": "1"}})
		}},
		{"a reaction of no shape", a.fen, func(t *testing.T) { raw(t, a.ann, a.fen, "m.reaction", dict{"m.relates_to": 3}) }},
		{"a message taken back before it was read", a.pub, func(t *testing.T) {
			a.b.stop()
			e := a.ann.Say(a.pub, "!roll 9d6")
			if _, err := a.ann.Cli.RedactEvent(t.Context(), a.pub, e); err != nil {
				t.Fatal(err)
			}
			a.b.run(a.t)
		}},
		{"talk among people", a.fen, func(t *testing.T) { a.ann.Say(a.fen, "that was a roll! what a roll! ! !!") }},
		{"an event of 65 KB", a.pub, func(t *testing.T) {
			a.ann.Say(a.pub, "no command "+strings.Repeat("x", 64_000))
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.tries(t)
			others := a.honest(t, c.room)
			for _, m := range others {
				if c.name == "a replayed ciphertext" && m.Text == "/roll 1d6" {
					t.Error("a replay was heard")
				}
				t.Errorf("the desk heard %q", m.Text)
			}
		})
	}
	// Who wrote in clear was told why nothing came of it.
	a.ann.Await("why", from(a.b.user, "matrix.clear"))
}

// TestEncryptionStaysOn: a state event that takes encryption away changes nothing
// for the bot; what it says goes on encrypted.
func TestEncryptionStaysOn(t *testing.T) {
	a := newAttempts(t)
	a.honest(t, a.fen)
	a.s.Call(http.MethodPut, "/_matrix/client/v3/rooms/"+string(a.fen)+"/state/m.room.encryption", a.ann.Cli.AccessToken, dict{}, nil)
	a.honest(t, a.fen)
	a.bo.Say(a.fen, "!after")
	e := a.bo.Await("the answer", from(a.b.user, "/AFTER"))
	if !e.Mautrix.WasEncrypted {
		t.Error("the bot went on in clear")
	}
}

// TestMentionsOnlyWhoIsMeant: names and words that look like mentions reach
// nobody; markup in them is shown as it stands.
func TestMentionsOnlyWhoIsMeant(t *testing.T) {
	a := newAttempts(t)
	hostile := `@room <a href="https://matrix.to/#/@bo:osier.test">Bo</a> <mx-reply>`
	if err := a.ann.Cli.SetDisplayName(t.Context(), hostile[:38]); err != nil {
		t.Fatal(err)
	}
	a.b.desk.Answer(func(m chat.Message) []chat.Post {
		return []chat.Post{{
			ID: chat.PostID("free/" + string(m.Source)), To: chat.Destination{Place: m.Place}, Entry: -1,
			Lines:   []chat.Line{{{Kind: chat.Who, Person: m.Person, Text: hostile}}, {{Kind: chat.Said, Text: hostile}}},
			Choices: []chat.Choice{{Number: 1, Label: hostile}},
		}}
	})
	a.ann.Say(a.fen, "!say")
	e := a.bo.Await("the answer", func(e *event.Event) bool {
		return e.Sender == a.b.user && strings.Contains(matrixtest.Body(e), "@room")
	})
	c := e.Content.AsMessage()
	if c.Mentions == nil || c.Mentions.Room || len(c.Mentions.UserIDs) > 0 {
		t.Errorf("mentions %+v", c.Mentions)
	}
	if strings.Contains(c.FormattedBody, "<a ") || strings.Contains(c.FormattedBody, "<mx-reply>") {
		t.Errorf("markup went through: %s", c.FormattedBody)
	}
}

// TestNothingFromBefore: what was said before the bot came is not for it, and it
// is asked to nothing where it was not invited by somebody allowed.
func TestNothingFromBefore(t *testing.T) {
	s := matrixtest.New(t)
	b := newBot(t, s, func(b *bot) { b.settings.People = []string{"@ann:" + matrixtest.ServerName} })
	b.echoes()
	ann, bo := s.Join("ann"), s.Join("bo")
	pub := ann.Room(false)
	ann.AwaitMembers(pub, 1)
	ann.Say(pub, "!old 1")
	ann.Say(pub, "!old 2")
	if _, err := ann.Cli.InviteUser(t.Context(), pub, &mautrix.ReqInviteUser{UserID: b.user}); err != nil {
		t.Fatal(err)
	}
	ann.AwaitMembers(pub, 2)
	ann.Say(pub, "!new")
	ann.Await("the answer", from(b.user, "/NEW"))
	for _, m := range b.desk.Heard() {
		if strings.Contains(m.Text, "old") {
			t.Errorf("heard %q", m.Text)
		}
	}
	refused := bo.Room(true, b.user)
	for range 500 {
		if m, _ := bo.State.GetMember(t.Context(), refused, b.user); m != nil && m.Membership == event.MembershipLeave {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if m, _ := bo.State.GetMember(t.Context(), refused, b.user); m == nil || m.Membership != event.MembershipLeave {
		t.Errorf("the bot in a room of somebody who is not allowed: %+v", m)
	}
}

// TestThirdInTheDirectRoom: where a third person is in the direct room, what is for
// one alone goes into a new one.
func TestThirdInTheDirectRoom(t *testing.T) {
	a := newAttempts(t)
	secret := func(text string) chat.Post {
		return chat.Post{ID: chat.PostID("p/" + text), To: chat.Destination{Only: personOf(string(a.ann.Cli.UserID))}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: text}}}}
	}
	direct := a.ann.Direct(a.b.user)
	a.ann.AwaitMembers(direct, 2)
	a.ann.Say(direct, "hello")
	a.ann.Await("the answer", from(a.b.user, "HELLO"))
	if _, err := a.b.Send(t.Context(), secret("for ann")); err != nil {
		t.Fatal(err)
	}
	if e := a.ann.Await("the first", from(a.b.user, "for ann")); e.RoomID != direct {
		t.Error("the room that ann made was not used")
	}
	if _, err := a.ann.Cli.InviteUser(t.Context(), direct, &mautrix.ReqInviteUser{UserID: a.bo.Cli.UserID}); err != nil {
		t.Fatal(err)
	}
	a.bo.AwaitMembers(direct, 3)
	a.bo.Say(direct, "!here too")
	a.bo.Await("the answer", from(a.b.user, "/HERE TOO"))
	if err := a.b.answer(t.Context(), secret("for ann alone")); err != nil {
		t.Fatal(err)
	}
	e := a.ann.Await("the second", from(a.b.user, "for ann alone"))
	if e.RoomID == direct || !e.Mautrix.WasEncrypted {
		t.Errorf("told in %s", e.RoomID)
	}
	for _, e := range a.bo.Events() {
		if strings.Contains(matrixtest.Body(e), "alone") {
			t.Error("bo read it")
		}
	}
	// In the room that the bot made nobody can be invited.
	if _, err := a.ann.Cli.InviteUser(t.Context(), e.RoomID, &mautrix.ReqInviteUser{UserID: a.bo.Cli.UserID}); err == nil {
		t.Error("a third could be invited into the bot's own direct room")
	}
}

// TestThirdBeforeTheResend: what was said in private and lost by the homeserver is not
// said again where a third reads along by then.
func TestThirdBeforeTheResend(t *testing.T) {
	s, l, p, ann, _ := lane(t)
	bo := s.Join("bo")
	direct := ann.Direct(p.b.user)
	ann.AwaitMembers(direct, 2)
	ann.Say(direct, "hello")
	ann.Await("the answer", from(p.b.user, "HELLO"))
	var forgotten atomic.Bool
	l.tell(func(r *http.Request) (*http.Response, error) { // says yes and forgets
		forgotten.Store(true)
		return status(200, `{"event_id":"$never:osier.test"}`)(r)
	})
	ann.Say(direct, "a secret")
	p.b.heard(t, "a secret")
	for range 300 {
		if forgotten.Load() {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if _, err := ann.Cli.InviteUser(t.Context(), direct, &mautrix.ReqInviteUser{UserID: bo.Cli.UserID}); err != nil {
		t.Fatal(err)
	}
	bo.AwaitMembers(direct, 3)
	bo.Say(direct, "!here too")
	bo.Await("the answer", from(p.b.user, "/HERE TOO"))
	p.b.later(2 * confirmWithin)
	bo.Say(direct, "!tick")
	bo.Await("the answer", from(p.b.user, "/TICK"))
	bo.Quiet(time.Second)
	for _, e := range append(bo.Events(), ann.Events()...) {
		if e.Sender == p.b.user && matrixtest.Body(e) == "A SECRET" {
			t.Error("it was said again before a third")
		}
	}
	if !forgotten.Load() {
		t.Error("nothing was lost")
	}
}

// TestTooFast: who asks too often is told once and not heard for a while.
func TestTooFast(t *testing.T) {
	a := newAttempts(t)
	a.b.Adapter.settings.PerMinute = 5
	for i := range 9 {
		a.ann.Say(a.pub, fmt.Sprintf("!fast %d", i))
	}
	a.ann.Await("being told", from(a.b.user, "matrix.slower"))
	fast := 0
	for _, m := range append(a.honest(t, a.pub), a.b.desk.Heard()...) {
		if strings.HasPrefix(m.Text, "/fast") {
			fast++
		}
	}
	if fast > 5 {
		t.Errorf("%d of 9 were heard", fast)
	}
}

// TestMissedIsNotTooFast: what gathered while the bot was away was not said in one
// minute. While it listens, a time that the sender's server made up counts for
// nothing, and what was said within one minute of the absence is too fast still.
func TestMissedIsNotTooFast(t *testing.T) {
	now := time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC)
	heard := func(away, apart time.Duration) (n int) {
		a := &Adapter{away: now.Add(-away)}
		a.pace.now = func() time.Time { return now }
		for i := range 100 {
			e := &event.Event{Timestamp: now.Add(-time.Duration(100-i) * apart).UnixMilli()}
			if a.pace.mayAt(a.saidAt(e), "say @ann", DefaultPerMinute, time.Minute) {
				n++
			}
		}
		return n
	}
	for _, c := range []struct {
		name        string
		away, apart time.Duration
		want        int
	}{
		{"a day away, something every five minutes", 24 * time.Hour, 5 * time.Minute, 100},
		{"a day away, a flood", 24 * time.Hour, time.Millisecond, DefaultPerMinute},
		{"not away, times made up", 30 * time.Second, 5 * time.Minute, DefaultPerMinute},
		{"times in the future", 24 * time.Hour, -5 * time.Minute, DefaultPerMinute},
	} {
		if got := heard(c.away, c.apart); got != c.want {
			t.Errorf("%s: %d of 100 are heard, want %d", c.name, got, c.want)
		}
	}
}

// mislabelling is a homeserver that says of what one says that another said it.
type mislabelling struct{ from, as atomic.Value }

func (m *mislabelling) RoundTrip(r *http.Request) (*http.Response, error) {
	from, as := m.from.Load(), m.as.Load()
	if from == nil || as == nil {
		return matrixtest.Patient{}.RoundTrip(r)
	}
	return rewriter{"/sync": func(_ *http.Response, whole dict) {
		rooms, _ := whole["rooms"].(dict)
		join, _ := rooms["join"].(dict)
		for _, one := range join {
			for _, e := range one.(dict)["timeline"].(dict)["events"].([]any) {
				if e := e.(dict); e["type"] == "m.room.encrypted" && e["sender"] == from {
					e["sender"] = as
				}
			}
		}
	}}.RoundTrip(r)
}

// TestSomebodyElsesWords: a homeserver that puts what ann encrypted into bo's mouth is
// not believed: the key is none of bo's.
func TestSomebodyElsesWords(t *testing.T) {
	s, m := matrixtest.New(t), &mislabelling{}
	b := newBot(t, s, func(b *bot) { b.parts.Transport = m })
	b.echoes()
	ann, bo := s.Join("ann"), s.Join("bo")
	fen := ann.Room(true, b.user, bo.Cli.UserID)
	ann.AwaitMembers(fen, 3)
	bo.AwaitMembers(fen, 3)
	ann.Say(fen, "!one")
	b.heard(t, "/one")
	bo.Say(fen, "!two")
	b.heard(t, "/two")
	m.from.Store(string(ann.Cli.UserID))
	m.as.Store(string(bo.Cli.UserID))
	ann.Say(fen, "!concede")
	bo.Await("why", from(b.user, "matrix.untrusted"))
	for _, m := range b.desk.Heard() {
		if m.Text == "/concede" {
			t.Errorf("%s is believed to have said it", m.Person)
		}
	}
}

// TestManyFiles: who hands in file after file lets others wait for no more than a few.
func TestManyFiles(t *testing.T) {
	a := newAttempts(t)
	a.honest(t, a.fen)
	for i := range mostFiles + 3 {
		c := a.ann.Upload("weir.toml", []byte("a force"))
		c.FileName, c.Body = "weir.toml", fmt.Sprintf("!take %d", i)
		a.ann.Send(a.fen, event.EventMessage, c)
	}
	taken := 0
	for _, m := range a.honest(t, a.fen) {
		if len(m.Files) == 1 {
			taken++
		}
	}
	if taken != mostFiles {
		t.Errorf("%d files were taken, want %d", taken, mostFiles)
	}
}

// TestCrowd: a crowd of strangers does not make the bot forget how often it has done
// something of its own.
func TestCrowd(t *testing.T) {
	p := pace{now: time.Now}
	if !p.may("join", 1, time.Hour) {
		t.Fatal("not even once")
	}
	for i := range 3 * mostPaced {
		p.may(fmt.Sprintf("say @stranger%d:elsewhere.example", i), 1, time.Minute)
	}
	if p.may("join", 1, time.Hour) {
		t.Error("a crowd let the bot join once more")
	}
	if len(p.times) > mostPaced+2 {
		t.Errorf("%d are remembered", len(p.times))
	}
}
