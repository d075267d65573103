//go:build goolm

package matrix

import (
	"context"
	"encoding/base64"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// TestKeysComeWhileKeysGo: a message for the device is opened while a room's key goes
// out to others. Both want the machine's lock and the right to commit; neither may
// hold one and wait for the other.
func TestKeysComeWhileKeysGo(t *testing.T) {
	_, _, p, ann, fen := lane(t)
	if err := p.b.store.RemoveOutboundGroupSession(t.Context(), fen); err != nil {
		t.Fatal(err)
	}
	opened := make(chan error, 1)
	inside := make(chan bool)
	go func() {
		opened <- p.b.keep.together(context.Background(), func(ctx context.Context) error {
			close(inside)
			time.Sleep(300 * time.Millisecond) // the post comes as far as it can
			e := &event.Event{Sender: ann.Cli.UserID, Type: event.ToDeviceEncrypted}
			e.Content.Parsed = &event.EncryptedEventContent{Algorithm: id.AlgorithmOlmV1, SenderKey: ann.Mach.OwnIdentity().IdentityKey,
				OlmCiphertext: event.OlmCiphertexts{p.b.mach.OwnIdentity().IdentityKey: {Type: id.OlmMsgTypeMsg, Body: base64.RawStdEncoding.EncodeToString(make([]byte, 64))}}}
			p.b.mach.HandleToDeviceEvent(ctx, e)
			return nil
		})
	}()
	<-inside
	sent := make(chan error, 1)
	go func() {
		_, err := p.b.Send(context.Background(), chat.Post{ID: "p/first", To: chat.Destination{Place: placeOf(string(fen), "")}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: "first"}}}})
		sent <- err
	}()
	for what, over := range map[string]chan error{"the message for the device": opened, "the post": sent} {
		select {
		case err := <-over:
			if err != nil {
				t.Errorf("%s: %v", what, err)
			}
		case <-time.After(15 * time.Second):
			t.Fatalf("%s waits for ever", what)
		}
	}
	once(t, ann, p.b.user, "first")
}
