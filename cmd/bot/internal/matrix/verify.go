//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/crypto/verificationhelper"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// verifyWithin is how long Verify waits for somebody to begin, and to end.
const verifyWithin = 10 * time.Minute

// Verify waits until somebody asks to verify the bot, shows the emoji that both
// must see, and says yes if show does. The recovery key fetches the keys that sign
// the other's account. Nothing else may run with the same pocket
// meanwhile. What is said in rooms stays for the next bot serve.
func Verify(ctx context.Context, s Settings, p Parts, recovery string, show func(emoji []string) bool) error {
	ctx, cancel := context.WithTimeout(ctx, verifyWithin)
	defer cancel()
	l, err := open(s, p)
	if err != nil {
		return err
	}
	if err := l.start(ctx); err != nil {
		return err
	}
	if err := l.mach.VerifyWithRecoveryKey(ctx, recovery); err != nil {
		return fmt.Errorf("matrix: the recovery key: %w; expected the one that bot matrix login showed, as in EsTc 1234 …", err)
	}
	v := &verifier{line: l, show: show, over: make(chan error, 1)}
	if err := v.prepare(ctx); err != nil {
		return err
	}
	b, err := l.keep.get(tokenKey)
	if err != nil {
		return err
	}
	go v.listen(ctx, string(b))
	select {
	case err := <-v.over:
		return errors.Join(err, l.keep.commit(context.WithoutCancel(ctx)))
	case <-ctx.Done():
		return fmt.Errorf("matrix: nobody verified the bot: begin the verification in a room with it, then compare: %w", ctx.Err())
	}
}

// verifier is one verification.
type verifier struct {
	*line
	helper *verificationhelper.VerificationHelper
	syncer *mautrix.DefaultSyncer // only hands events on
	show   func([]string) bool
	over   chan error

	mu        sync.Mutex
	confirmed bool
	early     []*event.Event // what the other side confirmed before us
}

// prepare makes the library's helper, which wants to encrypt through the client.
func (v *verifier) prepare(ctx context.Context) error {
	v.syncer = mautrix.NewDefaultSyncer()
	v.cli.Syncer = v.syncer
	v.cli.Crypto = encrypter{v.line}
	v.cli.StateStore = stateOf{mautrix.NewMemoryStateStore(), v.rooms}
	v.helper = verificationhelper.NewVerificationHelper(v.cli, v.mach, nil, v, false, false, true)
	return v.helper.Init(ctx)
}

// listen hands on what belongs to verifications; what is said in rooms is not
// marked as heard.
func (v *verifier) listen(ctx context.Context, since string) {
	for ctx.Err() == nil {
		r, err := v.cli.FullSyncRequest(ctx, mautrix.ReqSync{Timeout: int(longPoll / time.Millisecond), Since: since})
		if err != nil {
			if errors.Is(err, mautrix.MUnknownToken) {
				v.end(explained(err))
				return
			}
			sleep(ctx, time.Second)
			continue
		}
		since = r.NextBatch
		for rid, one := range r.Rooms.Join {
			for _, e := range append(one.State.Events, one.Timeline.Events...) {
				if err := v.rooms.apply(ctx, rid, e); err != nil {
					v.end(err)
					return
				}
			}
		}
		v.mach.HandleDeviceLists(ctx, &r.DeviceLists, "")
		for _, e := range r.ToDevice.Events {
			v.toDevice(ctx, e)
		}
		v.mach.HandleOTKCounts(ctx, &r.DeviceOTKCount)
		for rid, one := range r.Rooms.Join {
			for _, e := range one.Timeline.Events {
				v.inRoom(ctx, rid, e)
			}
		}
		if err := v.keep.commit(ctx); err != nil {
			v.end(err)
			return
		}
	}
}

func (v *verifier) toDevice(ctx context.Context, e *event.Event) {
	e.Type.Class = event.ToDeviceEventType
	if e.Content.ParseRaw(e.Type) != nil {
		return
	}
	_ = v.keep.together(ctx, func(ctx context.Context) error {
		v.mach.HandleToDeviceEvent(ctx, e)
		return v.keep.commit(ctx)
	})
	v.hand(ctx, e)
}

// hand gives an event to the helper. Where the other side confirms before us, it
// would hold their account's key against our own (mautrix v0.32.0), so that must
// wait for us.
func (v *verifier) hand(ctx context.Context, e *event.Event) {
	v.mu.Lock()
	if _, mac := e.Content.Parsed.(*event.VerificationMACEventContent); mac && !v.confirmed {
		v.early = append(v.early, e)
		v.mu.Unlock()
		return
	}
	v.mu.Unlock()
	v.syncer.Dispatch(ctx, e)
}

