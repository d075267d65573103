package discordtest

import (
	"encoding/json"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"strings"
	"time"
)

// handler carries one request out and returns its status.
type handler func(w http.ResponseWriter, r *http.Request, q Request) int

func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	for pattern, h := range map[string]handler{
		"GET /gateway":                                        s.gatewayAddress,
		"GET /gateway/bot":                                    s.gatewayBot,
		"GET /users/@me":                                      s.me,
		"GET /applications/@me":                               s.application,
		"GET /users/@me/guilds":                               s.myGuilds,
		"POST /users/@me/channels":                            s.openDirect,
		"PUT /applications/{app}/commands":                    s.putCommands,
		"GET /applications/{app}/commands":                    s.getCommands,
		"PUT /applications/{app}/guilds/{guild}/commands":     s.putCommands,
		"GET /applications/{app}/guilds/{guild}/commands":     s.getCommands,
		"POST /interactions/{id}/{token}/callback":            s.callback,
		"POST /webhooks/{app}/{token}":                        s.followUp,
		"GET /webhooks/{app}/{token}/messages/{message}":      s.followUpEdit,
		"PATCH /webhooks/{app}/{token}/messages/{message}":    s.followUpEdit,
		"DELETE /webhooks/{app}/{token}/messages/{message}":   s.followUpEdit,
		"GET /channels/{channel}":                             s.getChannel,
		"PATCH /channels/{channel}":                           s.patchChannel,
		"POST /channels/{channel}/messages":                   s.postMessage,
		"GET /channels/{channel}/messages":                    s.listMessages,
		"GET /channels/{channel}/messages/{message}":          s.getMessage,
		"PATCH /channels/{channel}/messages/{message}":        s.patchMessage,
		"DELETE /channels/{channel}/messages/{message}":       s.deleteMessage,
		"PUT /channels/{channel}/messages/pins/{message}":     s.pin,
		"DELETE /channels/{channel}/messages/pins/{message}":  s.pin,
		"POST /channels/{channel}/threads":                    s.startThread,
		"POST /channels/{channel}/messages/{message}/threads": s.startThread,
		"GET /guilds/{guild}/threads/active":                  s.activeThreads,
		"GET /echo":                                           func(w http.ResponseWriter, _ *http.Request, _ Request) int { return answer(w, http.StatusOK, nil) },
	} {
		method, path, _ := strings.Cut(pattern, " ")
		mux.HandleFunc(method+" /api/v10"+path, s.serve(h))
	}
	mux.HandleFunc("/ws", s.connect)
	mux.HandleFunc("/ws/", s.connect) // as discordgo has it
	mux.HandleFunc("GET /attachments/", s.serveFile)
	mux.HandleFunc("/", s.serve(func(w http.ResponseWriter, _ *http.Request, q Request) int {
		s.tb.Errorf("the bot asked for what is not there: %s %s", q.Method, q.Path)
		return refuse(w, http.StatusNotFound, 0)
	}))
	return mux
}

// serve reads a request whole, checks it, lets faults happen and notes it down.
func (s *Server) serve(h handler) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		q, err := read(r)
		if err != nil {
			s.tb.Errorf("%s %s: %v", r.Method, r.URL.Path, err)
			refuse(w, http.StatusBadRequest, 50109)
			return
		}
		if err := s.body.check(q); err != nil {
			s.tb.Errorf("%s %s: %v\n%s", q.Method, q.Path, err, q.Raw)
			refuse(w, http.StatusBadRequest, 50035)
			return
		}
		w.Header().Set("Date", s.opts.Now().UTC().Format(http.TimeFormat))
		f := s.fault(q)
		if f != nil {
			time.Sleep(f.Delay)
		}
		switch {
		case f == nil || f.Slow:
			q.Status = s.carryOut(w, r, q, h)
		case f.After:
			s.carryOut(blank{http.Header{}}, r, q, h)
			s.note(q, f.Status)
			s.fail(w, f)
			return
		default:
			s.note(q, f.Status)
			s.fail(w, f)
			return
		}
		s.note(q, q.Status)
	}
}

// blank is where an answer goes that is lost.
type blank struct{ header http.Header }

func (b blank) Header() http.Header         { return b.header }
func (b blank) Write(p []byte) (int, error) { return len(p), nil }
func (b blank) WriteHeader(int)             {}

