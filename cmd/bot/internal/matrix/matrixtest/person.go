//go:build goolm

package matrixtest

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/crypto/attachment"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// Person is somebody at a plain client: mautrix with its own stores in memory.
type Person struct {
	Cli   *mautrix.Client
	Mach  *crypto.OlmMachine
	State mautrix.StateStore
	t     testing.TB

	mu     sync.Mutex
	events []*event.Event // messages, opened, in the order in which they came
	more   *sync.Cond
	late   []*event.Event // encrypted, and their key has not come
	echo   func(*event.Event) string
	room   sync.Mutex
}

// Join registers somebody who listens from now on and accepts every invitation.
func (s *Server) Join(name string) *Person {
	s.t.Helper()
	p := s.Absent(name)
	ctx, cancel := context.WithCancel(context.Background())
	if err := p.Cli.SetDisplayName(ctx, name); err != nil {
		s.t.Fatal(err)
	}
	done := make(chan struct{})
	go func() { defer close(done); p.listen(ctx) }()
	s.t.Cleanup(func() { cancel(); <-done })
	return p
}

// Absent registers somebody who has a device with keys and does not listen.
func (s *Server) Absent(name string) *Person {
	s.t.Helper()
	a := s.Register(name, true)
	cli, err := mautrix.NewClient(s.URL, id.UserID(a.User), a.Token)
	if err != nil {
		s.t.Fatal(err)
	}
	cli.Client.Transport = Patient{}
	cli.DeviceID, cli.Log = id.DeviceID(a.Device), zerolog.Nop()
	p := &Person{Cli: cli, t: s.t, State: mautrix.NewMemoryStateStore()}
	p.more = sync.NewCond(&p.mu)
	quiet := zerolog.Nop()
	p.Mach = crypto.NewOlmMachine(cli, &quiet, crypto.NewMemoryStore(nil), p.State.(crypto.StateStore))
	ctx := context.Background()
	if _, err := cli.Versions(ctx); err != nil {
		s.t.Fatal(err)
	}
	if err := p.Mach.Load(ctx); err != nil {
		s.t.Fatal(err)
	}
	p.Mach.GetAccount().Keys()
	if err := p.Mach.ShareKeys(ctx, 0); err != nil {
		s.t.Fatal(err)
	}
	if _, err := p.Mach.GetOwnCrossSigningPublicKeys(ctx); err != nil { // found out without a lock otherwise
		s.t.Fatal(err)
	}
	return p
}

// listen takes sync answers in.
func (p *Person) listen(ctx context.Context) {
	since, wait := "", 0
	for ctx.Err() == nil {
		r, err := p.Cli.FullSyncRequest(ctx, mautrix.ReqSync{Since: since, Timeout: wait, FilterID: `{"room":{"timeline":{"limit":500}}}`})
		if err != nil {
			select {
			case <-ctx.Done():
			case <-time.After(50 * time.Millisecond):
			}
			continue
		}
		p.room.Lock()
		for rid, one := range r.Rooms.Join {
			for _, e := range append(slices.Clone(one.State.Events), one.Timeline.Events...) {
				p.state(ctx, rid, e)
			}
		}
		p.Mach.ProcessSyncResponse(ctx, r, since)
		p.room.Unlock()
		for rid := range r.Rooms.Invite {
			_, _ = p.Cli.JoinRoomByID(ctx, rid)
		}
		p.mu.Lock()
		late := p.late // their keys may have come now
		p.late = nil
		p.mu.Unlock()
		for _, e := range late {
			p.take(ctx, e.RoomID, e)
		}
		for rid, one := range r.Rooms.Join {
			for _, e := range one.Timeline.Events {
				p.take(ctx, rid, e)
			}
		}
		since, wait = r.NextBatch, 30000
	}
}

func (p *Person) state(ctx context.Context, rid id.RoomID, e *event.Event) {
	if e.StateKey == nil {
		return
	}
	e.RoomID, e.Type.Class = rid, event.StateEventType
	if e.Content.ParseRaw(e.Type) != nil {
		return
	}
	if yes, _ := p.State.IsEncrypted(ctx, rid); yes && e.Type == event.StateEncryption {
		return // the library's own store would believe that it was switched off
	}
	if e.Type == event.StateMember {
		p.Mach.HandleMemberEvent(ctx, e)
	}
	mautrix.UpdateStateStore(ctx, p.State, e)
}

func (p *Person) take(ctx context.Context, rid id.RoomID, e *event.Event) {
	e.RoomID = rid
	if e.StateKey != nil {
		return
	}
	e.Type.Class = event.MessageEventType
	if e.Content.Parsed == nil && e.Content.ParseRaw(e.Type) != nil {
		e.Content.Parsed = nil
	}
	if e.Type == event.EventEncrypted {
		p.room.Lock() // the library's own store does not lock everything
		open, err := p.Mach.DecryptMegolmEvent(ctx, e)
		p.room.Unlock()
		if err != nil {
			p.mu.Lock()
			p.late = append(p.late, e)
			p.mu.Unlock()
			return
		}
		e = open
	}
	p.mu.Lock()
	p.events = append(p.events, e)
	echo := p.echo
	p.more.Broadcast()
	p.mu.Unlock()
	if echo != nil {
		if text := echo(e); text != "" {
			p.Say(rid, text)
		}
	}
}

// Echo lets this person answer what comes with a text, where answer gives one: the
// barest bot that there is.
func (p *Person) Echo(answer func(*event.Event) string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.echo = answer
}

