package discordtest

import (
	"bytes"
	"compress/zlib"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/gorilla/websocket"
)

// The operations of the gateway.
const (
	OpDispatch       = 0
	OpHeartbeat      = 1
	OpIdentify       = 2
	OpResume         = 6
	OpReconnect      = 7
	OpInvalidSession = 9
	OpHello          = 10
	OpACK            = 11
)

// gateway is what the server keeps of its lines and sessions.
type gateway struct {
	sessions   map[string]*session
	conns      map[*Conn]bool
	ack        bool
	identifies []Identify
	resumes    int
	opened     int
	closes     []int // close codes that the bot sent
}

// Identify is what a bot said of itself.
type Identify struct {
	Intents  int
	Shard    []int
	Compress bool
}

// session outlives its connections until the bot ends it with 1000 or 1001.
type session struct {
	id       string
	shard    []int
	log      []event
	conn     *Conn
	compress bool
}

type event struct {
	Op   int    `json:"op"`
	Seq  int    `json:"s"`
	Type string `json:"t"`
	Data any    `json:"d"`
}

// Conn is one connection of the bot to the gateway.
type Conn struct {
	server   *Server
	ws       *websocket.Conn
	write    sync.Mutex
	session  *session
	compress bool
}

// Server is the one that the connection leads to.
func (c *Conn) Server() *Server { return c.server }

// Send sends an operation.
func (c *Conn) Send(op int, data any) {
	c.send(map[string]any{"op": op, "d": data, "s": nil, "t": nil})
}

func (c *Conn) send(packet any) {
	b, err := json.Marshal(packet)
	if err != nil {
		panic(err)
	}
	kind := websocket.TextMessage
	if c.compress {
		var z bytes.Buffer
		w := zlib.NewWriter(&z)
		_, _ = w.Write(b) // into memory
		_ = w.Close()
		b, kind = z.Bytes(), websocket.BinaryMessage
	}
	c.write.Lock()
	defer c.write.Unlock()
	_ = c.ws.WriteMessage(kind, b) // a broken line is seen by its reader
}

// Close closes the connection with a code.
func (c *Conn) Close(code int) {
	c.write.Lock()
	defer c.write.Unlock()
	_ = c.ws.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(code, fmt.Sprint("closed with ", code)), time.Now().Add(time.Second))
	time.AfterFunc(time.Second, func() { _ = c.ws.Close() })
}

// Cut ends the connection without a word, as a router does.
func (c *Conn) Cut() {
	if tcp, ok := c.ws.NetConn().(*net.TCPConn); ok {
		_ = tcp.SetLinger(0)
	}
	_ = c.ws.NetConn().Close()
}

func (s *Server) connect(w http.ResponseWriter, r *http.Request) {
	up := websocket.Upgrader{CheckOrigin: func(*http.Request) bool { return true }}
	ws, err := up.Upgrade(w, r, nil)
	if err != nil {
		return
	}
	c := &Conn{server: s, ws: ws}
	s.mu.Lock()
	if s.gateway.conns == nil {
		s.gateway.conns = map[*Conn]bool{}
	}
	s.gateway.conns[c] = true
	s.gateway.opened++
	s.happened()
	s.mu.Unlock()
	if s.opts.Hello == nil || !s.opts.Hello(c) {
		c.Send(OpHello, map[string]any{"heartbeat_interval": s.opts.Heartbeat.Milliseconds()})
	}
	c.read()
}

// read serves a connection until it ends.
func (c *Conn) read() {
	s := c.server
	defer c.gone()
	for {
		_, b, err := c.ws.ReadMessage()
		if err != nil {
			c.left(err)
			return
		}
		var p struct {
			Op   int             `json:"op"`
			Data json.RawMessage `json:"d"`
		}
		if json.Unmarshal(b, &p) != nil {
			c.Close(4002)
			continue
		}
		switch p.Op {
		case OpHeartbeat:
			s.mu.Lock()
			ack := s.gateway.ack
			s.mu.Unlock()
			if ack {
				c.Send(OpACK, nil)
			}
		case OpIdentify, OpResume:
			s.count(p.Op, p.Data)
			taken := s.opts.Begin != nil && s.opts.Begin(c, p.Op)
			if !taken && p.Op == OpIdentify {
				c.Identify(p.Data)
			} else if !taken {
				c.Resume(p.Data)
			}
		}
	}
}

func (s *Server) count(op int, data json.RawMessage) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if op == OpResume {
		s.gateway.resumes++
	} else {
		var id Identify
		_ = json.Unmarshal(data, &id) // what is missing stays zero, and the test sees that
		s.gateway.identifies = append(s.gateway.identifies, id)
		s.opts.Starts--
	}
	s.happened()
}

// left notes how the bot ended the connection: 1000 and 1001 end the session.
func (c *Conn) left(err error) {
	var close *websocket.CloseError
	if !errors.As(err, &close) || close.Code == websocket.CloseAbnormalClosure {
		return
	}
	s := c.server
	s.mu.Lock()
	defer s.mu.Unlock()
	s.gateway.closes = append(s.gateway.closes, close.Code)
	if c.session != nil && (close.Code == websocket.CloseNormalClosure || close.Code == websocket.CloseGoingAway) {
		delete(s.gateway.sessions, c.session.id)
	}
}

