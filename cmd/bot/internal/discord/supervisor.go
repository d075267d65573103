package discord

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"time"

	"github.com/gorilla/websocket"
)

const (
	writesAllowed = 3  // on a line beyond those that begin it; one more each refill
	startsKept    = 50 // sessions that are never started: Discord takes the token away at 0
	silent        = -1 // below all levels of discordgo's log, which prints what it likes where it likes
)

// bounds are the times of the supervisor; tests shorten them.
type bounds struct {
	silence time.Duration // a line that says nothing for so long is dead: a heartbeat of 41.25 s is answered at once
	open    time.Duration // to open a line, and to be ready on it
	unlock  time.Duration // for discordgo to be done with a dead line; it sleeps a second of it
	refill  time.Duration // of the writes allowed
	first   time.Duration // the most to wait before the next line, at first; doubled each time
	most    time.Duration // at last
	worst   time.Duration // at last, while no line gets ready
	quiet   time.Duration // a line that lasted so long was good
	apart   time.Duration // sessions of one row of shards are started so far apart
}

var usual = bounds{
	silence: 75 * time.Second, open: 30 * time.Second, unlock: 5 * time.Second, refill: 15 * time.Second,
	first: time.Second, most: time.Minute, worst: 10 * time.Minute, quiet: time.Minute, apart: 5 * time.Second,
}

// fatal are the close codes after which connecting again is no use
// (documentation, "Gateway Close Event Codes"), and what to do about them.
var fatal = map[int]error{
	4004: ErrToken,
	4010: errors.New("discord: there is no such shard (4010); correct --shards, or shards in the config"),
	4011: errors.New("discord: the bot is in too many servers for one connection (4011); start with --shards, as in --shards 0-1/2; bot doctor says how many"),
	4012: errors.New("discord: this version of the gateway is no longer served (4012); a newer version of the bot is needed"),
	4013: errors.New("discord: the intents are none that Discord knows (4013); a newer version of the bot is needed"),
	4014: errors.New("discord: an intent is asked for that must be allowed first (4014); the bot needs no privileged intent, so switch it off in the code"),
}

var errNotReady = errors.New("discord: neither READY nor RESUMED came")

// supervisor keeps one shard connected, whatever happens to lines, sessions and
// discordgo. What it hears goes to hear, in order, which must not wait.
type supervisor struct {
	token  Token
	shard  int
	shards int
	gate   http.RoundTripper
	api    *api
	tls    *tls.Config
	hear   func(kind string, data json.RawMessage)
	log    *slog.Logger
	bounds bounds
	pace   *pace

	session *session // nil: the next line begins a new one
	failed  bool     // the last line never got ready: the next may have to IDENTIFY as well
}

// run connects until the context ends (nil) or connecting is of no use.
func (s *supervisor) run(ctx context.Context) error {
	wait := s.bounds.first
	for {
		began := time.Now()
		ready, err := s.connect(ctx)
		s.failed = !ready
		if ctx.Err() != nil {
			return nil
		}
		if end := ending(err); end != nil {
			return end
		}
		s.log.Warn("the line to Discord is lost", "shard", s.shard, "ready", ready, "after", time.Since(began).Round(time.Second), "error", err)
		if ready && time.Since(began) >= s.bounds.quiet {
			wait = s.bounds.first
		}
		if !sleep(ctx, rand.N(wait)) {
			return nil
		}
		most := s.bounds.worst
		if ready {
			most = s.bounds.most
		}
		wait = min(2*wait, most)
	}
}

// connect opens a line and stays until it is lost; ready tells whether it came
// to READY or RESUMED.
func (s *supervisor) connect(ctx context.Context) (ready bool, err error) {
	if s.session == nil || s.failed {
		if err := s.mayStart(ctx); err != nil {
			return false, err
		}
	}
	if s.session == nil {
		if s.session, err = s.newSession(); err != nil {
			return false, err
		}
	}
	n := s.session
	n.fresh()
	opened := make(chan error, 1)
	go func() { opened <- n.Open() }()
	late := time.NewTimer(s.bounds.open)
	defer late.Stop()
	select {
	case err := <-opened:
		if err != nil {
			return false, err
		}
	case <-late.C:
		return false, s.giveUp(n, opened, "opening takes too long")
	case <-ctx.Done():
		return false, s.giveUp(n, opened, "stopped while opening")
	}
	return s.stay(ctx, n)
}

