//go:build goolm

package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/crypto/signatures"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat/chattest"
)

// faked is a bot on a homeserver that is made up, for what Dendrite does not have. Its
// paces do not hold it back.
type faked struct {
	*testing.T
	home  *matrixtest.Fake
	world *mortal
	b     *bot
}

func newFaked(t *testing.T) *faked {
	t.Setenv(DefaultPickleEnv, "sixteen characters at least")
	f := &faked{T: t, home: matrixtest.NewFake(t), world: newMortal(http.DefaultTransport)}
	f.b = &bot{desk: &chattest.Desk{}, user: matrixtest.FakeUser}
	f.b.settings = Settings{Homeserver: f.home.URL, User: matrixtest.FakeUser}
	f.b.parts = Parts{Pocket: f.world, Transport: f.world, Log: testLog(t), Say: say}
	if _, err := Login(t.Context(), f.b.settings, f.b.parts, matrixtest.Password); err != nil {
		t.Fatal(err)
	}
	f.b.prepare = func(a *Adapter) {
		at := time.Now()
		a.pace.now = func() time.Time { at = at.Add(time.Hour); return at }
	}
	return f
}

// goesOn waits until the bot has heard of the homeserver again, and again.
func (f *faked) goesOn() {
	f.Helper()
	before, _, _ := f.home.Counts()
	f.awaits("answers", func() bool { n, _, _ := f.home.Counts(); return n > before+3 })
}

