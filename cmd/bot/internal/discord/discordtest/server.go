// Package discordtest is a Discord for tests: its HTTP interface and its
// gateway, on this machine only. It behaves as Discord's documentation says
// (repository discord/discord-api-docs, commit c98d64b, 2026-08-06), checks
// every body that it is sent against Discord's OpenAPI description, and lets a
// test break whatever can break: lines, sessions, answers, clocks.
//
// It knows nothing of the bot: everything goes over the wire.
package discordtest

import (
	"crypto/tls"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// The bot that logs in here. Token has the shape of a real one and opens nothing.
const (
	Token       = "MTAwMDAwMDAwMDAwMDAwMDAw.GdrumH.osier-valley-test-token-0000000000000"
	Application = "100000000000000000"
	BotUser     = "100000000000000001"
)

// The times and counts that Discord documents.
const (
	AnswerWithin  = 3 * time.Second  // the first answer to an interaction
	TokenLasts    = 15 * time.Minute // later ones
	NonceLasts    = 3 * time.Minute  // "the past few minutes"; the exact length is not published
	DefaultStarts = 1000             // sessions that may be started in 24 hours
	epoch         = 1420070400000    // first millisecond of 2015, where ids begin
)

// Options is what a server is started with; all of it may be left out.
type Options struct {
	TLS       bool
	Guilds    []Guild
	Heartbeat time.Duration    // 41.25 s if 0
	Now       func() time.Time // the server's clock; time.Now if nil
	Starts    int              // sessions that may still be started; DefaultStarts if 0
	Shards    int              // advised; 1 if 0
	Edits     int              // of a message older than an hour; usualEdits if 0
	Unchecked bool             // bodies are taken as they are: those of another library, which sends more than is described

	// Hello answers a new connection instead of the server; true if it did.
	Hello func(c *Conn) bool
	// Begin answers an IDENTIFY (2) or RESUME (6) instead of the server; true if
	// it did.
	Begin func(c *Conn, op int) bool
}

// Guild is a server of the test, sent after READY.
type Guild struct {
	ID   string
	Name string
	More map[string]any // further fields of GUILD_CREATE

	BotMay string // the bot's permissions there; Invited if ""
}

// Server is a Discord of one bot.
type Server struct {
	URL  string // base address, http or https
	TLS  *tls.Config
	opts Options
	tb   testing.TB
	http *httptest.Server
	body *bodies

	mu       sync.Mutex
	ids      int64
	gateway  gateway
	state    state
	requests []Request
	faults   []*Fault
	changed  chan struct{} // closed and made anew whenever something happens
}

// Request is something that the bot asked by HTTP.
type Request struct {
	Method string
	Path   string // below /api/v10
	Query  string
	Header http.Header
	Body   map[string]any // of application/json or payload_json; nil if there was none
	List   []any          // a body that is a list
	Raw    []byte         // that JSON as it came
	Files  map[string]File
	Status int // of the answer
}

// File is a part of a multipart body, or an attachment.
type File struct {
	Name  string
	Type  string
	Bytes []byte
}

// Start starts a server that ends with the test.
func Start(tb testing.TB, o Options) *Server {
	tb.Helper()
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Heartbeat == 0 {
		o.Heartbeat = 41250 * time.Millisecond
	}
	if o.Starts == 0 {
		o.Starts = DefaultStarts
	}
	if o.Edits == 0 {
		o.Edits = usualEdits
	}
	if o.Shards == 0 {
		o.Shards = 1
	}
	s := &Server{opts: o, tb: tb, changed: make(chan struct{})}
	if !o.Unchecked {
		s.body = loadBodies(tb)
	}
	s.gateway.sessions = map[string]*session{}
	s.gateway.ack = true
	s.state = newState()
	s.http = httptest.NewUnstartedServer(s.routes())
	if o.TLS {
		s.http.StartTLS()
		s.TLS = s.http.Client().Transport.(*http.Transport).TLSClientConfig
	} else {
		s.http.Start()
	}
	s.URL = s.http.URL
	tb.Cleanup(func() {
		s.Cut()
		s.http.Close()
	})
	return s
}

// Now is the server's clock.
func (s *Server) Now() time.Time { return s.opts.Now() }

// ID makes a snowflake of the server's clock, none twice.
func (s *Server) ID() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.id()
}

func (s *Server) id() string { return s.idAt(s.opts.Now()) }

func (s *Server) idAt(at time.Time) string {
	s.ids++
	return strconv.FormatInt((at.UnixMilli()-epoch)<<22|s.ids&(1<<22-1), 10)
}

// Created is when a snowflake was made.
func Created(id string) time.Time {
	n, err := strconv.ParseInt(id, 10, 64)
	if err != nil {
		return time.Time{}
	}
	return time.UnixMilli(n>>22 + epoch)
}

// happened wakes who waits. The lock is held.
func (s *Server) happened() {
	close(s.changed)
	s.changed = make(chan struct{})
}

// patience is how long a test waits for what should come at once.
const patience = 10 * time.Second

// Until waits until something holds, and fails the test if it never does.
func (s *Server) Until(what string, holds func() bool) {
	s.tb.Helper()
	over := time.After(patience)
	for {
		s.mu.Lock()
		changed := s.changed
		s.mu.Unlock()
		if holds() {
			return
		}
		select {
		case <-changed:
		case <-time.After(50 * time.Millisecond): // what the server does not see: the bot's own state
		case <-over:
			s.tb.Fatalf("waited %v in vain: %s", patience, what)
		}
	}
}

// Requests are all requests so far, but those for the gateway's address.
func (s *Server) Requests() []Request {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Request(nil), s.requests...)
}

// Fault makes requests go wrong.
type Fault struct {
	Method string        // "" is any
	Path   string        // the path holds this; "" is any
	Times  int           // 0 is once, less is always
	Status int           // 0: not answered at all, the line is cut
	Code   int           // JSON error code
	Body   string        // instead of a JSON error
	Header http.Header   // of the answer
	Delay  time.Duration // before the answer
	After  bool          // the request is carried out first: its answer is lost
	Slow   bool          // only slow: it is carried out and answered
}

// Fail adds a fault; the first that fits is used.
func (s *Server) Fail(f Fault) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if f.Times == 0 {
		f.Times = 1
	}
	s.faults = append(s.faults, &f)
}

// Heal takes all faults away.
func (s *Server) Heal() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.faults = nil
}

func (s *Server) fault(r Request) *Fault {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, f := range s.faults {
		if f.Times != 0 && (f.Method == "" || f.Method == r.Method) && strings.Contains(r.Path, f.Path) {
			f.Times--
			return f
		}
	}
	return nil
}

func (s *Server) fail(w http.ResponseWriter, f *Fault) int {
	for k, v := range f.Header {
		w.Header()[k] = v
	}
	if f.Status == 0 {
		panic(http.ErrAbortHandler)
	}
	if f.Body != "" {
		w.WriteHeader(f.Status)
		fmt.Fprint(w, f.Body)
		return f.Status
	}
	return refuse(w, f.Status, f.Code)
}

// answer writes a JSON body.
func answer(w http.ResponseWriter, status int, body any) int {
	if body == nil {
		w.WriteHeader(status)
		return status
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(body) // a broken line is the test's own doing
	return status
}

// refuse answers with a JSON error of Discord's.
func refuse(w http.ResponseWriter, status, code int) int {
	return answer(w, status, map[string]any{"code": code, "message": fmt.Sprintf("error %d", code)})
}
