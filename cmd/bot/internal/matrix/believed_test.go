//go:build goolm

package matrix

import (
	"bytes"
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

// TestWhichDevices: who is believed by the keys of their device.
func TestWhichDevices(t *testing.T) {
	f := newFaked(t)
	a, err := New(f.b.settings, f.b.parts)
	if err != nil {
		t.Fatal(err)
	}
	for state, want := range map[id.TrustState]bool{
		id.TrustStateVerified: false, id.TrustStateCrossSignedVerified: false, id.TrustStateCrossSignedTOFU: false, id.TrustStateUnset: false,
		id.TrustStateCrossSignedUntrusted: true, id.TrustStateDeviceKeyMismatch: true, id.TrustStateBlacklisted: true,
		id.TrustStateUnknownDevice: true, id.TrustStateForwarded: true,
	} {
		e := &event.Event{Type: event.EventMessage, RoomID: "!a", Sender: "@ann:osier.test", ID: "$1"}
		e.Mautrix.WasEncrypted, e.Mautrix.TrustState = true, state
		if refused, err := a.refused(t.Context(), e); refused != want || err != nil {
			t.Errorf("a device that is %s is refused: %v, %v", state, refused, err)
		}
	}
}

// TestTimesAreNotBelieved: when something was said is what its sender's server says,
// unless that cannot be.
func TestTimesAreNotBelieved(t *testing.T) {
	f := newFaked(t)
	a, err := New(f.b.settings, f.b.parts)
	if err != nil {
		t.Fatal(err)
	}
	now := time.UnixMilli(1_795_000_000_000)
	a.parts.Now = func() time.Time { return now }
	for off, want := range map[time.Duration]time.Duration{
		0: 0, -time.Hour: -time.Hour, mostAhead: mostAhead, -mostBehind: -mostBehind,
		mostAhead + time.Millisecond: 0, -mostBehind - time.Millisecond: 0, 100 * 365 * 24 * time.Hour: 0, -55 * 365 * 24 * time.Hour: 0,
	} {
		if got := a.timeOf(&event.Event{Timestamp: now.Add(off).UnixMilli()}).Sub(now); got != want {
			t.Errorf("what says that it is of %v is taken for %v", off, got)
		}
	}
}

// TestKeysAreGivenToNobodyElse: a device that was told a room's key is told it again; one
// that never was is not, whoever asks.
func TestKeysAreGivenToNobodyElse(t *testing.T) {
	th := openTheatre(t)
	th.scene(t, true)
	bo := th.s.Join("bo")
	out, err := th.b.store.GetOutboundGroupSession(t.Context(), th.fen)
	if err != nil || out == nil {
		t.Fatalf("the bot has no key in the room: %v", err)
	}
	given := func(who *matrixtest.Person) func(step) bool {
		return func(s step) bool {
			return asks(http.MethodPut, "/sendToDevice/m.room.encrypted")(s) && bytes.Contains(s.body, []byte(who.Cli.UserID)) && bytes.Contains(s.body, []byte(who.Cli.DeviceID))
		}
	}
	th.world.mu.Lock()
	th.world.done = nil
	th.world.mu.Unlock()
	for _, who := range []*matrixtest.Person{bo, th.ann} { // answered one after the other
		err := who.Mach.SendRoomKeyRequest(t.Context(), th.fen, th.b.mach.OwnIdentity().IdentityKey, out.ID(), "", map[id.UserID][]id.DeviceID{th.b.user: {th.b.cli.DeviceID}})
		if err != nil {
			t.Fatal(err)
		}
	}
	th.awaits("ann to be told the key again", func() bool { return th.passed(given(th.ann)) })
	if th.passed(given(bo)) {
		t.Error("bo was told the key")
	}
}

// TestHostileFiles: a file that is larger than it says, or not what its message says, is
// not taken, and its sender is told; a name cannot lead anywhere nor pretend anything.
func TestHostileFiles(t *testing.T) {
	_, _, p, ann, fen := lane(t)
	p.b.desk.Answer(nil)
	p.b.desk.Heard()
	hands := func(name, caption string, content []byte, change func(*event.MessageEventContent)) {
		c := ann.Upload("x", content)
		c.FileName, c.Body = name, caption
		if change != nil {
			change(c)
		}
		ann.Send(fen, event.EventMessage, c)
	}
	hands("large.toml", "!take large", make([]byte, mostHandedIn+1), func(c *event.MessageEventContent) { c.Info.Size = 5 })
	ann.Await("being told", from(p.b.user, "matrix.file"))
	hands("bent.toml", "!take bent", []byte("a force"), func(c *event.MessageEventContent) {
		c.File.Hashes.SHA256 = strings.Repeat("A", len(c.File.Hashes.SHA256))
	})
	hands("nowhere.toml", "!take nowhere", []byte("a force"), func(c *event.MessageEventContent) { c.File.URL = "https://elsewhere.example/x" })
	hands("..\\../\u202eweir\n.toml", "!take named", []byte("a force"), nil)
	var m chat.Message
	for range 1000 {
		for _, one := range p.b.desk.Heard() {
			if m = one; m.Text != "/take named" {
				t.Errorf("%q was heard with %d files", m.Text, len(m.Files))
			}
		}
		if m.Text == "/take named" {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if len(m.Files) != 1 || strings.ContainsAny(m.Files[0].Name, "/\\\n\u202e") || !strings.HasSuffix(m.Files[0].Name, ".toml") || string(m.Files[0].Bytes) != "a force" {
		t.Errorf("taken as %+v", m.Files)
	}
}

// TestClaimedUpgrade: a room that another names as its successor, and that knows nothing
// of it, is left, and what is said there is not said in the other's place.
func TestClaimedUpgrade(t *testing.T) {
	a := newAttempts(t)
	a.ann.Say(a.pub, "!before")
	before := a.b.heard(t, "/before")
	r, err := a.ann.Cli.CreateRoom(t.Context(), &mautrix.ReqCreateRoom{Preset: "public_chat"})
	if err != nil {
		t.Fatal(err)
	}
	_, err = a.ann.Cli.SendStateEvent(t.Context(), a.pub, event.StateTombstone, "", &event.TombstoneEventContent{Body: "gone on", ReplacementRoom: r.RoomID})
	if err != nil {
		t.Fatal(err)
	}
	is := func() event.Membership {
		m, _ := a.ann.State.GetMember(t.Context(), r.RoomID, a.b.user)
		if m == nil {
			return ""
		}
		return m.Membership
	}
	for range 1000 {
		if is() == event.MembershipLeave {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if is() != event.MembershipLeave {
		t.Fatalf("the bot is in the room as %q", is())
	}
	a.ann.Say(r.RoomID, "!elsewhere")
	a.ann.Say(a.pub, "!still here")
	if m := a.b.heard(t, "/still here"); m.Place != before.Place {
		t.Errorf("goes on in %s, was in %s", m.Place, before.Place)
	}
}
