//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// line is one account's connection: the client, the machine that encrypts, what
// is known of the rooms, all over one pocket.
type line struct {
	cli   *mautrix.Client
	mach  *crypto.OlmMachine
	keep  *keep
	store *store
	rooms *rooms
	token *tokens
	log   *slog.Logger
	now   func() time.Time // the real time
}

// newLine makes a line; nothing is asked of the homeserver yet.
func newLine(s Settings, p Parts) (*line, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	p, err := p.filled()
	if err != nil {
		return nil, err
	}
	pickle, err := s.pickleKey()
	if err != nil {
		return nil, err
	}
	cli, err := mautrix.NewClient(s.Homeserver, "", "")
	if err != nil {
		return nil, fmt.Errorf("matrix: homeserver: %w", err)
	}
	l := &line{cli: cli, keep: newKeep(p.Pocket), log: p.Log, now: time.Now}
	l.store = newStore(l.keep, pickle, time.Now)
	if l.rooms, err = openRooms(l.keep, l.store, id.UserID(s.User)); err != nil {
		return nil, err
	}
	l.token = &tokens{keep: l.keep, home: s.Homeserver, next: p.Transport, now: func() time.Time { return l.now() }}
	cli.Client.Transport = &barrier{keep: l.keep, next: l.token}
	cli.Log = zerolog.Nop() // it would write what people say
	cli.ResponseHook = l.answered
	cli.DefaultHTTPRetries = 0 // it would repeat what must not be repeated, and sleep inside a call
	cli.Syncer, cli.Store, cli.StateStore, cli.Crypto = nil, nil, nil, nil
	silent := zerolog.Nop()
	l.mach = crypto.NewOlmMachine(cli, &silent, l.store, l.rooms)
	l.mach.DisableRatchetTracking = true
	return l, nil
}

// open makes a line of an account that has logged in.
func open(s Settings, p Parts) (*line, error) {
	l, err := newLine(s, p)
	if err != nil {
		return nil, err
	}
	var in login
	ok, err := l.keep.read(loginKey, &in)
	switch {
	case err != nil:
		return nil, err
	case !ok:
		return nil, ErrNoLogin
	case string(in.User) != s.User:
		return nil, fmt.Errorf("matrix: this data directory is logged in as %s, the configuration says %s; run bot matrix logout with the old user first", in.User, s.User)
	}
	l.as(in)
	return l, nil
}

// as makes the line one of a login. The client's own token only tells that a request
// is to have one.
func (l *line) as(in login) {
	l.cli.UserID, l.cli.DeviceID, l.cli.AccessToken = in.User, in.Device, in.Token
	l.token.set(in)
}

// start asks the homeserver what it can do and tells it the device's keys.
func (l *line) start(ctx context.Context) error {
	if _, err := l.cli.Versions(ctx); err != nil {
		return explained(err)
	}
	if err := l.mach.Load(ctx); err != nil {
		return err
	}
	l.mach.GetAccount().Keys() // filled in lazily and without a lock otherwise
	if err := l.mach.ShareKeys(ctx, -1); err != nil {
		return explained(err)
	}
	return l.keep.commit(ctx)
}

// explained is an error that says what to do, where something can be done.
func explained(err error) error {
	var r mautrix.RespError
	if errors.Is(err, mautrix.MUnknownToken) && errors.As(err, &r) {
		if soft, _ := r.ExtraData["soft_logout"].(bool); soft {
			return fmt.Errorf("matrix: the homeserver asks for the password again; run bot matrix login, the device stays: %w", errSoft)
		}
		return ErrToken
	}
	return err
}

var errSoft = errors.New("soft logout")

// statusOf is the status of an answer that is an error, 0 where no answer came.
func statusOf(err error) int {
	var h mautrix.HTTPError
	if errors.As(err, &h) && h.Response != nil {
		return h.Response.StatusCode
	}
	return 0
}

// answered logs a request, never what was said in it nor a token.
func (l *line) answered(r *http.Request, a *http.Response, err error, took time.Duration) {
	status := 0
	if a != nil {
		status = a.StatusCode
	}
	level := slog.LevelDebug
	if (err != nil || status >= http.StatusInternalServerError) && r.Context().Err() == nil { // not given up by ourselves
		level = slog.LevelWarn
	}
	l.log.Log(r.Context(), level, "matrix request", "method", r.Method, "path", pathClass(r.URL.Path), "status", status, "took", took, "failed", err != nil)
}

// pathClass is a path without the ids in it.
func pathClass(path string) string {
	parts := strings.Split(path, "/")
	for i, p := range parts {
		if strings.ContainsAny(p, "!@$:%") || len(p) > 30 {
			parts[i] = "*"
		}
	}
	return strings.Join(parts, "/")
}

// barrier lets nothing leave the process before what it depends on is on disk.
type barrier struct {
	keep *keep
	next http.RoundTripper
}

// RoundTrip makes one request.
func (b *barrier) RoundTrip(r *http.Request) (*http.Response, error) {
	if depends(r) {
		if err := b.keep.commit(r.Context()); err != nil {
			return nil, fmt.Errorf("matrix: keys could not be kept, so nothing was sent: %w", err)
		}
	}
	return b.next.RoundTrip(r)
}

// depends tells whether a request tells others of keys or indices that must not
// be used again.
func depends(r *http.Request) bool {
	switch path := r.URL.Path; r.Method {
	case http.MethodPut:
		return strings.Contains(path, "/sendToDevice/") || strings.Contains(path, "/send/") || strings.Contains(path, "/redact/")
	case http.MethodPost:
		return slices.ContainsFunc([]string{"/keys/upload", "/keys/signatures/upload", "/keys/device_signing/upload"},
			func(end string) bool { return strings.HasSuffix(path, end) })
	}
	return false
}

// shares is how often a room's key is shared anew for one message: somebody may come
// or go between its sharing and its use.
const shares = 3

// encrypted encrypts a content for everybody in a room. While the key is shared
// nobody comes or goes: that is noted together too.
func (l *line) encrypted(ctx context.Context, room id.RoomID, typ event.Type, content any) (x *event.EncryptedEventContent, err error) {
	for range shares {
		if x, err = l.mach.EncryptMegolmEvent(ctx, room, typ, content); !crypto.IsShareError(err) {
			return x, err
		}
		err = l.keep.together(ctx, func(ctx context.Context) error {
			return l.mach.ShareGroupSession(ctx, room, l.rooms.present(room))
		})
		if err != nil {
			return nil, err
		}
	}
	return l.mach.EncryptMegolmEvent(ctx, room, typ, content)
}

// requestWithin is how long a request may take that waits for nothing.
const requestWithin = 60 * time.Second

// say sends an event into a room, encrypted where the room is. The same
// transaction in the same room gives the same event.
func (l *line) say(ctx context.Context, room id.RoomID, typ event.Type, txn string, content any) (id.EventID, error) {
	ctx, cancel := context.WithTimeout(ctx, requestWithin)
	defer cancel()
	if l.rooms.encrypted(room) && typ != event.EventReaction {
		x, err := l.encrypted(ctx, room, typ, content)
		if err != nil {
			return "", fmt.Errorf("matrix: encrypting: %w", err)
		}
		typ, content = event.EventEncrypted, x
	}
	r, err := l.cli.SendMessageEvent(ctx, room, typ, content, mautrix.ReqSendEvent{TransactionID: txn, DontEncrypt: true})
	if err != nil {
		return "", err
	}
	return r.EventID, nil
}