// confirm tells the other side that the emoji are the same.
func (v *verifier) confirm(ctx context.Context, txn id.VerificationTransactionID) error {
	if err := v.helper.ConfirmSAS(ctx, txn); err != nil {
		return err
	}
	v.mu.Lock()
	early := v.early
	v.confirmed, v.early = true, nil
	v.mu.Unlock()
	for _, e := range early {
		v.syncer.Dispatch(ctx, e)
	}
	return nil
}

// inRoom hands an event of a room on. The helper takes an event's own id for that
// of its verification, and so would pass over all but the first: it gets a copy
// with the id of the request.
func (v *verifier) inRoom(ctx context.Context, rid id.RoomID, e *event.Event) {
	if e.Sender == v.cli.UserID || e.StateKey != nil {
		return
	}
	e.RoomID = rid
	e.Type.Class = event.MessageEventType
	if e.Content.ParseRaw(e.Type) != nil {
		return
	}
	if e.Type == event.EventEncrypted {
		open, err := v.mach.DecryptMegolmEvent(ctx, e)
		if err != nil {
			return
		}
		e = open
	}
	if c, ok := e.Content.Parsed.(event.Relatable); ok {
		if request := c.OptionalGetRelatesTo().GetReferenceID(); request != "" {
			copied := *e
			copied.ID = request
			e = &copied
		}
	}
	v.hand(ctx, e)
}

func (v *verifier) end(err error) {
	select {
	case v.over <- err:
	default:
	}
}

// VerificationRequested accepts whoever asks.
func (v *verifier) VerificationRequested(ctx context.Context, txn id.VerificationTransactionID, _ id.UserID, _ id.DeviceID) {
	go func() {
		if err := v.helper.AcceptVerification(ctx, txn); err != nil {
			v.end(err)
		}
	}()
}

// VerificationReady has nothing to do: the other side begins.
func (v *verifier) VerificationReady(context.Context, id.VerificationTransactionID, id.DeviceID, bool, bool, *verificationhelper.QRCode) {
}

// VerificationCancelled ends it.
func (v *verifier) VerificationCancelled(_ context.Context, _ id.VerificationTransactionID, code event.VerificationCancelCode, reason string) {
	v.end(fmt.Errorf("matrix: the verification was cancelled: %s (%s)", harmless(reason), harmless(string(code))))
}

// VerificationDone ends it well.
func (v *verifier) VerificationDone(context.Context, id.VerificationTransactionID, event.VerificationMethod) {
	v.end(nil)
}

// ShowSAS shows the emoji and asks whether the other side has the same.
func (v *verifier) ShowSAS(ctx context.Context, txn id.VerificationTransactionID, emoji []rune, names []string, _ []int) {
	var list []string
	for i, e := range emoji {
		list = append(list, string(e)+" "+names[i])
	}
	go func() {
		if v.show(list) {
			if err := v.confirm(ctx, txn); err != nil {
				v.end(err)
			}
			return
		}
		if err := v.helper.CancelVerification(ctx, txn, event.VerificationCancelCodeSASMismatch, "the emoji differ"); err != nil {
			v.end(err)
		}
		v.end(errors.New("matrix: the emoji differ: somebody may be listening in; nothing was verified"))
	}()
}

// encrypter is the client's way to encrypt.
type encrypter struct{ *line }

// Encrypt encrypts for a room.
func (e encrypter) Encrypt(ctx context.Context, rid id.RoomID, t event.Type, c any) (*event.EncryptedEventContent, error) {
	return e.encrypted(ctx, rid, t, c)
}

// Decrypt opens an event.
func (e encrypter) Decrypt(ctx context.Context, x *event.Event) (*event.Event, error) {
	return e.mach.DecryptMegolmEvent(ctx, x)
}

// WaitForSession never waits.
func (encrypter) WaitForSession(context.Context, id.RoomID, id.SenderKey, id.SessionID, time.Duration) bool {
	return false
}

// RequestSession asks nobody.
func (encrypter) RequestSession(context.Context, id.RoomID, id.SenderKey, id.SessionID, id.UserID, id.DeviceID) {
}

// Init has nothing to do.
func (encrypter) Init(context.Context) error { return nil }

// stateOf answers from the pocket what rooms are encrypted.
type stateOf struct {
	mautrix.StateStore
	rooms *rooms
}

// IsEncrypted tells whether a room is encrypted.
func (s stateOf) IsEncrypted(ctx context.Context, rid id.RoomID) (bool, error) {
	return s.rooms.IsEncrypted(ctx, rid)
}
