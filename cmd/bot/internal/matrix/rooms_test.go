//go:build goolm

package matrix

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
)

// heard waits for a message with a text.
func (b *bot) heard(t *testing.T, text string) chat.Message {
	t.Helper()
	for range 1000 {
		for _, m := range b.desk.Heard() {
			if m.Text == text {
				return m
			}
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("%q was not heard", text)
	return chat.Message{}
}

// TestWhoRunsARoom: organiser is who may change the room's state; that changes
// with the room's levels, and in private nobody is.
func TestWhoRunsARoom(t *testing.T) {
	a := newAttempts(t)
	a.ann.Say(a.fen, "!ann")
	if m := a.b.heard(t, "/ann"); !m.Organiser || m.Name != "ann" || m.Private {
		t.Errorf("who made the room is heard as %+v", m)
	}
	a.bo.Say(a.fen, "!bo")
	if m := a.b.heard(t, "/bo"); m.Organiser {
		t.Error("anybody is an organiser")
	}
	if _, err := a.ann.Cli.SendStateEvent(t.Context(), a.fen, event.StatePowerLevels, "", &event.PowerLevelsEventContent{Users: map[id.UserID]int{a.ann.Cli.UserID: 100, a.bo.Cli.UserID: 50}}); err != nil {
		t.Fatal(err)
	}
	a.bo.Say(a.fen, "!bo now")
	if m := a.b.heard(t, "/bo now"); !m.Organiser {
		t.Error("a moderator is no organiser")
	}
}

// TestNamesThatLookAlike: who takes another's name, or one that looks the same, is
// called with their id.
func TestNamesThatLookAlike(t *testing.T) {
	a := newAttempts(t)
	if err := a.ann.Cli.SetDisplayName(t.Context(), "Ann"); err != nil {
		t.Fatal(err)
	}
	if err := a.bo.Cli.SetDisplayName(t.Context(), "\u0410nn\u202e"); err != nil { // Cyrillic
		t.Fatal(err)
	}
	a.bo.Say(a.fen, "!who")
	if m := a.b.heard(t, "/who"); !strings.Contains(m.Name, string(a.bo.Cli.UserID)) || strings.Contains(m.Name, "\u202e") {
		t.Errorf("bo is called %q", m.Name)
	}
}

// TestKickedAndBack: who sends the bot away is not told more; invited again it goes
// on in the same place.
func TestKickedAndBack(t *testing.T) {
	a := newAttempts(t)
	a.ann.Say(a.fen, "!before")
	before := a.b.heard(t, "/before")
	if _, err := a.ann.Cli.KickUser(t.Context(), a.fen, &mautrix.ReqKickUser{UserID: a.b.user}); err != nil {
		t.Fatal(err)
	}
	gone := chat.Post{ID: "p/gone", To: chat.Destination{Place: before.Place}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: "gone"}}}}
	for i := range 500 {
		gone.ID = chat.PostID(fmt.Sprintf("p/gone/%d", i))
		if _, err := a.b.Send(t.Context(), gone); err != nil {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if _, err := a.b.Send(t.Context(), gone); err == nil {
		t.Error("something was said into a room that the bot was sent out of")
	}
	for range 500 { // the refusal may be quicker than the news
		if m, _ := a.ann.State.GetMember(t.Context(), a.fen, a.b.user); !a.b.rooms.joined(a.fen) && m != nil && m.Membership == event.MembershipLeave {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if _, err := a.ann.Cli.InviteUser(t.Context(), a.fen, &mautrix.ReqInviteUser{UserID: a.b.user}); err != nil {
		t.Fatal(err)
	}
	for range 500 {
		if a.b.rooms.joined(a.fen) {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	a.ann.AwaitMembers(a.fen, 3)
	a.ann.Say(a.fen, "!after")
	if m := a.b.heard(t, "/after"); m.Place != before.Place {
		t.Errorf("goes on in %s, was in %s", m.Place, before.Place)
	}
}

// TestUpgradedRoom: a room that goes on with another keeps its place.
func TestUpgradedRoom(t *testing.T) {
	a := newAttempts(t)
	a.ann.Say(a.pub, "!before")
	before := a.b.heard(t, "/before")
	var r struct {
		Replacement id.RoomID `json:"replacement_room"`
	}
	a.s.Call(http.MethodPost, "/_matrix/client/v3/rooms/"+string(a.pub)+"/upgrade", a.ann.Cli.AccessToken, dict{"new_version": "10"}, &r)
	if _, err := a.ann.Cli.InviteUser(t.Context(), r.Replacement, &mautrix.ReqInviteUser{UserID: a.b.user}); err != nil {
		t.Fatal(err)
	}
	for range 500 {
		if a.b.rooms.joined(r.Replacement) {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	time.Sleep(300 * time.Millisecond)
	a.ann.Say(r.Replacement, "!after")
	if m := a.b.heard(t, "/after"); m.Place != before.Place {
		t.Errorf("goes on in %s, was in %s", m.Place, before.Place)
	}
	if _, err := a.ann.Cli.SendStateEvent(t.Context(), r.Replacement, event.StatePowerLevels, "", &event.PowerLevelsEventContent{Users: map[id.UserID]int{a.ann.Cli.UserID: 100}}); err != nil {
		t.Fatal(err)
	}
	if _, err := a.b.Send(t.Context(), chat.Post{ID: "p/moved", To: chat.Destination{Place: before.Place}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: "moved"}}}}); err != nil {
		t.Fatal(err)
	}
	if e := a.ann.Await("the post", from(a.b.user, "moved")); e.RoomID != r.Replacement {
		t.Error("told in the old room")
	}
}

// TestInviteFlood: so many rooms an hour are joined and no more.
func TestInviteFlood(t *testing.T) {
	s := matrixtest.New(t)
	b := newBot(t, s)
	ann := s.Join("ann")
	for range joinsAnHour + 10 {
		ann.Room(false, b.user)
	}
	for range 500 {
		if b.rooms.count() >= joinsAnHour {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	time.Sleep(time.Second)
	if n := b.rooms.count(); n != joinsAnHour {
		t.Errorf("%d rooms were joined, want %d", n, joinsAnHour)
	}
}

// TestHundredRooms: a bot of a hundred encrypted rooms starts anew, hears what was
// said meanwhile in each, once and in order, and answers.
func TestHundredRooms(t *testing.T) {
	s := matrixtest.New(t)
	b := newBot(t, s)
	b.pace.now = func() func() time.Time { // an hour a look: nobody joins so many at once
		at := time.Now()
		return func() time.Time { at = at.Add(time.Minute * 3); return at }
	}()
	ann := s.Join("ann")
	const many = 100
	var rooms []id.RoomID
	for range many {
		rooms = append(rooms, ann.Room(true, b.user))
	}
	for _, rid := range rooms {
		ann.AwaitMembers(rid, 2)
	}
	for range 500 {
		if b.rooms.count() == many {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	b.stop()
	b.desk.Heard()
	for i, rid := range rooms {
		ann.Say(rid, fmt.Sprintf("!first %d", i))
		ann.Say(rid, fmt.Sprintf("!second %d", i))
	}
	b.echoes()
	b.run(t)
	for i := range rooms {
		ann.Await("an answer", from(b.user, fmt.Sprintf("/SECOND %d", i)))
	}
	heard := map[chat.Place][]string{}
	for _, m := range b.desk.Heard() {
		heard[m.Place] = append(heard[m.Place], m.Text)
	}
	for i, rid := range rooms {
		want := fmt.Sprintf("/first %d /second %d", i, i)
		if got := strings.Join(heard[placeOf(string(rid), "")], " "); got != want {
			t.Errorf("in room %d %q was heard, want %q", i, got, want)
		}
	}
}

// TestOwn: the bot's own latest posts are found again, the newest first, without
// edits and without those of a thread.
func TestOwn(t *testing.T) {
	_, _, p, _, fen := lane(t)
	place := placeOf(string(fen), "")
	for i := range 4 {
		post := chat.Post{ID: chat.PostID(fmt.Sprintf("l/%d/0", i)), To: chat.Destination{Place: place}, Entry: int64(i), Lines: []chat.Line{{{Kind: chat.Plain, Text: fmt.Sprint("post ", i)}}}}
		if _, err := p.b.Send(t.Context(), post); err != nil {
			t.Fatal(err)
		}
	}
	edit := chat.Post{ID: "l/4/0", Edit: "l/3/0", To: chat.Destination{Place: place}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: "changed"}}}}
	if _, err := p.b.Send(t.Context(), edit); err != nil {
		t.Fatal(err)
	}
	var seen []chat.Seen
	var err error
	for range 100 { // an answer can lag one event behind
		if seen, err = p.b.Own(t.Context(), place, 3); err != nil || len(seen) == 3 && seen[0].Post == "l/3/0" {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if err != nil || len(seen) != 3 || seen[0].Post != "l/3/0" || seen[2].Post != "l/1/0" || seen[0].Ref == "" {
		t.Errorf("found %+v, %v", seen, err)
	}
	if _, err := p.b.Own(context.Background(), "elsewhere:#fen", 3); err == nil {
		t.Error("another platform's place was read")
	}
}
