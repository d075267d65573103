//go:build goolm

package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
	"drumhead/storage/bolt"
)

// refusing is a way to the homeserver on which every token is refused while it says
// so: Dendrite itself never does this, so here it is made up.
type refusing struct{ says atomic.Pointer[string] }

func (r *refusing) RoundTrip(q *http.Request) (*http.Response, error) {
	if says := r.says.Load(); says != nil && q.Header.Get("Authorization") != "" {
		return status(http.StatusUnauthorized, *says)(q)
	}
	return matrixtest.Patient{}.RoundTrip(q)
}

// TestTokenRefused: where the homeserver only wants the password again, the device
// stays; where it knows the device no more, Run ends and says what to do.
func TestTokenRefused(t *testing.T) {
	s, r := matrixtest.New(t), &refusing{}
	b := newBot(t, s, func(b *bot) { b.parts.Transport = r })
	b.stop()
	device := b.cli.DeviceID
	for says, want := range map[string]error{
		`{"errcode":"M_UNKNOWN_TOKEN","error":"x","soft_logout":true}`: errSoft,
		`{"errcode":"M_UNKNOWN_TOKEN","error":"x"}`:                    ErrToken,
	} {
		r.says.Store(&says)
		a, err := New(b.settings, b.parts)
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		if err := a.Run(ctx, b.desk); !errors.Is(err, want) || !strings.Contains(err.Error(), "bot matrix login") {
			t.Errorf("%s ended Run with %v", says, err)
		}
		cancel()
	}
	soft := `{"errcode":"M_UNKNOWN_TOKEN","error":"x","soft_logout":true}`
	r.says.Store(&soft)
	if _, err := Login(t.Context(), b.settings, b.parts, matrixtest.Password); err != nil {
		t.Fatal(err)
	}
	r.says.Store(nil)
	b.run(t)
	if b.cli.DeviceID != device {
		t.Error("the device changed")
	}
	ann := s.Join("ann")
	fen := ann.Room(true, b.user)
	ann.AwaitMembers(fen, 2)
	ann.Say(fen, "!still here")
	b.heard(t, "/still here")
}

// TestCreatorsOfRoomVersion12: who made a room of version 12 runs it, though its
// levels do not say so (Matrix 1.16, room version 12; Dendrite has none: from memory).
func TestCreatorsOfRoomVersion12(t *testing.T) {
	one := &room{ID: "!x", Creator: "@ann:osier.test", Power: json.RawMessage(`{"users":{"@bo:osier.test":50}}`),
		Create: json.RawMessage(`{"room_version":"12","additional_creators":["@cy:osier.test"]}`), members: map[id.UserID]member{}}
	for user, want := range map[id.UserID]bool{"@ann:osier.test": true, "@bo:osier.test": true, "@cy:osier.test": true, "@dee:osier.test": false} {
		if got := one.runs(user); got != want {
			t.Errorf("%s runs the room: %v", user, got)
		}
	}
}

// TestOnDisk: everything works over the pocket of the program, a file, across a
// restart; and another pickle key opens nothing.
func TestOnDisk(t *testing.T) {
	s := matrixtest.New(t)
	path := filepath.Join(t.TempDir(), "matrix.pocket")
	pocket, err := bolt.OpenPocket(path)
	if err != nil {
		t.Fatal(err)
	}
	b := newBot(t, s, func(b *bot) { b.parts.Pocket = pocket })
	b.echoes()
	ann := s.Join("ann")
	fen := ann.Room(true, b.user)
	ann.AwaitMembers(fen, 2)
	ann.Say(fen, "!one")
	ann.Await("the first", from(b.user, "/ONE"))
	b.stop()
	if err := pocket.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := bolt.OpenPocket(path)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	b.parts.Pocket = again
	b.run(t)
	ann.Say(fen, "!two")
	e := ann.Await("the second", from(b.user, "/TWO"))
	if !e.Mautrix.WasEncrypted {
		t.Error("in clear after a restart")
	}
	b.stop()
	t.Setenv(DefaultPickleEnv, "another key of sixteen")
	if _, err := New(b.settings, b.parts); !errors.Is(err, errPickle) {
		t.Errorf("another key gave %v", err)
	}
}

// TestReplyToAPost: a reply with a label that is about a post's entry is a command
// for that entry.
func TestReplyToAPost(t *testing.T) {
	_, _, p, ann, fen := lane(t)
	p.b.Adapter.parts.OnPost = func(label, entry string) (string, bool) {
		return "/explain " + entry, strings.EqualFold(label, "Explain")
	}
	r, err := p.b.Send(t.Context(), chat.Post{ID: "l/7/0", To: chat.Destination{Place: placeOf(string(fen), "")}, Entry: 7, Lines: []chat.Line{{{Kind: chat.Plain, Text: "a roll"}}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, said := range []string{"explain", "!Explain"} {
		c := &event.MessageEventContent{MsgType: event.MsgText, Body: said}
		c.RelatesTo = (&event.RelatesTo{}).SetReplyTo(id.EventID(r.Ref))
		ann.Send(fen, event.EventMessage, c)
		p.b.heard(t, "/explain 7")
	}
}
