package discord

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/url"
	"time"

	"github.com/bwmarrin/discordgo"
)

// Bounds of one call.
const (
	callWithin   = 30 * time.Second       // one try of it
	limitedTries = 5                      // more tries after 429
	brokenTries  = 3                      // more tries after 5xx or a broken line, where repeating is safe
	brokenWait   = 500 * time.Millisecond // before the first of them; doubled each time
)

// api calls Discord's HTTP interface through a session of discordgo, which
// knows its address, its headers and its multipart bodies.
type api struct {
	session *discordgo.Session
}

// newAPI makes an api that goes through a gate.
func newAPI(t Token, g http.RoundTripper) (*api, error) {
	d, err := discordgo.New(t.authorization())
	if err != nil {
		return nil, err
	}
	d.Client = &http.Client{Transport: g}
	d.LogLevel = silent
	return &api{session: d}, nil
}

// call is one request. Body is JSON, or multipart if there are files.
type call struct {
	method string
	path   string // below /api/v10/
	body   any
	files  []*discordgo.File
	safe   bool // a repeated POST has no second effect: an enforced nonce, an answer that is taken once
}

// repeatable tells whether a call that may have arrived can be made again.
func (c call) repeatable() bool { return c.safe || c.method != http.MethodPost }

// do makes a call and decodes its answer into out, nil for none. It tries again
// where that can help and do no harm. Errors are *Refusal, ErrToken, or of the
// line; none holds a secret.
func (a *api) do(ctx context.Context, c call, out any) error {
	kind, body, err := c.encode()
	if err != nil {
		return err
	}
	for limited, broken := 0, 0; ; {
		answer, err := a.try(ctx, c, kind, body)
		var r *Refusal
		switch {
		case err == nil && out != nil:
			return json.Unmarshal(answer, out)
		case err == nil:
			return nil
		case ctx.Err() != nil:
			return err
		case errors.As(err, &r) && r.limited() && limited < limitedTries:
			limited++ // the gate waits as long as was asked for
			continue
		case errors.As(err, &r) && r.Status < http.StatusInternalServerError, errors.Is(err, ErrToken), errors.Is(err, errBudget):
			return err
		case !c.repeatable() || broken >= brokenTries:
			return err
		}
		if err := pause(ctx, brokenWait<<broken); err != nil {
			return err
		}
		broken++
	}
}

// try makes a call once. discordgo's own limits are given a bucket that is
// thrown away, so that they keep nothing and never sleep.
func (a *api) try(ctx context.Context, c call, kind string, body []byte) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, callWithin)
	defer cancel()
	bucket := discordgo.NewRatelimiter().LockBucket("once")
	answer, err := a.session.RequestWithLockedBucket(c.method, discordgo.EndpointAPI+c.path, kind, body, bucket, 0,
		discordgo.WithContext(ctx), discordgo.WithRetryOnRatelimit(false), discordgo.WithRestRetries(0))
	return answer, clean(err)
}

func (c call) encode() (kind string, body []byte, err error) {
	switch {
	case c.files != nil:
		return discordgo.MultipartBodyWithJSON(c.body, c.files)
	case c.body != nil:
		body, err = json.Marshal(c.body)
		return "application/json", body, err
	}
	return "", nil, nil
}

// clean takes the address off an error of the line: it may hold a token.
func clean(err error) error {
	var u *url.Error
	if !errors.As(err, &u) {
		return err
	}
	var r *Refusal
	if errors.As(u.Err, &r) {
		return r
	}
	return fmt.Errorf("discord: %w", u.Err)
}

// pause waits up to twice a time, by chance, unless the context ends.
func pause(ctx context.Context, about time.Duration) error {
	if !sleep(ctx, about+rand.N(about)) {
		return ctx.Err()
	}
	return nil
}

// sleep waits; false if the context ended first.
func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
