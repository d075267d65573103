package discord

import (
	"context"
	"crypto/tls"
	"errors"
	"net"
	"sync"
	"time"
)

// closeFrame is the first byte of a WebSocket close frame (RFC 6455, 5.2: FIN
// and opcode 8).
const closeFrame = 0x88

var (
	errDead   = errors.New("discord: the line is dead")
	errClosed = errors.New("discord: the gateway closed the line, or asked for a new one")
	errStorm  = errors.New("discord: too much was sent on one line")
)

// line is one connection to the gateway, below WebSocket and above TLS. It dies
// of silence; it dies of storms, because a bot that only listens has nothing to
// say but heartbeats; and a dead line says nothing, above all not "1000, I
// leave", which would end the session and lose what happens meanwhile.
type line struct {
	net.Conn
	bounds bounds
	gone   chan struct{} // closed when the line is dead

	mu      sync.Mutex
	dead    bool
	why     error     // it died; nil: it was closed
	leaving bool      // the bot ends the session itself: a close frame may go out
	allowed int       // writes that may still go out
	counted time.Time // when one was last added; zero: not counted yet
}

func newLine(c net.Conn, b bounds) *line {
	return &line{Conn: c, bounds: b, gone: make(chan struct{})}
}

// Read waits for bytes, but never longer than a living gateway is silent.
func (l *line) Read(b []byte) (int, error) {
	if err := l.SetReadDeadline(time.Now().Add(l.bounds.silence)); err != nil {
		l.kill(err)
		return 0, err
	}
	n, err := l.Conn.Read(b)
	if err != nil {
		l.kill(err)
	}
	return n, err
}

// Write sends one frame, unless the line is dead or the frame must not go out.
func (l *line) Write(b []byte) (int, error) {
	if err := l.may(b); err != nil {
		l.kill(err)
		return 0, err
	}
	n, err := l.Conn.Write(b)
	if err != nil {
		l.kill(err)
	}
	return n, err
}

func (l *line) may(b []byte) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.dead {
		return errDead
	}
	if len(b) > 0 && b[0] == closeFrame {
		if l.leaving {
			return nil
		}
		return errClosed
	}
	if l.counted.IsZero() {
		return nil
	}
	if more := int(time.Since(l.counted) / l.bounds.refill); more > 0 {
		l.allowed = min(writesAllowed, l.allowed+more)
		l.counted = l.counted.Add(time.Duration(more) * l.bounds.refill)
	}
	if l.allowed == 0 {
		return errStorm
	}
	l.allowed--
	return nil
}

// count limits what goes out from now on: the session is begun.
func (l *line) count() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.allowed, l.counted = writesAllowed, time.Now()
}

// leave lets a close frame go out.
func (l *line) leave() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.leaving = true
}

// death tells whether the line is dead, and of what.
func (l *line) death() (bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.dead, l.why
}

// Close ends the line as kill does; what may be said was said before.
func (l *line) Close() error {
	l.kill(nil)
	return nil
}

// kill ends the line without a word.
func (l *line) kill(why error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.dead {
		return
	}
	l.dead, l.why = true, why
	raw := l.Conn
	if t, ok := raw.(*tls.Conn); ok {
		raw = t.NetConn() // TLS would say goodbye, and wait for a stuck line to take it
	}
	_ = raw.Close() // dead either way
	close(l.gone)
}

// dial makes a line; TLS if conf is given.
func dial(ctx context.Context, network, address string, conf *tls.Config, b bounds) (*line, error) {
	ctx, cancel := context.WithTimeout(ctx, b.open)
	defer cancel()
	d := net.Dialer{}
	var c net.Conn
	var err error
	if conf == nil {
		c, err = d.DialContext(ctx, network, address)
	} else {
		c, err = (&tls.Dialer{NetDialer: &d, Config: conf}).DialContext(ctx, network, address)
	}
	if err != nil {
		return nil, err
	}
	return newLine(c, b), nil
}
