package discordtest

import (
	"maps"
	"net/http"
	"slices"
	"strconv"
	"time"
)

// state is what the server keeps beside the gateway.
type state struct {
	channels     map[string]*Channel
	messages     map[string][]*Message // by channel, the oldest first
	nonces       map[string]*Message   // by author's nonce
	interactions map[string]*Interaction
	commands     map[string][]any // by guild, "" for global
	direct       map[string]string
	closed       map[string]bool // people who take no direct messages
	files        map[string]File // by path on the file host
	seen         []Seen
}

func newState() state {
	return state{
		channels: map[string]*Channel{}, messages: map[string][]*Message{}, nonces: map[string]*Message{}, interactions: map[string]*Interaction{},
		commands: map[string][]any{}, direct: map[string]string{}, closed: map[string]bool{}, files: map[string]File{},
	}
}

// The types of channel used here.
const (
	Text         = 0
	DM           = 1
	PublicThread = 11
	Forum        = 15
)

// Channel is a place. One that a test does not describe is a text channel.
type Channel struct {
	ID       string
	Type     int
	Guild    string
	Parent   string // of a thread
	Owner    string // who made the thread
	Name     string
	Archived bool
	Locked   bool
	Gone     bool
	Person   string // of a direct channel
	NeedsTag bool   // of a forum
	Tags     []string
	Pins     []string
}

func (c *Channel) json() map[string]any {
	j := map[string]any{"id": c.ID, "type": c.Type, "name": c.Name}
	if c.Guild != "" {
		j["guild_id"] = c.Guild
	}
	if c.Type == Forum {
		tags := []any{}
		for i, id := range c.Tags {
			tags = append(tags, map[string]any{"id": id, "name": "tag " + id, "moderated": i == 0})
		}
		j["available_tags"] = tags
	}
	if c.Parent != "" {
		j["parent_id"], j["owner_id"] = c.Parent, c.Owner
		j["thread_metadata"] = map[string]any{"archived": c.Archived, "locked": c.Locked, "auto_archive_duration": 1440}
	}
	return j
}

// Message is a post as it stands in a place now.
type Message struct {
	ID          string
	Channel     string
	Author      string
	Body        map[string]any // as it was sent last: content, components, flags, allowed_mentions, …
	Attachments []Attachment
	Nonce       string
	Interaction string // that it answers, "" for none
	Only        string // the one who sees it, of an ephemeral answer
	Edits       int
	Deleted     bool
	Loading     bool // a deferred answer that is not there yet
	sent        time.Time
}

// Attachment is a file on a message.
type Attachment struct {
	ID          string
	Name        string
	Description string
	Bytes       []byte
}

// Content is the text of a message.
func (m *Message) Content() string {
	s, _ := m.Body["content"].(string)
	return s
}

// json is the message as Discord tells of it. The lock is held.
func (s *Server) json(m *Message) map[string]any {
	files := []any{}
	for _, a := range m.Attachments {
		files = append(files, map[string]any{"id": a.ID, "filename": a.Name, "description": a.Description, "size": len(a.Bytes), "url": s.http.URL + "/attachments/" + m.Channel + "/" + a.ID + "/" + a.Name})
	}
	j := map[string]any{
		"id": m.ID, "channel_id": m.Channel, "type": 0, "content": m.Content(), "attachments": files, "embeds": []any{}, "mentions": []any{}, "mention_roles": []any{},
		"author":    map[string]any{"id": m.Author, "username": "Drumhead", "discriminator": "0", "bot": true},
		"timestamp": Created(m.ID).UTC().Format(time.RFC3339Nano), "edited_timestamp": nil, "tts": false, "mention_everyone": false, "pinned": false, "flags": m.flags(),
		"components": []any{},
	}
	if c, ok := m.Body["components"]; ok && c != nil {
		j["components"] = c
	}
	if m.Interaction != "" {
		i := s.state.interactions[m.Interaction]
		j["interaction_metadata"] = map[string]any{"id": i.ID, "type": i.Kind, "user": i.user(), "authorizing_integration_owners": map[string]any{}}
	}
	if m.Nonce != "" {
		j["nonce"] = m.Nonce
	}
	return j
}

func (m *Message) flags() int {
	f, _ := m.Body["flags"].(float64)
	return int(f)
}

// Ephemeral is the flag of an answer that one person sees.
const Ephemeral = 64

// Add describes a channel before anything happens in it.
func (s *Server) Add(c Channel) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.state.channels[c.ID] = &c
}

