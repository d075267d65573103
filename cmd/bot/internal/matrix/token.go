//go:build goolm

package matrix

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"

	"maunium.net/go/mautrix/id"
)

// login is what the bot needs to be the same device again.
type login struct {
	User    id.UserID
	Device  id.DeviceID
	Token   string
	Refresh string    `json:",omitempty"` // gets a new token where this one expires; "" where none does
	Renew   time.Time `json:",omitzero"`  // when to get it
}

const loginKey = "login"

// renewBefore is how long before its end a token is replaced; one that lives shorter
// is replaced after half its life.
const renewBefore = time.Minute

// renewal is when to replace a token that is given now and lives so many milliseconds;
// zero if it does not say.
func renewal(now time.Time, lives int64) time.Time {
	const longest = 10 * 365 * 24 * time.Hour
	life := min(time.Duration(lives), longest/time.Millisecond) * time.Millisecond
	if life <= 0 {
		return time.Time{}
	}
	return now.Add(max(life-renewBefore, life/2))
}

// tokens is the way to the homeserver on which every request has a token that is good:
// one that is about to expire, or has, is replaced. The new one is kept before it is
// used, because with its first use the old one ends.
type tokens struct {
	keep *keep
	home string // address of the homeserver
	next http.RoundTripper
	now  func() time.Time

	mu sync.Mutex
	in login
}

// set says which login it is.
func (t *tokens) set(in login) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.in = in
}

// RoundTrip makes one request, twice where its token has ended.
func (t *tokens) RoundTrip(r *http.Request) (*http.Response, error) {
	if r.Header.Get("Authorization") == "" {
		return t.next.RoundTrip(r)
	}
	var body []byte
	if r.Body != nil {
		var err error
		body, err = io.ReadAll(r.Body)
		r.Body.Close()
		if err != nil {
			return nil, err
		}
	}
	with := func(token string) (*http.Response, error) {
		q := r.Clone(r.Context())
		q.Header.Set("Authorization", "Bearer "+token)
		if body != nil {
			q.Body = io.NopCloser(bytes.NewReader(body))
		}
		return t.next.RoundTrip(q)
	}
	token, err := t.good(r.Context())
	if err != nil {
		return nil, err
	}
	a, err := with(token)
	if err != nil || a.StatusCode != http.StatusUnauthorized {
		return a, err
	}
	said, err := io.ReadAll(io.LimitReader(a.Body, mostRefusal))
	a.Body.Close()
	if err != nil {
		return nil, err
	}
	a.Body = io.NopCloser(bytes.NewReader(said))
	if !softly(said) {
		return a, nil
	}
	switch token, err := t.renew(r.Context(), token); {
	case errors.Is(err, errNoRenewal):
		return a, nil
	case err != nil:
		return nil, err
	default:
		return with(token)
	}
}

// mostRefusal is how much is read of why a request was refused.
const mostRefusal = 1 << 16

// softly tells whether a refusal is of a token only: the device is still there.
func softly(said []byte) bool {
	var refusal struct {
		Code string `json:"errcode"`
		Soft bool   `json:"soft_logout"`
	}
	return json.Unmarshal(said, &refusal) == nil && refusal.Code == "M_UNKNOWN_TOKEN" && refusal.Soft
}

// good is the token to use now, replaced if it is about to end.
func (t *tokens) good(ctx context.Context) (string, error) {
	t.mu.Lock()
	in := t.in
	t.mu.Unlock()
	if in.Refresh == "" || in.Renew.IsZero() || t.now().Before(in.Renew) {
		return in.Token, nil
	}
	token, err := t.renew(ctx, in.Token)
	if errors.Is(err, errNoRenewal) { // the homeserver will say why
		return in.Token, nil
	}
	return token, err
}

var errNoRenewal = errors.New("matrix: the homeserver gives no new token")

// renew replaces a token, unless somebody did so meanwhile. It does not stop half way
// when whoever wanted it does.
func (t *tokens) renew(ctx context.Context, old string) (string, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case t.in.Token != old:
		return t.in.Token, nil
	case t.in.Refresh == "":
		return "", errNoRenewal
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), requestWithin)
	defer cancel()
	given, err := t.ask(ctx)
	if err != nil {
		return "", err
	}
	next := t.in
	next.Token, next.Renew = given.Token, renewal(t.now(), given.Lives)
	if given.Refresh != "" {
		next.Refresh = given.Refresh
	}
	b, err := json.Marshal(next)
	if err == nil {
		err = t.keep.now(ctx, loginKey, b)
	}
	if err != nil {
		return "", fmt.Errorf("matrix: a new token could not be kept, so the old one stays: %w", err)
	}
	t.in = next
	return next.Token, nil
}

// granted is what the homeserver gives for a refresh token.
type granted struct {
	Token   string `json:"access_token"`
	Refresh string `json:"refresh_token"`
	Lives   int64  `json:"expires_in_ms"`
}

// ask asks for a new token; t.mu is held.
func (t *tokens) ask(ctx context.Context) (g granted, err error) {
	b, err := json.Marshal(map[string]string{"refresh_token": t.in.Refresh})
	if err != nil {
		return g, err
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, strings.TrimSuffix(t.home, "/")+"/_matrix/client/v3/refresh", bytes.NewReader(b))
	if err != nil {
		return g, err
	}
	r.Header.Set("Content-Type", "application/json")
	a, err := t.next.RoundTrip(r)
	if err != nil {
		return g, fmt.Errorf("matrix: a new token: %w", err)
	}
	defer a.Body.Close()
	switch said, err := io.ReadAll(io.LimitReader(a.Body, mostRefusal)); {
	case err != nil:
		return g, fmt.Errorf("matrix: a new token: %w", err)
	case a.StatusCode == http.StatusTooManyRequests || a.StatusCode >= http.StatusInternalServerError:
		return g, fmt.Errorf("matrix: a new token: the homeserver answers %d", a.StatusCode)
	case a.StatusCode != http.StatusOK || json.Unmarshal(said, &g) != nil || g.Token == "":
		return g, errNoRenewal
	}
	return g, nil
}
