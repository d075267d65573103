//go:build goolm

package matrix

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

// club is a bot, and somebody at matrix-js-sdk in an encrypted room with it.
func club(t *testing.T, change ...func(*bot)) (*matrixtest.Server, *bot, *matrixtest.Script, string) {
	t.Helper()
	s := matrixtest.New(t)
	b := newBot(t, s, change...)
	b.echoes()
	ann := s.Scripted("ann")
	return s, b, ann, ann.Room(true, string(b.user))
}

func said(b *bot, body string) func(matrixtest.Seen) bool {
	return func(e matrixtest.Seen) bool { return e.Sender == string(b.user) && e.Body() == body }
}

// shieldless waits for an answer and looks at its shield.
func shieldless(t *testing.T, b *bot, ann *matrixtest.Script, room, text string) {
	t.Helper()
	ann.Say(room, "!"+text)
	e := ann.Await("the answer", said(b, "/"+strings.ToUpper(text)))
	if !e.Encrypted || e.Failed || e.Colour != 0 {
		t.Errorf("%s is shown as %+v", text, e)
	}
}

// TestAnotherClientShowsNoShield: matrix-js-sdk reads the answer in an encrypted
// room and has nothing to warn of, key after key.
func TestAnotherClientShowsNoShield(t *testing.T) {
	_, b, ann, fen := club(t)
	shieldless(t, b, ann, fen, "roll 3d6")
	ann.Do("rekey", map[string]any{"room": fen}, nil)
	shieldless(t, b, ann, fen, "roll 4d6")
}