func (f *faked) awaits(what string, so func() bool) {
	f.Helper()
	for range 1500 {
		if so() {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	f.Fatalf("waited in vain for %s", what)
}

// kept is the login in the pocket.
func (f *faked) kept() (in login) {
	f.Helper()
	b, err := f.world.Get(loginKey)
	if err != nil || json.Unmarshal(b, &in) != nil {
		f.Fatalf("no login is kept: %v", err)
	}
	return in
}

// TestTokensAreRefreshed: a token that has ended is replaced and nothing is missed; the
// new pair is in the pocket, and a bot that is started anew goes on with it.
func TestTokensAreRefreshed(t *testing.T) {
	f := newFaked(t)
	if in := f.kept(); in.Refresh == "" || in.Renew.IsZero() {
		t.Fatalf("the login asked for no refresh token: %+v", in)
	}
	f.b.run(t)
	f.goesOn()
	for range 2 {
		before := f.kept()
		f.home.Expire()
		f.goesOn()
		if now := f.kept(); now.Token == before.Token || now.Refresh == before.Refresh || now.Device != before.Device {
			t.Errorf("kept %+v after %+v", now, before)
		}
	}
	f.b.stop()
	f.b.run(t)
	f.goesOn()
	if _, _, n := f.home.Counts(); n != 2 {
		t.Errorf("%d times refreshed, want 2", n)
	}
}

// TestTokensAreRefreshedInTime: where the homeserver says when a token ends it is
// replaced before, so that no request is refused.
func TestTokensAreRefreshedInTime(t *testing.T) {
	f := newFaked(t)
	f.b.run(t)
	f.goesOn()
	f.b.later(59*time.Minute + 30*time.Second)
	f.goesOn()
	if _, refused, n := f.home.Counts(); n != 1 || refused != 0 {
		t.Errorf("%d times refreshed, %d requests refused", n, refused)
	}
	for lives, want := range map[int64]time.Duration{0: 0, -5: 0, 3_600_000: 59 * time.Minute, 10_000: 5 * time.Second, 1 << 62: 10*365*24*time.Hour - time.Minute} {
		now := time.Now()
		if at := renewal(now, lives); want == 0 && !at.IsZero() || want > 0 && at.Sub(now) != want {
			t.Errorf("a token that lives %d ms is replaced at %v, want after %v", lives, at, want)
		}
	}
}

// TestTokensAreKeptFirst: no new token is used that could not be kept; as soon as it
// can, the old refresh token gets another.
func TestTokensAreKeptFirst(t *testing.T) {
	f := newFaked(t)
	f.b.run(t)
	f.goesOn()
	f.world.Fail(func(changes map[string][]byte) error {
		if changes[loginKey] != nil {
			return errors.New("the disk is full")
		}
		return nil
	})
	f.home.Expire()
	before, _, _ := f.home.Counts()
	f.awaits("tries", func() bool { _, _, n := f.home.Counts(); return n > 2 })
	if after, _, _ := f.home.Counts(); after > before+1 { // one may have been under way
		t.Errorf("%d answers came with a token that is not kept", after-before)
	}
	f.world.Fail(nil)
	f.goesOn()
}

// TestCrashRefreshing: the bot dies while it replaces its token, and goes on after.
func TestCrashRefreshing(t *testing.T) {
	refresh := asks(http.MethodPost, "/refresh")
	for _, c := range []struct {
		what  string
		at    func(step) bool
		after bool
	}{
		{"before it asks", refresh, false},
		{"the answer lost", refresh, true},
		{"before the pair is kept", keeps(loginKey), false},
		{"the pair is kept", keeps(loginKey), true},
		{"before the new token is used", inOrder(keeps(loginKey), asks(http.MethodGet, "/sync")), false},
		{"the new token is used", inOrder(keeps(loginKey), asks(http.MethodGet, "/sync")), true},
	} {
		t.Run(c.what, func(t *testing.T) {
			f := newFaked(t)
			f.b.run(t)
			f.goesOn()
			f.world.dies(c.after, c.at)
			f.home.Expire()
			select {
			case <-f.world.end():
			case <-time.After(15 * time.Second):
				t.Fatal("it does not come so far")
			}
			f.b.stop()
			f.world.wakes()
			f.b.run(t)
			f.goesOn()
		})
	}
}

// TestRefreshRefused: where the homeserver gives no new token Run ends and says what to
// do; the device stays if the homeserver still has it.
func TestRefreshRefused(t *testing.T) {
	for name, want := range map[string]error{"the device stays": errSoft, "the device is gone": ErrToken} {
		t.Run(name, func(t *testing.T) {
			f := newFaked(t)
			f.home.Forget(errors.Is(want, ErrToken))
			a, err := New(f.b.settings, f.b.parts)
			if err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithTimeout(t.Context(), 15*time.Second)
			defer cancel()
			if err := a.Run(ctx, f.b.desk); !errors.Is(err, want) || !strings.Contains(err.Error(), "run bot matrix login") {
				t.Errorf("Run ended with %v", err)
			}
			if errors.Is(want, ErrToken) {
				return
			}
			device := f.kept().Device
			if _, err := Login(t.Context(), f.b.settings, f.b.parts, matrixtest.Password); err != nil {
				t.Fatal(err)
			}
			if now := f.kept(); now.Device != device || now.Refresh == "" {
				t.Errorf("logged in again as %+v", now)
			}
			f.b.run(t)
			f.goesOn()
		})
	}
}

// TestOneRefreshForAll: many requests that find the token ended replace it once.
func TestOneRefreshForAll(t *testing.T) {
	f := newFaked(t)
	l, err := open(f.b.settings, f.b.parts)
	if err != nil {
		t.Fatal(err)
	}
	f.home.Expire()
	var all sync.WaitGroup
	for range 20 {
		all.Go(func() {
			if _, err := l.cli.Whoami(context.Background()); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if _, _, n := f.home.Counts(); n != 1 {
		t.Errorf("%d times refreshed", n)
	}
}

// lastFallback is the fallback key that was uploaded last; its signature is checked.
func (f *faked) lastFallback() id.Curve25519 {
	f.Helper()
	all := f.home.Fallbacks()
	if len(all) == 0 {
		f.Fatal("no fallback key was left")
	}
	signing, _ := f.b.mach.GetAccount().Keys()
	for _, k := range all[len(all)-1] {
		good, err := signatures.VerifySignatureJSON(k, matrixtest.FakeUser, string(f.b.cli.DeviceID), signing)
		if !good || err != nil || !k.Fallback {
			f.Errorf("the fallback key %+v is not signed well: %v", k, err)
		}
		return id.Curve25519(k.Key)
	}
	return ""
}

// writes sends a message for the bot's device that only knows its fallback key, and
// tells whether it was opened.
func (f *faked) writes(to id.Curve25519) bool {
	f.Helper()
	sender := crypto.NewOlmAccount()
	signing, identity := sender.Keys()
	ours, at := f.b.mach.GetAccount().Keys()
	s, err := sender.Internal.NewOutboundSession(at, to)
	if err != nil {
		f.Fatal(err)
	}
	b, err := json.Marshal(dict{"type": "m.dummy", "content": dict{}, "sender": "@ann:osier.test", "recipient": matrixtest.FakeUser,
		"keys": dict{"ed25519": signing}, "recipient_keys": dict{"ed25519": ours}})
	if err != nil {
		f.Fatal(err)
	}
	kind, sealed, err := s.Encrypt(b)
	if err != nil {
		f.Fatal(err)
	}
	f.home.Say(dict{"to_device": dict{"events": []dict{{"type": "m.room.encrypted", "sender": "@ann:osier.test", "content": dict{
		"algorithm": id.AlgorithmOlmV1, "sender_key": identity, "ciphertext": dict{string(at): dict{"type": kind, "body": string(sealed)}},
	}}}}})
	f.goesOn()
	return f.b.store.HasSession(f.Context(), identity)
}

// TestFallbackKeys: a homeserver that knows fallback keys gets one, and another when it
// was used; who found the one before is still read, until there is one more.
func TestFallbackKeys(t *testing.T) {
	f := newFaked(t)
	f.b.run(t)
	f.goesOn()
	first := f.lastFallback()
	f.goesOn()
	if n := len(f.home.Fallbacks()); n != 1 {
		t.Fatalf("%d fallback keys were left, want 1", n)
	}
	for range 2 { // it is good more than once
		if !f.writes(first) {
			t.Error("who wrote to the fallback key is not read")
		}
	}
	f.home.Use()
	f.awaits("the second", func() bool { return len(f.home.Fallbacks()) == 2 })
	second := f.lastFallback()
	if second == first || !f.writes(second) {
		t.Error("who wrote to the second fallback key is not read")
	}
	if !f.writes(first) {
		t.Error("who wrote to the first fallback key is not read any more")
	}
	f.b.stop()
	f.b.run(t) // both are kept
	f.goesOn()
	if !f.writes(first) || !f.writes(second) {
		t.Error("after a start who wrote to a fallback key is not read")
	}
	f.home.Use()
	f.awaits("the third", func() bool { return len(f.home.Fallbacks()) == 3 })
	if f.writes(first) || !f.writes(second) {
		t.Error("of three fallback keys the last two are kept")
	}
}

// TestCrashFallbackKeys: the bot dies while it leaves a fallback key, and the same is
// left after: those that never arrived do not push out the one that people use.
func TestCrashFallbackKeys(t *testing.T) {
	upload := func(s step) bool {
		return asks(http.MethodPost, "/keys/upload")(s) && strings.Contains(string(s.body), "fallback_keys")
	}
	for _, c := range []struct {
		what  string
		at    func(step) bool
		after bool
	}{
		{"before it is kept", keeps(fallbackKey), false},
		{"it is kept", keeps(fallbackKey), true},
		{"before it is uploaded", upload, false},
		{"it is uploaded, the answer lost", upload, true},
	} {
		t.Run(c.what, func(t *testing.T) {
			f := newFaked(t)
			f.b.run(t)
			f.goesOn()
			first := f.lastFallback()
			f.home.Use()
			for range 2 { // two that never arrived would push the first one out
				f.b.stop()
				f.world.wakes()
				f.world.dies(c.after, c.at)
				f.b.run(t)
				f.awaits("its end, or the key", func() bool {
					select {
					case <-f.world.end():
						return true
					default:
						return len(f.home.Fallbacks()) > 1
					}
				})
			}
			f.b.stop()
			f.world.wakes()
			f.b.run(t)
			f.goesOn()
			if !f.writes(f.lastFallback()) {
				t.Error("who wrote to the new fallback key is not read")
			}
			if !f.writes(first) {
				t.Error("who wrote to the one before is not read")
			}
		})
	}
}
