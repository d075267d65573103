package discord

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Bounds of the gate.
const (
	invalidAllowed = 8000             // of the 10,000 refused requests in ten minutes after which Discord shuts an address out
	invalidWindow  = 10 * time.Minute // in which they count
	perSecond      = 45               // requests; Discord allows 50
	slotsBeforeTry = 64               // slots kept before those that are over are looked for
)

// Errors of the gate itself: the request was not made.
var (
	ErrToken  = errors.New("discord: the bot's token was refused; make a new one on the bot's page and put it where the configuration says")
	errBudget = errors.New("discord: too many requests were refused in the last ten minutes; waiting so that this address is not shut out")
)

// gate is the way out to Discord's HTTP interface, below discordgo, whose own
// limiter is deaf to contexts and to global limits and keeps a bucket for each
// interaction for ever. The gate waits for the limits that Discord announces,
// for as long as the request's context lasts; counts what was refused; keeps
// nothing once a limit is over; and sends the bot's token only where it is needed.
//
// An answer of 400 and above is given back as a *Refusal instead of a response,
// so that no other code reads meaning into it.
type gate struct {
	base  *url.URL
	next  http.RoundTripper
	clock *clock           // learns from each answer's Date
	now   func() time.Time // by which the clock is judged; limits go by the real time

	mu      sync.Mutex
	slots   map[string]slot
	sweepAt int
	paused  time.Time // until then nothing but interactions goes out
	second  time.Time // the second that spent belongs to
	spent   int
	invalid map[int64]int // refused requests by minute
	refused bool          // the token
}

// slot is what is left of a route's limit.
type slot struct {
	left  int
	reset time.Time
}

func newGate(base *url.URL, next http.RoundTripper, c *clock) *gate {
	return &gate{base: base, next: next, clock: c, now: time.Now, slots: map[string]slot{}, sweepAt: slotsBeforeTry, invalid: map[int64]int{}}
}

// RoundTrip makes one request, when it may be made.
func (g *gate) RoundTrip(r *http.Request) (*http.Response, error) {
	way := routeOf(r.Method, r.URL.Path)
	r = g.aimed(r, way)
	bot := r.Header.Get("Authorization") != ""
	if err := g.enter(r.Context(), way, bot); err != nil {
		return nil, err
	}
	sent := g.now()
	answer, err := g.next.RoundTrip(r)
	if err != nil {
		return nil, err
	}
	g.clock.learn(answer.Header.Get("Date"), sent, g.now())
	if answer.StatusCode < http.StatusBadRequest {
		g.leave(way, answer.Header)
		for name := range answer.Header {
			if strings.HasPrefix(name, "X-Ratelimit-") {
				answer.Header.Del(name) // discordgo fails an answer whose limits it cannot read
			}
		}
		return answer, nil
	}
	defer answer.Body.Close()
	refusal := readRefusal(answer, way.name)
	g.leave(way, answer.Header)
	g.refuse(way, refusal, bot)
	return nil, refusal
}

// aimed is the request to the configured host, in the version of the interface
// that we write for; discordgo has both compiled in.
func (g *gate) aimed(r *http.Request, way route) *http.Request {
	r = r.Clone(r.Context())
	r.URL.Scheme, r.URL.Host, r.Host = g.base.Scheme, g.base.Host, g.base.Host
	if p, ok := strings.CutPrefix(r.URL.Path, "/api/v9/"); ok {
		r.URL.Path, r.URL.RawPath = "/api/v10/"+p, ""
	}
	if way.tokened {
		r.Header.Del("Authorization")
	}
	return r
}

// enter waits until the request may go out.
func (g *gate) enter(ctx context.Context, way route, bot bool) error {
	for {
		wait, err := g.ask(way, bot)
		if err != nil || wait <= 0 {
			return errors.Join(err, ctx.Err())
		}
		if !sleep(ctx, wait) {
			return ctx.Err()
		}
	}
}