// Channel is a place as it is now.
func (s *Server) Channel(id string) Channel {
	s.mu.Lock()
	defer s.mu.Unlock()
	return *s.channel(id)
}

func (s *Server) channel(id string) *Channel {
	c, ok := s.state.channels[id]
	if !ok {
		c = &Channel{ID: id, Name: "channel-" + id}
		s.state.channels[id] = c
	}
	return c
}

// Threads are the threads that hang on a channel.
func (s *Server) Threads(channel string) []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []string
	for id, c := range s.state.channels {
		if c.Parent == channel && !c.Gone {
			out = append(out, id)
		}
	}
	slices.Sort(out)
	return out
}

// Change changes a place as people or moderators do.
func (s *Server) Change(id string, f func(*Channel)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f(s.channel(id))
}

// CloseDirect makes a person refuse direct messages.
func (s *Server) CloseDirect(person string) { s.close(person, true) }

// OpenDirect makes a person take them again.
func (s *Server) OpenDirect(person string) { s.close(person, false) }

func (s *Server) close(person string, yes bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.state.closed[person] = yes
}

// Messages are the messages of a place now, the oldest first.
func (s *Server) Messages(channel string) []Message {
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []Message
	for _, m := range s.state.messages[channel] {
		if !m.Deleted {
			out = append(out, *m)
		}
	}
	return out
}

// Direct is the channel between the bot and a person, made if need be.
func (s *Server) Direct(person string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.directChannel(person)
}

func (s *Server) directChannel(person string) string {
	id, ok := s.state.direct[person]
	if !ok {
		id = s.id()
		s.state.direct[person] = id
		s.state.channels[id] = &Channel{ID: id, Type: DM, Person: person}
	}
	return id
}

// Delete deletes a message, as a moderator may.
func (s *Server) Delete(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if m := s.find(id); m != nil {
		m.Deleted = true
	}
}

// Put hands a file to the file host and returns the address of it.
func (s *Server) Put(path string, f File) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.state.files["/attachments/"+path] = f
	return s.http.URL + "/attachments/" + path
}

// Commands are the commands of a guild, "" for the global ones.
func (s *Server) Commands(guild string) []any {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.state.commands[guild])
}

func (s *Server) find(id string) *Message {
	for _, list := range s.state.messages {
		for _, m := range list {
			if m.ID == id {
				return m
			}
		}
	}
	return nil
}

// Seen is a message as it came into sight, or was changed.
type Seen struct {
	Message
	Edit bool
}

// Seen are all messages in the order in which they came into sight or were changed.
func (s *Server) Seen() []Seen {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.state.seen)
}

// saw notes what people see now. The lock is held.
func (s *Server) saw(m *Message, edit bool) {
	if m.Loading {
		return
	}
	now := *m
	now.Body = maps.Clone(m.Body)
	s.state.seen = append(s.state.seen, Seen{now, edit})
}

// keep puts a new message into its channel. The lock is held.
func (s *Server) keep(m *Message) {
	m.ID, m.Author, m.sent = s.id(), BotUser, s.opts.Now()
	s.state.messages[m.Channel] = append(s.state.messages[m.Channel], m)
	s.saw(m, false)
	s.happened()
}

// write gives a message a body and files. Files that are not listed go, as on
// an edit of Discord's.
func (s *Server) write(m *Message, r Request, body map[string]any) {
	if m.Body == nil {
		m.Body = map[string]any{}
	}
	for k, v := range body {
		m.Body[k] = v
	}
	listed, ok := body["attachments"].([]any)
	if !ok {
		return
	}
	old := m.Attachments
	m.Attachments = nil
	for _, l := range listed {
		a, _ := l.(map[string]any)
		id, _ := a["id"].(string)
		if n, isNumber := a["id"].(float64); isNumber {
			id = strconv.Itoa(int(n))
		}
		if f, isNew := r.Files["files["+id+"]"]; isNew {
			text, _ := a["description"].(string)
			m.Attachments = append(m.Attachments, Attachment{ID: s.id(), Name: f.Name, Description: text, Bytes: f.Bytes})
			continue
		}
		if i := slices.IndexFunc(old, func(o Attachment) bool { return o.ID == id }); i >= 0 {
			m.Attachments = append(m.Attachments, old[i])
		}
	}
}

func (s *Server) serveFile(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	f, ok := s.state.files[r.URL.Path]
	s.mu.Unlock()
	if !ok {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	_, _ = w.Write(f.Bytes) // a broken line is the test's own doing
}