func (s *Server) carryOut(w http.ResponseWriter, r *http.Request, q Request, h handler) int {
	// What carries a token in its path needs no other, as Discord has it.
	open := strings.HasPrefix(q.Path, "interactions/") || strings.HasPrefix(q.Path, "webhooks/") || q.Path == "gateway" || q.Path == "echo"
	if !open && r.Header.Get("Authorization") != "Bot "+Token {
		return refuse(w, http.StatusUnauthorized, 0)
	}
	return h(w, r, q)
}

func (s *Server) note(q Request, status int) {
	if q.Path == "gateway" || q.Path == "gateway/bot" || q.Path == "echo" {
		return
	}
	q.Status = status
	s.mu.Lock()
	defer s.mu.Unlock()
	s.requests = append(s.requests, q)
	s.happened()
}

// mostBody is the largest request that Discord takes.
const mostBody = 25 << 20

var errParts = errors.New("a multipart body has no payload_json")

// read reads a request and its body, JSON or multipart.
func read(r *http.Request) (Request, error) {
	q := Request{Method: r.Method, Path: strings.TrimPrefix(r.URL.Path, "/api/v10/"), Query: r.URL.RawQuery, Header: r.Header.Clone(), Files: map[string]File{}}
	body := http.MaxBytesReader(nil, r.Body, mostBody)
	kind, params, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	var err error
	if kind == "multipart/form-data" {
		err = q.parts(multipart.NewReader(body, params["boundary"]))
	} else {
		q.Raw, err = io.ReadAll(body)
	}
	if err != nil {
		return q, err
	}
	if len(q.Raw) == 0 {
		q.Raw = nil
		return q, nil
	}
	if q.Raw[0] == '[' {
		return q, json.Unmarshal(q.Raw, &q.List)
	}
	return q, json.Unmarshal(q.Raw, &q.Body)
}

func (q *Request) parts(m *multipart.Reader) error {
	for {
		p, err := m.NextPart()
		if err == io.EOF && q.Raw == nil {
			return errParts
		}
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		b, err := io.ReadAll(p)
		if err != nil {
			return err
		}
		if p.FormName() == "payload_json" {
			q.Raw = b
		} else {
			q.Files[p.FormName()] = File{Name: p.FileName(), Type: p.Header.Get("Content-Type"), Bytes: b}
		}
	}
}

// socket is the address of the gateway.
func (s *Server) socket() string { return "ws" + strings.TrimPrefix(s.http.URL, "http") + "/ws" }

func (s *Server) gatewayAddress(w http.ResponseWriter, _ *http.Request, _ Request) int {
	return answer(w, http.StatusOK, map[string]any{"url": s.socket()})
}

func (s *Server) gatewayBot(w http.ResponseWriter, _ *http.Request, _ Request) int {
	s.mu.Lock()
	left := s.opts.Starts
	s.mu.Unlock()
	return answer(w, http.StatusOK, map[string]any{"url": s.socket(), "shards": s.opts.Shards, "session_start_limit": map[string]any{
		"total": DefaultStarts, "remaining": max(left, 0), "reset_after": (time.Hour).Milliseconds(), "max_concurrency": 1}})
}

func (s *Server) me(w http.ResponseWriter, _ *http.Request, _ Request) int {
	return answer(w, http.StatusOK, map[string]any{"id": BotUser, "username": "Drumhead", "discriminator": "0", "bot": true})
}

func (s *Server) myGuilds(w http.ResponseWriter, _ *http.Request, _ Request) int {
	list := []any{}
	for _, g := range s.opts.Guilds {
		may := g.BotMay
		if may == "" {
			may = Invited
		}
		list = append(list, map[string]any{"id": g.ID, "name": g.Name, "permissions": may})
	}
	return answer(w, http.StatusOK, list)
}

func (s *Server) application(w http.ResponseWriter, _ *http.Request, _ Request) int {
	return answer(w, http.StatusOK, map[string]any{"id": Application, "name": "Drumhead", "flags": 0})
}

func (s *Server) putCommands(w http.ResponseWriter, r *http.Request, q Request) int {
	if r.PathValue("app") != Application {
		return refuse(w, http.StatusForbidden, 20012)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []any
	for _, c := range q.List {
		command, _ := c.(map[string]any)
		command["id"], command["application_id"], command["version"] = s.id(), Application, s.id()
		out = append(out, command)
	}
	s.state.commands[r.PathValue("guild")] = out
	s.happened()
	return answer(w, http.StatusOK, out)
}

func (s *Server) getCommands(w http.ResponseWriter, r *http.Request, _ Request) int {
	return answer(w, http.StatusOK, s.Commands(r.PathValue("guild")))
}