// ask takes a place for the request, or says how long to wait for one.
func (g *gate) ask(way route, bot bool) (time.Duration, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := time.Now()
	s, limited := g.slots[way.key]
	limited = limited && now.Before(s.reset)
	switch {
	case bot && g.refused:
		return 0, ErrToken
	case !way.tokened && g.refusals(now) >= invalidAllowed:
		return 0, errBudget
	case !way.tokened && now.Before(g.paused):
		return g.paused.Sub(now), nil
	case limited && s.left <= 0:
		return s.reset.Sub(now), nil
	}
	if !way.tokened {
		if now.Sub(g.second) >= time.Second {
			g.second, g.spent = now, 0
		}
		if g.spent >= perSecond {
			return g.second.Add(time.Second).Sub(now), nil
		}
		g.spent++
	}
	if limited {
		s.left--
		g.slots[way.key] = s
	}
	return 0, nil
}

// leave notes what an answer says of the route's limit.
func (g *gate) leave(way route, h http.Header) {
	left, err := strconv.Atoi(h.Get("X-Ratelimit-Remaining"))
	after := seconds(h.Get("X-Ratelimit-Reset-After"))
	if err != nil || after <= 0 {
		return
	}
	g.hold(way.key, left, after)
}

// hold keeps a route's limit until it is over.
func (g *gate) hold(key string, left int, after time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := time.Now()
	if old, ok := g.slots[key]; ok && now.Before(old.reset) {
		left = min(left, old.left) // answers overtake each other
	}
	g.slots[key] = slot{left, now.Add(after)}
	if len(g.slots) < g.sweepAt {
		return
	}
	for k, s := range g.slots {
		if !now.Before(s.reset) {
			delete(g.slots, k)
		}
	}
	g.sweepAt = max(slotsBeforeTry, 2*len(g.slots))
}

// refuse draws the consequences of a refusal.
func (g *gate) refuse(way route, r *Refusal, bot bool) {
	if r.Status == http.StatusTooManyRequests && !r.Global {
		g.hold(way.key, 0, r.After)
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	now := time.Now()
	if until := now.Add(r.After); r.Status == http.StatusTooManyRequests && r.Global && until.After(g.paused) {
		g.paused = until
	}
	if r.Status == http.StatusUnauthorized && bot {
		g.refused = true
	}
	if r.counts() {
		g.refusals(now) // so that old minutes go
		g.invalid[now.Unix()/60]++
	}
}

// refusals counts the refused requests of the last ten minutes.
func (g *gate) refusals(now time.Time) int {
	n := 0
	for minute, count := range g.invalid {
		if now.Sub(time.Unix(minute*60, 0)) > invalidWindow+time.Minute {
			delete(g.invalid, minute)
			continue
		}
		n += count
	}
	return n
}

// route is a request as limits see it.
type route struct {
	key     string // requests with one key share a limit
	name    string // the same without a secret, for errors and the log
	tokened bool   // it carries an interaction's token: no global limit, no authorization
}

// routeOf keeps the first id of a path, because limits are by channel, guild or
// interaction, and stars the others.
func routeOf(method, path string) route {
	parts := strings.Split(strings.Trim(path, "/"), "/")
	if len(parts) > 2 && parts[0] == "api" {
		parts = parts[2:]
	}
	r := route{tokened: len(parts) > 2 && (parts[0] == "interactions" || parts[0] == "webhooks")}
	key, name := append([]string{method}, parts...), append([]string{method}, parts...)
	ids := 0
	for i, p := range parts {
		if p == "" || strings.Trim(p, "0123456789") != "" {
			continue
		}
		if ids++; ids > 1 {
			key[i+1], name[i+1] = "*", "*"
		}
	}
	if r.tokened {
		name[3] = "*"
	}
	r.key, r.name = strings.Join(key, "/"), strings.Replace(strings.Join(name, "/"), "/", " ", 1)
	return r
}

func seconds(s string) time.Duration {
	f, err := strconv.ParseFloat(s, 64)
	if err != nil || f < 0 || f > (24*time.Hour).Seconds() {
		return 0
	}
	return time.Duration(f * float64(time.Second))
}