// Events returns what came so far.
func (p *Person) Events() []*event.Event {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.events)
}

// Unread is how many events of a room came that could not be opened yet.
func (p *Person) Unread(rid id.RoomID) (n int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, e := range p.late {
		if e.RoomID == rid {
			n++
		}
	}
	return n
}

// Await waits for an event that fits, the first if there are many.
func (p *Person) Await(what string, fits func(*event.Event) bool) *event.Event {
	p.t.Helper()
	over := time.AfterFunc(20*time.Second, func() { p.more.Broadcast() })
	defer over.Stop()
	end := time.Now().Add(19 * time.Second)
	p.mu.Lock()
	defer p.mu.Unlock()
	for {
		for _, e := range p.events {
			if fits(e) {
				return e
			}
		}
		if time.Now().After(end) {
			break
		}
		p.more.Wait()
	}
	var got []string
	for _, e := range p.events {
		b, _ := json.Marshal(e.Content.Raw)
		got = append(got, fmt.Sprintf("%s %s %.200s", e.Sender, e.Type.Type, b))
	}
	p.t.Fatalf("%s never saw %s; it saw %q", p.Cli.UserID, what, got)
	return nil
}

// Body is the text of a message event, "" of another.
func Body(e *event.Event) string {
	if m, ok := e.Content.Parsed.(*event.MessageEventContent); ok {
		return m.Body
	}
	return ""
}

// Room makes a room, encrypted or not, and invites people; it waits for nobody.
func (p *Person) Room(encrypted bool, invite ...id.UserID) id.RoomID {
	p.t.Helper()
	return p.made(&mautrix.ReqCreateRoom{Preset: "private_chat", Invite: invite}, encrypted)
}

// Direct makes an encrypted direct room with somebody.
func (p *Person) Direct(with id.UserID) id.RoomID {
	p.t.Helper()
	return p.made(&mautrix.ReqCreateRoom{Preset: "trusted_private_chat", IsDirect: true, Invite: []id.UserID{with}}, true)
}

func (p *Person) made(req *mautrix.ReqCreateRoom, encrypted bool) id.RoomID {
	p.t.Helper()
	if encrypted {
		req.InitialState = []*event.Event{{Type: event.StateEncryption, StateKey: new(string), Content: event.Content{Parsed: &event.EncryptionEventContent{Algorithm: id.AlgorithmMegolmV1}}}}
	}
	r, err := p.Cli.CreateRoom(context.Background(), req)
	if err != nil {
		p.t.Fatal(err)
	}
	return r.RoomID
}

// AwaitMembers waits until so many people are in a room, as this person sees it,
// and whether it is encrypted is known.
func (p *Person) AwaitMembers(rid id.RoomID, n int) {
	p.t.Helper()
	for range 1000 {
		members, _ := p.State.GetAllMembers(context.Background(), rid)
		joined := 0
		for _, m := range members {
			if m.Membership == event.MembershipJoin {
				joined++
			}
		}
		if joined >= n {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	p.t.Fatalf("%s has not seen %d people in %s", p.Cli.UserID, n, rid)
}

// Say sends a text.
func (p *Person) Say(rid id.RoomID, text string) id.EventID {
	p.t.Helper()
	return p.Send(rid, event.EventMessage, &event.MessageEventContent{MsgType: event.MsgText, Body: text})
}

// Send sends an event, encrypted where the room is; reactions go in clear.
func (p *Person) Send(rid id.RoomID, typ event.Type, content any) id.EventID {
	p.t.Helper()
	ctx := context.Background()
	typ, content = p.sealed(ctx, rid, typ, content)
	r, err := p.Cli.SendMessageEvent(ctx, rid, typ, content, mautrix.ReqSendEvent{DontEncrypt: true})
	if err != nil {
		p.t.Fatal(err)
	}
	return r.EventID
}

// sealed is an event as it is sent: encrypted where the room is.
func (p *Person) sealed(ctx context.Context, rid id.RoomID, typ event.Type, content any) (event.Type, any) {
	p.t.Helper()
	p.room.Lock()
	defer p.room.Unlock()
	if yes, _ := p.State.IsEncrypted(ctx, rid); !yes || typ != event.EventMessage {
		return typ, content
	}
	x, err := p.Mach.EncryptMegolmEvent(ctx, rid, typ, content)
	if crypto.IsShareError(err) {
		members, _ := p.State.GetRoomJoinedOrInvitedMembers(ctx, rid)
		if err := p.Mach.ShareGroupSession(ctx, rid, members); err != nil {
			p.t.Fatal(err)
		}
		x, err = p.Mach.EncryptMegolmEvent(ctx, rid, typ, content)
	}
	if err != nil {
		p.t.Fatal(err)
	}
	return event.EventEncrypted, x
}

// Upload encrypts a file and uploads it, for a message that hands it in.
func (p *Person) Upload(name string, b []byte) *event.MessageEventContent {
	p.t.Helper()
	m := &event.MessageEventContent{MsgType: event.MsgFile, FileName: name, Body: name, Info: &event.FileInfo{Size: len(b), MimeType: http.DetectContentType(b)}}
	f, sealed := attachment.NewEncryptedFile(), slices.Clone(b)
	f.EncryptInPlace(sealed)
	r, err := p.Cli.UploadBytes(context.Background(), sealed, "application/octet-stream")
	if err != nil {
		p.t.Fatal(err)
	}
	m.File = &event.EncryptedFileInfo{EncryptedFile: *f, URL: r.ContentURI.CUString()}
	return m
}