// giveUp kills the line of an Open that does not return. If it still does not,
// discordgo has locked itself up: the session and its goroutine stay behind.
func (s *supervisor) giveUp(n *session, opened <-chan error, why string) error {
	n.now().kill(errDead)
	select {
	case err := <-opened:
		if err == nil {
			s.bury(n)
		}
		return fmt.Errorf("discord: %s: %w", why, errDead)
	case <-time.After(s.bounds.unlock):
		s.leaveBehind(n)
		return fmt.Errorf("discord: %s, and discordgo is locked up", why)
	}
}

// stay waits until the line is lost, or ends the session with the context.
func (s *supervisor) stay(ctx context.Context, n *session) (ready bool, err error) {
	l := n.now()
	late := time.NewTimer(s.bounds.open)
	defer late.Stop()
	for {
		select {
		case <-n.ready:
			ready = true
		case <-late.C:
			if !ready {
				l.kill(errNotReady)
			}
		case <-n.lost:
			if dead, why := l.death(); dead {
				return ready, why
			}
		case <-l.gone:
			s.bury(n)
			_, why := l.death()
			return ready || len(n.ready) > 0, why
		case <-ctx.Done():
			s.leave(n)
			return ready, ctx.Err()
		}
	}
}

// bury waits until discordgo is done with a dead line.
func (s *supervisor) bury(n *session) {
	select {
	case <-n.lost:
	case <-time.After(s.bounds.unlock):
		s.leaveBehind(n)
	}
}

// leave ends the session, so that the bot is seen to be gone at once.
func (s *supervisor) leave(n *session) {
	l := n.now()
	l.leave()
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = n.Close() // the line is killed next
	}()
	select {
	case <-done:
	case <-time.After(s.bounds.unlock):
	}
	n.left.Store(true)
	l.kill(nil)
	s.session = nil
}

func (s *supervisor) leaveBehind(n *session) {
	n.left.Store(true)
	s.session = nil
	s.log.Error("a session of discordgo is locked up and stays behind; a new one begins", "shard", s.shard)
}

// advice is what GET /gateway/bot says of starting sessions.
type advice struct {
	Shards int `json:"shards"`
	Limit  struct {
		Remaining int `json:"remaining"`
		After     int `json:"reset_after"` // milliseconds
		AtOnce    int `json:"max_concurrency"`
	} `json:"session_start_limit"`
}

// mayStart waits while too few sessions may still be started today.
func (s *supervisor) mayStart(ctx context.Context) error {
	for {
		var a advice
		if err := s.api.do(ctx, call{method: http.MethodGet, path: "gateway/bot"}, &a); err != nil {
			return err
		}
		if a.Shards > s.shards && s.shard == 0 {
			s.log.Warn("Discord advises more shards than the settings have; bot doctor says how to set them", "advised", a.Shards, "set", s.shards)
		}
		if a.Limit.Remaining >= startsKept {
			return s.pace.wait(ctx, s.shard, a.Limit.AtOnce, s.bounds.apart)
		}
		wait := max(time.Duration(a.Limit.After)*time.Millisecond, s.bounds.first)
		s.log.Error("too many sessions were started; the bot waits before it starts another, or Discord takes its token away", "left", a.Limit.Remaining, "wait", wait)
		if !sleep(ctx, wait) {
			return ctx.Err()
		}
	}
}

// ending is the error to stop with, nil to go on.
func ending(err error) error {
	var r *Refusal
	if errors.Is(err, ErrToken) || errors.As(err, &r) && r.Status == http.StatusUnauthorized {
		return ErrToken
	}
	var c *websocket.CloseError
	if errors.As(err, &c) {
		return fatal[c.Code]
	}
	return nil
}
