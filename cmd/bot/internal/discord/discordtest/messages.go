package discordtest

import (
	"net/http"
	"slices"
	"strconv"
)

// usualEdits are allowed of a message older than an hour; the real number is not published.
const usualEdits = 3

// refusal is the JSON error of a channel that cannot be posted in, 0 for none.
func (s *Server) refusal(c *Channel) (status, code int) {
	switch {
	case c.Gone:
		return http.StatusNotFound, 10003
	case c.Type == Forum:
		return http.StatusBadRequest, 40058
	case c.Type == DM && s.state.closed[c.Person]:
		return http.StatusForbidden, 50007
	case c.Locked:
		return http.StatusBadRequest, 160005
	}
	return 0, 0
}

func (s *Server) openDirect(w http.ResponseWriter, _ *http.Request, q Request) int {
	person, _ := q.Body["recipient_id"].(string)
	s.mu.Lock()
	defer s.mu.Unlock()
	return answer(w, http.StatusOK, s.channel(s.directChannel(person)).json())
}

func (s *Server) postMessage(w http.ResponseWriter, r *http.Request, q Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	c := s.channel(r.PathValue("channel"))
	if status, code := s.refusal(c); code != 0 {
		return refuse(w, status, code)
	}
	if empty(q) {
		return refuse(w, http.StatusBadRequest, 50006)
	}
	nonce, _ := q.Body["nonce"].(string)
	if enforce, _ := q.Body["enforce_nonce"].(bool); enforce && nonce != "" {
		if old, ok := s.state.nonces[nonce]; ok && s.opts.Now().Sub(old.sent) < NonceLasts {
			if old.Deleted {
				return refuse(w, http.StatusNotFound, 10008)
			}
			return answer(w, http.StatusOK, s.json(old))
		}
	}
	m := &Message{Channel: c.ID, Nonce: nonce}
	s.write(m, q, q.Body)
	s.keep(m)
	c.Archived = false // any message of ours opens a thread again
	if nonce != "" {
		s.state.nonces[nonce] = m
	}
	return answer(w, http.StatusOK, s.json(m))
}

func empty(q Request) bool {
	text, _ := q.Body["content"].(string)
	components, _ := q.Body["components"].([]any)
	return text == "" && len(q.Files) == 0 && len(components) == 0
}

// message is one of a channel, nil if it is not there.
func (s *Server) message(channel, id string) *Message {
	m := s.find(id)
	if m == nil || m.Deleted || m.Channel != channel || m.Only != "" {
		return nil
	}
	return m
}

func (s *Server) getMessage(w http.ResponseWriter, r *http.Request, _ Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	m := s.message(r.PathValue("channel"), r.PathValue("message"))
	if m == nil {
		return refuse(w, http.StatusNotFound, 10008)
	}
	return answer(w, http.StatusOK, s.json(m))
}

func (s *Server) listMessages(w http.ResponseWriter, r *http.Request, _ Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	limit, err := strconv.Atoi(r.URL.Query().Get("limit"))
	if err != nil {
		limit = 50
	}
	out := []any{}
	after, before := r.URL.Query().Get("after"), r.URL.Query().Get("before")
	list := s.state.messages[r.PathValue("channel")]
	if after == "" {
		list = slices.Clone(list)
		slices.Reverse(list)
	}
	for _, m := range list {
		if !m.Deleted && m.Only == "" && (after == "" || m.ID > after) && (before == "" || m.ID < before) && len(out) < limit {
			out = append(out, s.json(m))
		}
	}
	if after != "" {
		slices.Reverse(out)
	}
	return answer(w, http.StatusOK, out)
}

func (s *Server) patchMessage(w http.ResponseWriter, r *http.Request, q Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	c := s.channel(r.PathValue("channel"))
	m := s.message(c.ID, r.PathValue("message"))
	switch {
	case c.Gone:
		return refuse(w, http.StatusNotFound, 10003)
	case m == nil:
		return refuse(w, http.StatusNotFound, 10008)
	case m.Author != BotUser:
		return refuse(w, http.StatusForbidden, 50005)
	case c.Archived:
		return refuse(w, http.StatusBadRequest, 50083)
	case s.opts.Now().Sub(m.sent).Hours() > 1 && m.Edits >= s.opts.Edits:
		return refuse(w, http.StatusTooManyRequests, 30046)
	}
	s.write(m, q, q.Body)
	m.Edits++
	s.saw(m, true)
	s.happened()
	return answer(w, http.StatusOK, s.json(m))
}