func (c *Conn) gone() {
	_ = c.ws.Close()
	s := c.server
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.gateway.conns, c)
	if c.session != nil && c.session.conn == c {
		c.session.conn = nil
	}
	s.happened()
}

// Identify begins a session as Discord does: READY, then each server.
func (c *Conn) Identify(data json.RawMessage) {
	s := c.server
	var d struct {
		Token    string `json:"token"`
		Shard    []int  `json:"shard"`
		Compress bool   `json:"compress"`
	}
	_ = json.Unmarshal(data, &d) // a body without a token is refused below
	if !right(d.Token) {
		c.Close(4004)
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	c.compress = d.Compress
	c.session = &session{id: "session-" + s.id(), shard: d.Shard, conn: c, compress: d.Compress}
	s.gateway.sessions[c.session.id] = c.session
	var guilds []any
	for _, g := range s.opts.Guilds {
		if c.session.has(g.ID) {
			guilds = append(guilds, map[string]any{"id": g.ID, "unavailable": true})
		}
	}
	c.session.tell("READY", map[string]any{
		"v": 9, "session_id": c.session.id, "resume_gateway_url": s.socket(), "guilds": guilds, "shard": d.Shard,
		"user":        map[string]any{"id": BotUser, "username": "Drumhead", "discriminator": "0", "bot": true, "avatar": nil},
		"application": map[string]any{"id": Application, "flags": 0},
	})
	for _, g := range s.opts.Guilds {
		if c.session.has(g.ID) {
			c.session.tell("GUILD_CREATE", g.event())
		}
	}
	s.happened()
}

// Resume goes on with a session: what was missed, then RESUMED.
func (c *Conn) Resume(data json.RawMessage) {
	s := c.server
	var d struct {
		Token   string `json:"token"`
		Session string `json:"session_id"`
		Seq     int    `json:"seq"`
	}
	_ = json.Unmarshal(data, &d) // as above
	if !right(d.Token) {
		c.Close(4004)
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	ses, ok := s.gateway.sessions[d.Session]
	if !ok || d.Seq > len(ses.log) {
		c.Send(OpInvalidSession, false)
		return
	}
	c.session, c.compress, ses.conn = ses, ses.compress, c
	for _, e := range ses.log[d.Seq:] {
		c.send(e)
	}
	ses.tell("RESUMED", map[string]any{})
	s.happened()
}

func right(token string) bool { return strings.TrimPrefix(token, "Bot ") == Token }

// tell adds an event to a session and sends it if somebody listens.
func (ses *session) tell(kind string, data any) {
	e := event{OpDispatch, len(ses.log) + 1, kind, data}
	ses.log = append(ses.log, e)
	if ses.conn != nil {
		ses.conn.send(e)
	}
}

// has tells whether a session hears of a guild: (id >> 22) % shards.
func (ses *session) has(guild string) bool {
	if len(ses.shard) != 2 || guild == "" {
		return len(ses.shard) != 2 || ses.shard[0] == 0
	}
	return int((Created(guild).UnixMilli()-epoch)%int64(ses.shard[1])) == ses.shard[0]
}

func (g Guild) event() map[string]any {
	e := map[string]any{"id": g.ID, "name": g.Name, "channels": []any{}, "roles": []any{}, "members": []any{}, "emojis": []any{}, "threads": []any{}, "owner_id": "1"}
	for k, v := range g.More {
		e[k] = v
	}
	return e
}

// Dispatch tells an event to every session that hears of the guild, now or when
// it resumes.
func (s *Server) Dispatch(kind, guild string, data any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.dispatch(kind, guild, data)
}

func (s *Server) dispatch(kind, guild string, data any) {
	for _, ses := range s.gateway.sessions {
		if ses.has(guild) {
			ses.tell(kind, data)
		}
	}
}

// Op sends an operation to every connection.
func (s *Server) Op(op int, data any) { s.each(func(c *Conn) { c.Send(op, data) }) }

// CloseAll closes every connection with a code.
func (s *Server) CloseAll(code int) { s.each(func(c *Conn) { c.Close(code) }) }

// Cut cuts every connection without a word.
func (s *Server) Cut() { s.each((*Conn).Cut) }

func (s *Server) each(f func(*Conn)) {
	s.mu.Lock()
	var all []*Conn
	for c := range s.gateway.conns {
		all = append(all, c)
	}
	s.mu.Unlock()
	for _, c := range all {
		f(c)
	}
}

// Forget forgets every session, as Discord may at any time.
func (s *Server) Forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	clear(s.gateway.sessions)
}

// Acknowledge says whether heartbeats are acknowledged from now on.
func (s *Server) Acknowledge(yes bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.gateway.ack = yes
}

// Lines is what the gateway has seen so far.
type Lines struct {
	Open       int // connections now
	Opened     int // in all
	Identifies []Identify
	Resumes    int
	Sessions   int   // with a connection now
	Closes     []int // codes that the bot closed with
}

// Lines tells what the gateway has seen.
func (s *Server) Lines() Lines {
	s.mu.Lock()
	defer s.mu.Unlock()
	g := &s.gateway
	l := Lines{Open: len(g.conns), Opened: g.opened, Resumes: g.resumes,
		Identifies: append([]Identify(nil), g.identifies...), Closes: append([]int(nil), g.closes...)}
	for _, ses := range g.sessions {
		if ses.conn != nil {
			l.Sessions++
		}
	}
	return l
}
