package discord

import (
	"context"
	"crypto/tls"
	"net"
	"net/http"
	"sync"
	"sync/atomic"

	"github.com/bwmarrin/discordgo"
	"github.com/gorilla/websocket"
)

// intents are what the bot hears besides interactions: its servers, and what is
// written to it in private. None of them is privileged.
const intents = discordgo.IntentsGuilds | discordgo.IntentsDirectMessages

// session is one Session of discordgo on the gateway, which begins with IDENTIFY
// and may be resumed on one line after another. It is left behind, once and for
// all, if discordgo locks itself up.
type session struct {
	*discordgo.Session
	lost  chan struct{} // discordgo is done with a line
	ready chan struct{} // READY or RESUMED came on the line
	began atomic.Bool   // READY came once: there is something to resume
	left  atomic.Bool   // nobody listens to it any more

	mu   sync.Mutex
	line *line
}

// newSession makes a session that has not begun. Everything that discordgo would
// do on its own is off: it neither connects again, nor keeps state, nor writes logs.
func (s *supervisor) newSession() (*session, error) {
	d, err := discordgo.New(s.token.authorization())
	if err != nil {
		return nil, err
	}
	d.Client = &http.Client{Transport: s.gate, Timeout: s.bounds.open / 2}
	d.StateEnabled = false
	d.SyncEvents = true
	d.ShouldReconnectOnError = false
	d.ShouldReconnectVoiceOnSessionError = false
	d.ShouldRetryOnRateLimit = false
	d.LogLevel = silent
	d.Identify.Intents = intents
	d.ShardID, d.ShardCount = s.shard, s.shards
	n := &session{Session: d, lost: make(chan struct{}, 1), ready: make(chan struct{}, 1)}
	to := func(conf *tls.Config) func(context.Context, string, string) (net.Conn, error) {
		return func(ctx context.Context, network, address string) (net.Conn, error) {
			l, err := dial(ctx, network, address, conf, s.bounds)
			if err != nil {
				return nil, err
			}
			n.take(l)
			return l, nil
		}
	}
	d.Dialer = &websocket.Dialer{NetDialContext: to(nil), NetDialTLSContext: to(s.tls), HandshakeTimeout: s.bounds.open / 2}
	d.AddHandler(func(*discordgo.Session, *discordgo.Connect) { n.now().count() })
	d.AddHandler(func(*discordgo.Session, *discordgo.Disconnect) { signal(n.lost) })
	d.AddHandler(func(_ *discordgo.Session, e *discordgo.Event) { s.heard(n, e) })
	return n, nil
}

// heard passes an event on. It runs inside discordgo, at times with the lock of
// the session held: it must not call the session, nor wait.
func (s *supervisor) heard(n *session, e *discordgo.Event) {
	if n.left.Load() {
		return
	}
	if e.Type == "READY" || e.Type == "RESUMED" {
		n.began.Store(true)
		signal(n.ready)
	}
	s.hear(e.Type, e.RawData)
}

// take makes a line the session's.
func (n *session) take(l *line) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.line = l
}

// now is the line of the session, a dead one if it never had any.
func (n *session) now() *line {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.line == nil {
		n.line = &line{dead: true, gone: make(chan struct{})}
		close(n.line.gone)
	}
	return n.line
}

// fresh forgets the signals of the line before.
func (n *session) fresh() {
	drain(n.lost)
	drain(n.ready)
	n.take(nil)
}

func signal(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

func drain(c chan struct{}) {
	select {
	case <-c:
	default:
	}
}
