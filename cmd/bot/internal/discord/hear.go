package discord

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"sync"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/chat"
)

// How many interactions are worked on or wait for their turn; more are left without an
// answer, and roll nothing. One person has a share, so that whoever floods the bot
// stops nobody else.
const (
	mostAtOnce = 2000
	mostOfOne  = 50
)

// ear is one run of the adapter: it hears, and lets the desk answer.
type ear struct {
	*Adapter
	ctx   context.Context
	desk  chat.Desk
	going sync.WaitGroup

	mu      sync.Mutex
	count   int
	of      map[string]int // by person
	dropped int            // since it was last logged
	logged  time.Time
}

// hear takes an event of the gateway. It must not wait.
func (s *ear) hear(kind string, data json.RawMessage) {
	if s.ctx.Err() != nil {
		return
	}
	switch kind {
	case "INTERACTION_CREATE":
		if i := s.w.arrived(data, s.Now()); i != nil && s.first(i.ID) {
			s.queue(i.Channel, i.by().ID, func() { s.inTime(i) }, i.Type != typeHalf)
		}
	case "MESSAGE_CREATE":
		if m := s.readMessage(data); m != nil && s.first(m.ID) {
			s.queue(m.Channel, m.Author.ID, func() { s.talk(m) }, true)
		}
	case "READY":
		s.ready(data)
	case "GUILD_CREATE":
		s.joined(data)
	case "GUILD_DELETE":
		s.left(data)
	}
}

// first tells whether an event is heard for the first time; the gateway may tell
// of one twice.
func (s *ear) first(id string) bool {
	s.Adapter.mu.Lock()
	defer s.Adapter.mu.Unlock()
	_, twice := s.before[id]
	s.before[id] = s.Now()
	return !twice
}

// inTime answers an interaction whose turn has come, unless it waited so long that
// nobody can answer it any more: its person was told that it failed.
func (s *ear) inTime(i *interaction) {
	if age := s.w.clock.age(i.ID, s.Now()); age > answerWithin {
		s.drop()
		return
	}
	s.interact(i)
}

// drop notes that something was left without an answer. The log tells it once a minute.
func (s *ear) drop() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.dropped++
	if now := s.Now(); now.Sub(s.logged) >= time.Minute {
		s.Log.Error("more is asked than can be answered; something was dropped and rolled nothing", "so many", s.dropped)
		s.dropped, s.logged = 0, now
	}
}

// enter tells whether there is room for one thing more of a person's; leave makes it.
func (s *ear) enter(person string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.count >= mostAtOnce || s.of[person] >= mostOfOne {
		return false
	}
	if s.of == nil {
		s.of = map[string]int{}
	}
	s.count++
	s.of[person]++
	return true
}

func (s *ear) leave(person string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.count--
	if s.of[person]--; s.of[person] == 0 {
		delete(s.of, person)
	}
}

// queue does some work of a person's behind what came before it in the same place, or at
// once.
func (s *ear) queue(place, person string, work func(), inTurn bool) {
	if !s.enter(person) {
		s.drop()
		return
	}
	var mine *turn
	if inTurn {
		mine = s.asked.join(place)
	}
	s.going.Go(func() {
		defer s.leave(person)
		if mine != nil {
			if mine.wait(s.ctx) != nil {
				return
			}
			defer mine.done()
		}
		work()
	})
}

// The types of interaction.
const (
	typeCommand = 2
	typeTap     = 3
	typeHalf    = 4 // an option half typed
	typeForm    = 5
)

// interact answers one interaction.
func (s *ear) interact(i *interaction) {
	switch i.Type {
	case typeHalf:
		s.complete(i)
		return
	case typeCommand, typeTap, typeForm:
	default:
		s.Log.Warn("an interaction of a kind that is not known", "type", i.Type)
		return
	}
	if asksToShow(i) {
		s.show(i)
		return
	}
	said, opens := s.understood(i)
	if opens != nil {
		s.open(i, *opens)
		return
	}
	s.converse(i, said)
}

// heard is what an interaction says.
type heard struct {
	text    string
	tap     *chat.Tap
	files   []string // ids of what was handed in
	private bool     // the answer is for its author alone
	spec    args.Spec
	refuse  string // a sentence instead: the desk hears nothing
}