func (s *Server) deleteMessage(w http.ResponseWriter, r *http.Request, _ Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	m := s.message(r.PathValue("channel"), r.PathValue("message"))
	if m == nil {
		return refuse(w, http.StatusNotFound, 10008)
	}
	m.Deleted = true
	s.happened()
	return answer(w, http.StatusNoContent, nil)
}

func (s *Server) pin(w http.ResponseWriter, r *http.Request, _ Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	c, id := s.channel(r.PathValue("channel")), r.PathValue("message")
	if s.message(c.ID, id) == nil {
		return refuse(w, http.StatusNotFound, 10008)
	}
	c.Pins = slices.DeleteFunc(c.Pins, func(p string) bool { return p == id })
	if r.Method == http.MethodPut {
		c.Pins = append(c.Pins, id)
	}
	s.happened()
	return answer(w, http.StatusNoContent, nil)
}

func (s *Server) getChannel(w http.ResponseWriter, r *http.Request, _ Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	c := s.channel(r.PathValue("channel"))
	if c.Gone {
		return refuse(w, http.StatusNotFound, 10003)
	}
	return answer(w, http.StatusOK, c.json())
}

func (s *Server) patchChannel(w http.ResponseWriter, r *http.Request, q Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	c := s.channel(r.PathValue("channel"))
	if c.Gone {
		return refuse(w, http.StatusNotFound, 10003)
	}
	if c.Locked {
		return refuse(w, http.StatusForbidden, 50013)
	}
	if archived, ok := q.Body["archived"].(bool); ok {
		c.Archived = archived
	}
	if name, ok := q.Body["name"].(string); ok {
		c.Name = name
	}
	s.happened()
	return answer(w, http.StatusOK, c.json())
}

// startThread starts one from a message, or a post of a forum.
func (s *Server) startThread(w http.ResponseWriter, r *http.Request, q Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	parent := s.channel(r.PathValue("channel"))
	name, _ := q.Body["name"].(string)
	t := &Channel{ID: r.PathValue("message"), Type: PublicThread, Guild: parent.Guild, Parent: parent.ID, Owner: BotUser, Name: name}
	switch {
	case parent.Gone:
		return refuse(w, http.StatusNotFound, 10003)
	case parent.Type == PublicThread || parent.Type == DM:
		return refuse(w, http.StatusBadRequest, 50024)
	case t.ID != "" && s.message(parent.ID, t.ID) == nil:
		return refuse(w, http.StatusNotFound, 10008)
	case t.ID != "" && s.state.channels[t.ID] != nil:
		return refuse(w, http.StatusBadRequest, 160004)
	}
	var first *Message
	if t.ID == "" && parent.Type == Forum {
		tags, _ := q.Body["applied_tags"].([]any)
		if parent.NeedsTag && len(tags) == 0 {
			return refuse(w, http.StatusBadRequest, 40067)
		}
		body, _ := q.Body["message"].(map[string]any)
		first = &Message{}
		s.write(first, q, body)
		t.ID = s.id()
		first.Channel = t.ID
		s.keep(first)
	} else if t.ID == "" {
		t.ID = s.id()
	}
	s.state.channels[t.ID] = t
	s.happened()
	j := t.json()
	if first != nil {
		j["message"] = s.json(first)
	}
	return answer(w, http.StatusCreated, j)
}

func (s *Server) activeThreads(w http.ResponseWriter, r *http.Request, _ Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := []any{}
	for _, c := range s.state.channels {
		if c.Parent != "" && c.Guild == r.PathValue("guild") && !c.Archived && !c.Gone {
			out = append(out, c.json())
		}
	}
	return answer(w, http.StatusOK, map[string]any{"threads": out, "members": []any{}})
}
