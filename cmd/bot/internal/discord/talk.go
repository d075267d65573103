package discord

import (
	"encoding/json"
	"regexp"

	"drumhead/commands/chat"
)

// written is a message that somebody wrote to the bot in private, where Discord
// shows it what people write.
type written struct {
	ID       string     `json:"id"`
	Channel  string     `json:"channel_id"`
	Guild    string     `json:"guild_id"`
	Content  string     `json:"content"`
	Author   user       `json:"author"`
	Files    []handedIn `json:"attachments"`
	Mentions []user     `json:"mentions"`
}

// readMessage reads a message; nil if it is not one that a person wrote in private.
func (s *ear) readMessage(data json.RawMessage) *written {
	m := &written{}
	if err := json.Unmarshal(data, m); err != nil || m.Guild != "" || m.Author.Bot || m.Author.ID == "" || created(m.ID).IsZero() {
		return nil
	}
	return m
}

// talk takes what was written in private to the desk.
func (s *ear) talk(w *written) {
	i := interaction{ID: w.ID, Channel: w.Channel, User: &w.Author}
	m := i.message()
	m.Text, m.Named = byID(w.Content, w.Mentions)
	keep := map[string][]byte{}
	s.whereabouts("", w.Author.ID, w.Channel, &m, keep)
	if err := s.book.put(s.ctx, keep); err != nil && s.ctx.Err() == nil {
		s.Log.Error("the pocket cannot be written", "err", err)
	}
	say := func(p chat.Post) {
		p.Answers = ""
		if _, err := s.Send(s.ctx, p); err != nil && s.ctx.Err() == nil {
			s.Log.Warn("an answer could not be shown", "post", p.ID, "err", err)
		}
	}
	if !s.shards.all() {
		say(s.complaint(m, "discord.refuse.private"))
		return
	}
	for _, f := range w.Files {
		got, err := s.w.fetch(s.ctx, f)
		if err != nil {
			say(s.complaint(m, whyNot(err), "name", harmless(f.Name), "limit", mostHandedIn>>20))
			return
		}
		m.Files = append(m.Files, got)
	}
	if s.handle(m, say) == nil { // else the adapter has ended
		s.hand(w.Author.ID, w.Channel)
	}
}

var mentioned = regexp.MustCompile(`<@!?([0-9]+)>`)

// byID is a text in which those mentioned are named by our ids.
func byID(text string, who []user) (string, map[chat.Person]string) {
	var named map[chat.Person]string
	for _, u := range who {
		if named == nil {
			named = map[chat.Person]string{}
		}
		named[personOf(u)] = u.called()
	}
	return mentioned.ReplaceAllStringFunc(text, func(m string) string {
		p := chat.Person(Name + ":" + mentioned.FindStringSubmatch(m)[1])
		if _, ok := named[p]; !ok {
			return m
		}
		return "@" + string(p)
	}), named
}

// called is what somebody calls themselves.
func (u user) called() string {
	if u.Global != "" {
		return harmless(u.Global)
	}
	return harmless(u.Name)
}