// understood reads what an interaction says, or which form it opens.
func (s *ear) understood(i *interaction) (heard, *form) {
	switch {
	case i.Type == typeTap:
		return s.tapped(i)
	case i.Type == typeForm:
		return s.submitted(i), nil
	case i.Data.Type == typeMenu:
		return s.onMessage(i), nil
	}
	text, spec, known := typed(s.Specs, i.Data)
	out := heard{text: text, spec: spec, private: spec.Mode != args.Public, files: i.Data.file()}
	if known && len(out.files) == 0 && args.Open(s.Specs, text) {
		return out, formOf(spec)
	}
	return out, nil
}

// onMessage is a command picked on a message: on anybody's, whose text it takes,
// or on one of ours, about the entry that it tells of.
func (s *ear) onMessage(i *interaction) heard {
	for _, spec := range s.Specs {
		if spec.OnText == i.Data.Name && spec.OnText != "" {
			text := strings.TrimPrefix(strings.TrimSpace(i.Data.Resolved.On[i.Data.Target].Content), "/"+spec.Name)
			return heard{text: "/" + spec.Name + "\n" + strings.TrimSpace(text), private: spec.Mode != args.Public, spec: spec}
		}
	}
	var t tells
	known, err := s.book.get(keyMsg+i.Data.Target, &t)
	if err != nil {
		s.Log.Error("a post could not be looked up", "err", err)
	}
	if !known || t.Entry < 0 {
		return heard{private: true, refuse: "discord.refuse.entry"}
	}
	text, ok := args.OnPost(s.Specs, i.Data.Name, entryText(t.Entry))
	if !ok {
		return heard{private: true, refuse: "discord.refuse.entry"}
	}
	_, spec, _ := typed(s.Specs, given{Name: nameOf(s.Specs, i.Data.Name)})
	return heard{text: text, private: spec.Mode != args.Public, spec: spec}
}

// tapped is a choice picked, or the form that it opens.
func (s *ear) tapped(i *interaction) (heard, *form) {
	id := i.Data.CustomID
	if len(i.Data.Values) == 1 {
		id = i.Data.Values[0] // of a menu
	}
	key, number, ok := readCustomID(id)
	if !ok || len(id) > mostCustomID {
		return heard{private: true, refuse: "discord.refuse.old"}, nil
	}
	var at sent
	known, err := s.book.get(keyPost+key, &at)
	if err != nil {
		s.Log.Error("a post could not be looked up", "err", err)
	}
	out := heard{tap: &chat.Tap{Post: chat.PostID(key), Number: number}, private: true}
	if known {
		out.tap.Post = at.Post
		if f, asks := at.Forms[number]; asks {
			return out, &form{id: tapForm + id, title: f.Title, field: field{name: textField, label: f.Asks, optional: true}}
		}
	}
	return out, nil
}

// converse takes what was said to the desk, and answers.
func (s *ear) converse(i *interaction, said heard) {
	m := i.message()
	m.Text, m.Tap = said.text, said.tap
	r := s.begin(i, said.private, &m)
	if said.refuse == "" {
		said.refuse = s.lacking(i, said.spec)
	}
	if said.refuse == "" && i.Guild == "" && !s.shards.all() {
		said.refuse = "discord.refuse.private"
	}
	for _, id := range said.files {
		f, err := s.w.fetch(s.ctx, i.Data.Resolved.Files[id])
		if err != nil {
			said.refuse = whyNot(err)
			break
		}
		m.Files = append(m.Files, f)
	}
	if said.refuse != "" {
		s.tell(r, s.complaint(m, said.refuse, "missing", missing(i), "name", fileOf(i, said), "limit", mostHandedIn>>20))
		r.end(s.ctx)
		if err := s.Settle(s.ctx); err != nil {
			s.fail(err)
		}
		return
	}
	if err := s.handle(m, func(p chat.Post) { s.tell(r, p) }); err != nil {
		r.drop()
		return
	}
	s.going.Go(func() {
		if elsewhere := i.Guild != "" && said.spec.Mode == args.Direct; !elsewhere {
			r.settle(s.ctx)
		}
		r.end(s.ctx)
		s.unmute(i, r, m)
		s.remind(i, r, m)
	})
}

