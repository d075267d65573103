package discordtest

import (
	"context"
	"net/http"
	"time"
)

// The types of interaction, and of answers to them.
const (
	SlashCommand = 2
	Component    = 3
	Autocomplete = 4
	ModalSubmit  = 5

	AnswerMessage  = 4
	AnswerDeferred = 5
	AnswerQuietly  = 6
	AnswerUpdate   = 7
	AnswerChoices  = 8
	AnswerModal    = 9
)

// answers says which answers an interaction may get (documentation, "Receiving
// and Responding").
var answers = map[int][]int{
	SlashCommand: {AnswerMessage, AnswerDeferred, AnswerModal},
	Component:    {AnswerMessage, AnswerDeferred, AnswerQuietly, AnswerUpdate, AnswerModal},
	Autocomplete: {AnswerChoices},
	ModalSubmit:  {AnswerMessage, AnswerDeferred, AnswerQuietly, AnswerUpdate},
}

// Who does something in a server or, without Guild, in private.
type Who struct {
	ID          string
	Name        string // global name
	Nick        string // in the server
	Guild       string
	Channel     string
	Permissions string    // of the person there; "0" if left out
	Roles       []string  // of the person there
	Bot         string    // permissions of the bot there; all that the invite asks for if left out
	Locale      string    // "en-US" if left out
	At          time.Time // when it was done; the server's clock if zero
}

// Invited are the permissions that the invite asks for.
const Invited = "309237746688"

// Interaction is something that a person did, and what came of it.
type Interaction struct {
	ID      string
	Token   string
	Kind    int
	Payload map[string]any

	who     Who
	server  *Server
	pressed *Message // of a component, and of the modal that it opened
	answer  *Answer
	first   *Message
}

// Answer is the first answer to an interaction.
type Answer struct {
	Type int
	Data map[string]any
}

// Do lets a person do something: data is the member "data" of the interaction.
func (s *Server) Do(who Who, kind int, data map[string]any) *Interaction {
	return s.do(who, kind, data, nil)
}

// Menu lets a person pick a command on a message.
func (s *Server) Menu(who Who, m Message, name string) *Interaction {
	s.mu.Lock()
	on := s.json(&m)
	s.mu.Unlock()
	return s.do(who, SlashCommand, map[string]any{"id": "1", "name": name, "type": 3, "target_id": m.ID,
		"resolved": map[string]any{"messages": map[string]any{m.ID: on}}}, nil)
}

// Write lets a person write to the bot in private.
func (s *Server) Write(who Who, text string, files ...File) {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := Interaction{who: who}
	list := []any{}
	for _, f := range files {
		list = append(list, s.upload(f))
	}
	s.dispatch("MESSAGE_CREATE", "", map[string]any{"id": s.id(), "channel_id": s.directChannel(who.ID), "author": i.user(), "content": text,
		"attachments": list, "mentions": []any{}, "type": 0, "timestamp": s.opts.Now().UTC().Format(time.RFC3339Nano)})
}

// Upload hands a file in, as what a command or a form says of it.
func (s *Server) Upload(f File) map[string]any {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.upload(f)
}

func (s *Server) upload(f File) map[string]any {
	id := s.id()
	path := "/attachments/" + id + "/" + f.Name
	s.state.files[path] = f
	return map[string]any{"id": id, "filename": f.Name, "size": len(f.Bytes), "url": s.http.URL + path, "content_type": "text/plain"}
}

// Tap lets a person press a button or choose from a menu of a message.
func (s *Server) Tap(who Who, m Message, customID string, values ...string) *Interaction {
	data := map[string]any{"custom_id": customID, "component_type": 2}
	if values != nil {
		data["component_type"], data["values"] = 3, values
	}
	return s.do(who, Component, data, &m)
}