// verified lets ann verify the bot, whose operator compares the emoji for a while.
func verified(t *testing.T, b *bot, ann *matrixtest.Script, fen string, compares time.Duration) {
	t.Helper()
	b.stop()
	over := make(chan error, 1)
	var ours []string
	go func() {
		over <- Verify(context.Background(), b.settings, b.parts, b.recovery, func(emoji []string) bool {
			for range 500 {
				if len(ann.Emoji()) > 0 {
					break
				}
				time.Sleep(10 * time.Millisecond)
			}
			time.Sleep(compares)
			ours = emoji
			return true
		})
	}()
	time.Sleep(300 * time.Millisecond) // it listens
	ann.Do("verify", map[string]any{"user": string(b.user), "room": fen}, nil)
	select {
	case err := <-over:
		if err != nil {
			t.Fatal(err)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("the bot's side does not end")
	}
	theirs := ann.Emoji()
	for i, e := range ours {
		if i >= len(theirs) || !strings.Contains(strings.ToLower(e), strings.ToLower(theirs[i])) {
			t.Errorf("emoji %q here, %q there", ours, theirs)
			break
		}
	}
	if len(ours) != 7 {
		t.Errorf("%d emoji, want 7", len(ours))
	}
	b.run(t)
	shieldless(t, b, ann, fen, "after")
	var trust struct{ Signed, Verified bool }
	ann.Do("trust", map[string]any{"user": string(b.user), "device": string(b.cli.DeviceID)}, &trust)
	if !trust.Signed || !trust.Verified {
		t.Errorf("ann's client trusts the bot's device so: %+v", trust)
	}
}

// TestVerifyByEmoji: both sides show the same emoji, and then ann's client trusts
// the bot, whoever of the two confirms first.
func TestVerifyByEmoji(t *testing.T) {
	for name, compares := range map[string]time.Duration{"the operator first": 0, "ann first": 2 * time.Second} {
		t.Run(name, func(t *testing.T) {
			_, b, ann, fen := club(t)
			shieldless(t, b, ann, fen, "before")
			verified(t, b, ann, fen, compares)
		})
	}
}

// TestAfterARestore: a pocket that is older than what the homeserver knows is
// given up for a new device, signed with the recovery key: nobody is warned, and
// the old device is gone.
func TestAfterARestore(t *testing.T) {
	_, b, ann, fen := club(t)
	old := b.parts.Pocket.(*chattest.Pocket).Copy()
	shieldless(t, b, ann, fen, "before")
	before := string(b.cli.DeviceID)
	b.stop()
	b.parts.Pocket = old // the backup
	kept := func() (all string) {
		_ = old.Scan("", func(key string, value []byte) error { all += fmt.Sprintf("%q %x\n", key, value); return nil })
		return all
	}
	intact := kept()
	if err := Recover(t.Context(), b.settings, b.parts, matrixtest.Password, "EsTc wrong key"); err == nil {
		t.Fatal("a wrong recovery key was taken")
	}
	if err := Recover(t.Context(), b.settings, b.parts, "wrong password", b.recovery); err == nil {
		t.Fatal("a wrong password was taken")
	}
	if kept() != intact {
		t.Fatal("a wrong key or password changed what is kept of the old device")
	}
	if err := Recover(t.Context(), b.settings, b.parts, matrixtest.Password, b.recovery); err != nil {
		t.Fatal(err)
	}
	b.run(t)
	var devices []string
	for range 100 { // until ann's client has heard of both
		if ann.Do("devices", map[string]any{"user": string(b.user)}, &devices); slices.Contains(devices, string(b.cli.DeviceID)) && !slices.Contains(devices, before) {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	shieldless(t, b, ann, fen, "after the restore")
	if slices.Contains(devices, before) || !slices.Contains(devices, string(b.cli.DeviceID)) {
		t.Errorf("devices %q, the old one was %s", devices, before)
	}
	for _, f := range Doctor(t.Context(), b.settings, b.parts) {
		if !f.Good {
			t.Errorf("the doctor finds %+v", f)
		}
	}
}

// TestLoginOnce: who is logged in is not logged in again, and an account that has
// signing keys is not given others.
func TestLoginOnce(t *testing.T) {
	s := matrixtest.New(t)
	b := newBot(t, s)
	if _, err := Login(t.Context(), b.settings, b.parts, matrixtest.Password); err != ErrLoggedIn { //nolint:errorlint // the very one
		t.Errorf("a second login gave %v", err)
	}
	other := b.parts
	other.Pocket = chattest.NewPocket()
	if _, err := Login(t.Context(), b.settings, other, "wrong password"); err == nil || !strings.Contains(err.Error(), "refused") {
		t.Errorf("a wrong password gave %v", err)
	}
	if _, err := Login(t.Context(), b.settings, other, matrixtest.Password); err == nil || !strings.Contains(err.Error(), ErrSignedUp.Error()) {
		t.Errorf("a login over old signing keys gave %v", err)
	}
	if _, err := New(b.settings, other); err != ErrNoLogin { //nolint:errorlint // the very one
		t.Errorf("an empty pocket gave %v", err)
	}
	b.stop()
	if err := Logout(t.Context(), b.settings, b.parts); err != nil {
		t.Fatal(err)
	}
	left := 0
	_ = b.parts.Pocket.Scan("", func(string, []byte) error { left++; return nil })
	if left > 0 {
		t.Errorf("%d things are left in the pocket after the logout", left)
	}
}

// TestAStrictSender: somebody whose client gives no key to unverified devices is
// told what to do, in the room.
func TestAStrictSender(t *testing.T) {
	_, b, ann, fen := club(t)
	shieldless(t, b, ann, fen, "before")
	ann.Do("strict", map[string]any{"on": true}, nil)
	ann.Do("rekey", map[string]any{"room": fen}, nil)
	ann.Say(fen, "!nobody reads this")
	ann.Await("what to do", said(b, "matrix.unverified"))
}

// TestSwappedIdentity: somebody whose signing keys were exchanged, by themselves or
// by their homeserver, is not believed until the operator verifies them.
func TestSwappedIdentity(t *testing.T) {
	_, b, ann, fen := club(t)
	shieldless(t, b, ann, fen, "before")
	ann.Do("newidentity", nil, nil)
	for range 20 {
		ann.Do("rekey", map[string]any{"room": fen}, nil)
		ann.Say(fen, "!after")
		time.Sleep(200 * time.Millisecond)
		if heard := b.desk.Heard(); len(heard) > 0 && heard[len(heard)-1].Text == "/after" {
			continue // the news of the keys had not come yet
		}
		break
	}
	ann.Await("why", said(b, "matrix.untrusted"))
	verified(t, b, ann, fen, 2*time.Second)
}

// TestAskedToVerify: somebody who wants to verify the bot while it serves is told what
// that takes.
func TestAskedToVerify(t *testing.T) {
	_, b, ann, fen := club(t)
	shieldless(t, b, ann, fen, "before")
	go ann.Try("verify", map[string]any{"user": string(b.user), "room": fen}, nil) //nolint:errcheck // nobody answers
	ann.Await("what it takes", said(b, "matrix.verify"))
}

// painter makes every picture the same small PNG.
type painter struct{ bytes []byte }

func (p painter) Make(context.Context, chat.Recipe) ([]byte, error) { return p.bytes, nil }

// dot is a PNG of one pixel.
const dot = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="

// TestPicture: a picture is encrypted, its caption says what it shows, and
// matrix-js-sdk opens the same bytes.
func TestPicture(t *testing.T) {
	png, err := base64.StdEncoding.DecodeString(dot)
	if err != nil {
		t.Fatal(err)
	}
	_, b, ann, fen := club(t, func(b *bot) { b.parts.Make = painter{png} })
	shieldless(t, b, ann, fen, "before")
	_, err = b.Send(t.Context(), chat.Post{ID: "p/1", To: chat.Destination{Place: placeOf(fen, "")}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: "The table."}}},
		Pictures: []chat.Recipe{{Kind: "table", Name: "table.png", Alt: "Bridge: Ann. Well: nobody."}}, Files: []chat.Recipe{{Kind: "proof", Name: "fen.jsonl"}}})
	if err != nil {
		t.Fatal(err)
	}
	e := ann.Await("the picture", said(b, "Bridge: Ann. Well: nobody."))
	var c struct {
		MsgType  string          `json:"msgtype"`
		Filename string          `json:"filename"`
		URL      string          `json:"url"`
		File     json.RawMessage `json:"file"`
		Info     struct {
			W, H int
			Mime string `json:"mimetype"`
		} `json:"info"`
	}
	if err := json.Unmarshal(e.Content, &c); err != nil {
		t.Fatal(err)
	}
	if c.MsgType != "m.image" || c.Filename != "table.png" || c.URL != "" || c.Info.W != 1 || c.Info.Mime != "image/png" {
		t.Errorf("sent as %s", e.Content)
	}
	var got string
	ann.Do("picture", map[string]any{"file": c.File}, &got)
	if opened, err := base64.StdEncoding.DecodeString(got); err != nil || !bytes.Equal(opened, png) {
		t.Errorf("opened as %d bytes, want %d", len(opened), len(png))
	}
	ann.Await("the file", said(b, "fen.jsonl"))
}

// TestPrivatePost: what is for one alone comes into an encrypted room that the bot
// makes, and shows no shield there.
func TestPrivatePost(t *testing.T) {
	_, b, ann, fen := club(t)
	shieldless(t, b, ann, fen, "before")
	p := chat.Post{ID: "p/secret", To: chat.Destination{Place: placeOf(fen, ""), Only: personOf(ann.User)}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: "Only you."}}}}
	if err := b.answer(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	e := ann.Await("the private post", said(b, "Only you."))
	if e.Room == fen || !e.Encrypted || e.Failed || e.Colour != 0 {
		t.Errorf("shown as %+v", e)
	}
	if rid := b.rooms.directWith(id.UserID(ann.User), b.user); string(rid) != e.Room {
		t.Errorf("told in %s, the direct room is %s", e.Room, rid)
	}
}