// begin begins to answer an interaction, and says where its message belongs. It is
// kept for as long as it can be answered. Its secret is durable before anything is
// said; the desk need not wait for that.
func (s *ear) begin(i *interaction, private bool, m *chat.Message) *reply {
	person, place := i.by().ID, s.belongs(i.Channel)
	m.Place = placeOf(place)
	keep := map[string][]byte{keyAsk + i.ID: value(asking{App: i.App, Token: i.Token, Tapped: i.tapped(), Channel: i.Channel, Place: place, At: created(i.ID)})}
	s.whereabouts(i.Guild, person, i.Channel, m, keep)
	kept := s.book.begin(keep)
	r := s.w.reply(s.ctx, i, place, private, kept)
	if i.Guild == "" { // whose this channel is must be known before anything is sent there
		_ = kept.wait(s.ctx) // what went wrong is told when something is said
	}
	s.Adapter.mu.Lock()
	defer s.Adapter.mu.Unlock()
	s.replies[i.ID], s.latest[seat{place, person}] = r, r
	return r
}

// whereabouts notes the server in which a person last spoke to the bot: what they
// say in private belongs to it. And it notes the channel that is theirs alone.
func (s *ear) whereabouts(guild, person, channel string, m *chat.Message, keep map[string][]byte) {
	home, err := s.book.pocket.Get(keyHome + person)
	if err != nil {
		s.Log.Error("the pocket cannot be read", "err", err)
		return
	}
	switch {
	case guild != "" && string(home) != guild:
		keep[keyHome+person] = []byte(guild)
	case guild == "" && home != nil:
		m.Community = chat.Community(Name + ":" + string(home))
	}
	if guild == "" {
		keep[keyDirect+person], keep[keyAlone+channel] = []byte(channel), []byte(person)
	}
}

// handle lets the desk answer a message: say brings what stands in no outbox, and
// then what waits is sent. An error ends the adapter.
func (s *ear) handle(m chat.Message, say func(chat.Post)) error {
	posts, err := s.desk.Handle(s.ctx, m)
	if err == nil {
		for _, p := range posts {
			if p.Answers == "" && p.Edit == "" {
				p.Answers = m.Source
			}
			say(p)
		}
		err = s.Settle(s.ctx)
	}
	if err != nil {
		s.fail(err)
	}
	return err
}

// tell brings a post that stands in no outbox.
func (s *ear) tell(r *reply, p chat.Post) {
	if p.Answers == "" && p.Edit == "" {
		p.Answers = chat.Source(Name + ":" + r.id)
	}
	if _, err := s.Send(s.ctx, p); err != nil && s.ctx.Err() == nil {
		s.Log.Warn("an answer could not be shown", "post", p.ID, "err", err)
	}
}

// whyNot is the sentence about a file that cannot be taken.
func whyNot(err error) string {
	switch {
	case errors.Is(err, errTooLarge):
		return "discord.refuse.large"
	case errors.Is(err, errElsewhere):
		return "discord.refuse.elsewhere"
	}
	return "discord.refuse.fetch"
}

// fileOf is the name of the first file that was handed in.
func fileOf(i *interaction, said heard) string {
	if len(said.files) == 0 {
		return ""
	}
	return harmless(i.Data.Resolved.Files[said.files[0]].Name)
}

// complete answers an option half typed: from memory, and with nothing on doubt.
func (s *ear) complete(i *interaction) {
	ctx, cancel := context.WithTimeout(s.ctx, answerWithin)
	defer cancel()
	m := i.message()
	m.Place = placeOf(s.belongs(i.Channel))
	s.whereabouts(i.Guild, i.by().ID, i.Channel, &m, map[string][]byte{})
	s.w.offer(ctx, i, func(text string) []chat.Suggestion {
		m.Text = text
		return s.suggestions(i.by().ID, m)
	}, s.Specs)
}

// suggestions are the desk's, which answers from memory. What is not in memory yet, as
// after a start, comes there meanwhile: if that takes long nothing is offered now, and
// with the next letter it is there. What is still looked for is of its person's share.
func (s *ear) suggestions(person string, m chat.Message) []chat.Suggestion {
	if !s.enter(person) {
		s.drop()
		return nil
	}
	found := make(chan []chat.Suggestion, 1)
	s.going.Go(func() {
		defer s.leave(person)
		found <- s.desk.Complete(s.ctx, m)
	})
	late := time.NewTimer(s.w.patience)
	defer late.Stop()
	select {
	case list := <-found:
		return list
	case <-late.C:
		return nil
	}
}