// Submit lets a person send the modal that an interaction was answered with;
// values are of its fields by their custom_id, text or a list of ids of files.
func (s *Server) Submit(i *Interaction, values map[string]any, resolved map[string]any) *Interaction {
	modal := i.Answer(context.Background())
	var parts []any
	for id, v := range values {
		field := map[string]any{"type": 4, "id": 2, "custom_id": id}
		if list, ok := v.([]string); ok {
			field["type"], field["values"] = 19, list
		} else {
			field["value"] = v
		}
		parts = append(parts, map[string]any{"type": 18, "id": 1, "component": field})
	}
	data := map[string]any{"custom_id": modal.Data["custom_id"], "components": parts}
	if resolved != nil {
		data["resolved"] = resolved
	}
	return s.do(i.who, ModalSubmit, data, i.pressed)
}

func (s *Server) do(who Who, kind int, data map[string]any, on *Message) *Interaction {
	s.mu.Lock()
	defer s.mu.Unlock()
	if who.At.IsZero() {
		who.At = s.opts.Now()
	}
	i := &Interaction{ID: s.idAt(who.At), Kind: kind, who: who, server: s, pressed: on}
	i.Token = "interaction-secret-" + i.ID
	i.Payload = i.payload(data)
	s.state.interactions[i.ID] = i
	s.dispatch("INTERACTION_CREATE", who.Guild, i.Payload)
	return i
}

// Again delivers an interaction once more, as a gateway may.
func (i *Interaction) Again() {
	i.server.mu.Lock()
	defer i.server.mu.Unlock()
	i.server.dispatch("INTERACTION_CREATE", i.who.Guild, i.Payload)
}

func (i *Interaction) payload(data map[string]any) map[string]any {
	who, or := i.who, func(s, other string) string {
		if s == "" {
			return other
		}
		return s
	}
	channel := i.server.channel(who.Channel)
	p := map[string]any{
		"id": i.ID, "application_id": Application, "type": i.Kind, "token": i.Token, "version": 1, "data": data, "locale": or(who.Locale, "en-US"),
		"channel_id": who.Channel, "channel": channel.json(), "app_permissions": or(who.Bot, Invited), "entitlements": []any{},
		"attachment_size_limit": 10 << 20, "authorizing_integration_owners": map[string]any{}, "context": 0,
	}
	user := i.user()
	if who.Guild == "" {
		p["user"], p["context"] = user, 1
	} else {
		roles := who.Roles
		if roles == nil {
			roles = []string{}
		}
		var nick any
		if who.Nick != "" {
			nick = who.Nick
		}
		p["guild_id"], p["guild"] = who.Guild, map[string]any{"id": who.Guild, "locale": "en-US", "features": []any{}}
		p["member"] = map[string]any{"user": user, "nick": nick, "roles": roles, "permissions": or(who.Permissions, "0"), "joined_at": "2026-01-01T00:00:00Z"}
	}
	if i.pressed != nil {
		p["message"] = i.server.json(i.pressed)
	}
	return p
}

func (i *Interaction) user() map[string]any {
	return map[string]any{"id": i.who.ID, "username": "user-" + i.who.ID, "global_name": i.who.Name, "discriminator": "0", "avatar": nil}
}

// Answered is the first answer, if there is one.
func (i *Interaction) Answered() (Answer, bool) {
	i.server.mu.Lock()
	defer i.server.mu.Unlock()
	if i.answer == nil {
		return Answer{}, false
	}
	return *i.answer, true
}

// Answer waits for the first answer; it fails the test if none comes.
func (i *Interaction) Answer(ctx context.Context) Answer {
	i.server.tb.Helper()
	i.server.Until("an answer to interaction "+i.ID, func() bool {
		_, ok := i.Answered()
		return ok || ctx.Err() != nil
	})
	a, _ := i.Answered()
	return a
}

// Message is the message that the first answer became, as it stands now.
func (i *Interaction) Message() (Message, bool) {
	i.server.mu.Lock()
	defer i.server.mu.Unlock()
	if i.first == nil {
		return Message{}, false
	}
	return *i.first, true
}

func (s *Server) callback(w http.ResponseWriter, r *http.Request, q Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	i, ok := s.state.interactions[r.PathValue("id")]
	switch {
	case !ok || i.Token != r.PathValue("token"):
		return refuse(w, http.StatusNotFound, 10062)
	case i.answer != nil:
		return refuse(w, http.StatusBadRequest, 40060)
	case s.opts.Now().Sub(Created(i.ID)) > AnswerWithin:
		return refuse(w, http.StatusNotFound, 10062)
	}
	kind, _ := q.Body["type"].(float64)
	data, _ := q.Body["data"].(map[string]any)
	if !fitting(i, int(kind)) {
		s.tb.Errorf("interaction of type %d answered with type %v", i.Kind, kind)
		return refuse(w, http.StatusBadRequest, 50035)
	}
	i.answer = &Answer{Type: int(kind), Data: data}
	i.say(q, data)
	s.happened()
	if r.URL.Query().Get("with_response") != "true" {
		return answer(w, http.StatusNoContent, nil)
	}
	about := map[string]any{"id": i.ID, "type": i.Kind}
	out := map[string]any{"interaction": about}
	if i.first != nil {
		about["response_message_id"] = i.first.ID
		out["resource"] = map[string]any{"type": int(kind), "message": s.json(i.first)}
	}
	return answer(w, http.StatusOK, out)
}

// say makes the message of a first answer, or changes the one pressed.
func (i *Interaction) say(q Request, data map[string]any) {
	s := i.server
	switch i.answer.Type {
	case AnswerMessage, AnswerDeferred:
		i.first = i.message(data)
		i.first.Loading = i.answer.Type == AnswerDeferred
		s.write(i.first, q, data)
		s.keep(i.first)
	case AnswerQuietly, AnswerUpdate:
		i.first = s.find(i.pressed.ID)
		if i.answer.Type == AnswerUpdate && i.first != nil {
			s.write(i.first, q, data)
			i.first.Edits++
			s.saw(i.first, true)
		}
	}
}

// message is a new one of the interaction, seen by its person alone if the flag is set.
func (i *Interaction) message(data map[string]any) *Message {
	m := &Message{Channel: i.who.Channel, Interaction: i.ID}
	if flags, _ := data["flags"].(float64); int(flags)&Ephemeral != 0 {
		m.Only = i.who.ID
	}
	return m
}

func fitting(i *Interaction, kind int) bool {
	for _, k := range answers[i.Kind] {
		if k == kind {
			return (k != AnswerQuietly && k != AnswerUpdate) || i.pressed != nil
		}
	}
	return false
}

// byToken is the interaction of a token that still holds.
func (s *Server) byToken(r *http.Request) *Interaction {
	for _, i := range s.state.interactions {
		if i.Token == r.PathValue("token") && r.PathValue("app") == Application && s.opts.Now().Sub(Created(i.ID)) <= TokenLasts {
			return i
		}
	}
	return nil
}

func (s *Server) followUp(w http.ResponseWriter, r *http.Request, q Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := s.byToken(r)
	switch {
	case i == nil:
		return refuse(w, http.StatusUnauthorized, 50027)
	case i.answer == nil:
		return refuse(w, http.StatusNotFound, 10015)
	case i.first != nil && i.first.Loading && !i.first.Deleted: // the first follow-up fills a deferred answer
		s.write(i.first, q, q.Body)
		i.first.Loading = false
		s.saw(i.first, false)
		s.happened()
		return answer(w, http.StatusOK, s.json(i.first))
	}
	m := i.message(q.Body)
	s.write(m, q, q.Body)
	s.keep(m)
	return answer(w, http.StatusOK, s.json(m))
}

func (s *Server) followUpEdit(w http.ResponseWriter, r *http.Request, q Request) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := s.byToken(r)
	if i == nil {
		return refuse(w, http.StatusUnauthorized, 50027)
	}
	if i.answer == nil {
		return refuse(w, http.StatusNotFound, 10015)
	}
	m := i.first
	if id := r.PathValue("message"); id != "@original" {
		m = s.find(id)
	}
	if m == nil || m.Deleted || m.Interaction != i.ID && m != i.first {
		return refuse(w, http.StatusNotFound, 10008)
	}
	switch r.Method {
	case http.MethodDelete:
		m.Deleted = true
		s.happened()
		return answer(w, http.StatusNoContent, nil)
	case http.MethodPatch:
		s.write(m, q, q.Body)
		m.Edits++
		edit := !m.Loading
		m.Loading = false
		s.saw(m, edit)
		s.happened()
	}
	return answer(w, http.StatusOK, s.json(m))
}
