//go:build goolm

package matrixtest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
	"drumhead/commands/chatscript"
)

// Stage puts people of chat scripts into encrypted rooms with the bot. They say
// and pick what a script says as people on Matrix would: with the prefix, with the
// bot's name, by a figure, by a reply or a reaction; and what they are shown is
// what their own clients opened.
type Stage struct {
	Server *Server
	Bot    id.UserID
	Open   func(name string) ([]byte, error)        // a file that is handed in
	OnPost func(label, entry string) (string, bool) // the command that a label means on the post of an entry, for those who type
	Settle func(ctx context.Context) error          // sends what waits; nil: nothing does
	Broken func() error                             // why the bot does not run, nil if it does
	t      testing.TB
	keeper *Person
	people map[string]*Person
	rooms  map[string]id.RoomID // "#fen", and "@ann" for ann's direct room

	mu      sync.Mutex
	adapter chat.Adapter
	handled map[chat.Source]bool
	notes   []note
	noted   map[chat.PostID]int
	taken   int // notes that Shown gave already
	picks   int
	space   id.RoomID
	runs    []string // who runs the places; nobody named: everybody
}

// note is a post that must be shown.
type note struct{ post chat.Post }

// NewStage makes a stage on a homeserver for a bot that is registered.
func NewStage(s *Server, bot id.UserID) *Stage {
	g := &Stage{Server: s, Bot: bot, t: s.t, keeper: s.Join("keeper"), people: map[string]*Person{}, rooms: map[string]id.RoomID{},
		handled: map[chat.Source]bool{}, noted: map[chat.PostID]int{}}
	r, err := g.keeper.Cli.CreateRoom(context.Background(), &mautrix.ReqCreateRoom{
		Preset: "private_chat", Name: "Osier", Invite: []id.UserID{bot}, CreationContent: map[string]any{"type": event.RoomTypeSpace},
	})
	if err != nil {
		s.t.Fatal(err)
	}
	g.space = r.RoomID
	return g
}

// Use sets the adapter that is tested.
func (g *Stage) Use(a chat.Adapter) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.adapter = a
}

// Adapter is the one under test; what it sends is noted.
func (g *Stage) Adapter() chat.Adapter {
	g.mu.Lock()
	defer g.mu.Unlock()
	return notedAdapter{g.adapter, g}
}

type notedAdapter struct {
	chat.Adapter
	stage *Stage
}

// Send notes what is or will be shown.
func (n notedAdapter) Send(ctx context.Context, p chat.Post) (chat.Receipt, error) {
	r, err := n.Adapter.Send(ctx, p)
	if err == nil || errors.Is(err, chat.ErrLater) {
		n.stage.note(p)
	}
	return r, err
}

func (g *Stage) note(p chat.Post) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if _, before := g.noted[p.ID]; !before {
		g.noted[p.ID] = len(g.notes)
		g.notes = append(g.notes, note{post: p})
	}
}

// Desk is a desk whose answers are noted. It is not told that the bot came: at a
// terminal nobody greets.
func (g *Stage) Desk(d chat.Desk) chat.Desk { return notedDesk{d, g} }

type notedDesk struct {
	chat.Desk
	stage *Stage
}

// Handle notes what was heard and answered.
func (n notedDesk) Handle(ctx context.Context, m chat.Message) ([]chat.Post, error) {
	if m.Joined {
		return nil, nil
	}
	posts, err := n.Desk.Handle(ctx, m)
	if err == nil {
		for _, p := range posts {
			n.stage.note(p)
		}
		n.stage.mu.Lock()
		n.stage.handled[m.Source] = true
		n.stage.mu.Unlock()
	}
	return posts, err
}

// Person is the id of somebody.
func (g *Stage) Person(name string) chat.Person {
	return chat.Person("matrix:" + string(g.somebody(name).Cli.UserID))
}

// Place is the id of a place.
func (g *Stage) Place(name string) chat.Place { return placeOf(g.room(name)) }

// placeOf is the id of the place of a room.
func placeOf(rid id.RoomID) chat.Place {
	local, server, _ := strings.Cut(string(rid), ":")
	return chat.Place("matrix:" + server + ":" + local)
}

// somebody is a person, who comes when first named and is in every room.
func (g *Stage) somebody(name string) *Person {
	g.t.Helper()
	name = strings.ToLower(name)
	if p := g.people[name]; p != nil {
		return p
	}
	p := g.Server.Join(name)
	r, n := utf8.DecodeRuneInString(name)
	if err := p.Cli.SetDisplayName(context.Background(), string(unicode.ToUpper(r))+name[n:]); err != nil {
		g.t.Fatal(err)
	}
	g.people[name] = p
	g.invite(g.space, p)
	for place, rid := range g.rooms {
		if place[0] == '#' {
			g.invite(rid, p)
		}
	}
	return p
}

func (g *Stage) invite(rid id.RoomID, p *Person) {
	g.t.Helper()
	if _, err := g.keeper.Cli.InviteUser(context.Background(), rid, &mautrix.ReqInviteUser{UserID: p.Cli.UserID}); err != nil {
		g.t.Fatal(err)
	}
	g.all(rid)
}

// all waits until everybody in a room knows of everybody, the bot too.
func (g *Stage) all(rid id.RoomID) {
	n := len(g.people) + 2
	g.keeper.AwaitMembers(rid, n)
	for _, p := range g.people {
		p.AwaitMembers(rid, n)
	}
}

// room is an encrypted room, made when first named.
func (g *Stage) room(place string) id.RoomID {
	g.t.Helper()
	if rid, ok := g.rooms[place]; ok {
		return rid
	}
	invite := []id.UserID{g.Bot}
	for _, p := range g.people {
		invite = append(invite, p.Cli.UserID)
	}
	rid := g.keeper.Room(true, invite...)
	g.rooms[place] = rid
	g.tie(rid)
	g.power(rid)
	g.all(rid)
	return rid
}

// tie makes a room one of the space.
func (g *Stage) tie(rid id.RoomID) {
	g.t.Helper()
	via := []string{ServerName}
	_, err := g.keeper.Cli.SendStateEvent(context.Background(), g.space, event.StateSpaceChild, string(rid), &event.SpaceChildEventContent{Via: via})
	if err == nil {
		_, err = g.keeper.Cli.SendStateEvent(context.Background(), rid, event.StateSpaceParent, string(g.space), &event.SpaceParentEventContent{Via: via, Canonical: true})
	}
	if err != nil {
		g.t.Fatal(err)
	}
}

// power lets everybody run a room, until somebody is named who does.
func (g *Stage) power(rid id.RoomID) {
	levels := &event.PowerLevelsEventContent{Users: map[id.UserID]int{g.keeper.Cli.UserID: 100}}
	if g.runs == nil {
		levels.UsersDefault = 50
	}
	for _, name := range g.runs {
		levels.Users[g.somebody(name).Cli.UserID] = 50
	}
	if _, err := g.keeper.Cli.SendStateEvent(context.Background(), rid, event.StatePowerLevels, "", levels); err != nil {
		g.t.Fatal(err)
	}
}

// Organise lets somebody run the places, and nobody else who was not named.
func (g *Stage) Organise(name string) {
	g.runs = append(g.runs, name)
	g.somebody(name)
	for place, rid := range g.rooms {
		if place[0] == '#' {
			g.power(rid)
		}
	}
}

// direct is somebody's direct room with the bot, which they make.
func (g *Stage) direct(name string) id.RoomID {
	g.t.Helper()
	p, place := g.somebody(name), "@"+strings.ToLower(name)
	if rid, ok := g.rooms[place]; ok {
		return rid
	}
	rid := p.Direct(g.Bot)
	p.AwaitMembers(rid, 2)
	g.rooms[place] = rid
	return rid
}

// Say lets somebody say, pick or hand in something, and waits for the answers.
func (g *Stage) Say(ctx context.Context, m chatscript.Message) error {
	p := g.somebody(m.Name)
	var rid id.RoomID
	if m.Place == chatscript.Direct {
		rid = g.direct(m.Name)
	} else {
		rid = g.room(m.Place)
	}
	if m.Taps == nil {
		return g.wait(ctx, g.speak(p, rid, m))
	}
	for i, label := range m.Taps {
		text := ""
		if i == len(m.Taps)-1 {
			text = m.Text
		}
		e, err := g.tap(p, m, label, text)
		if err != nil {
			return err
		}
		if err := g.wait(ctx, e); err != nil {
			return err
		}
	}
	return nil
}

// speak says a text: a command with the prefix, anything else with the bot's name
// before it, where others hear it.
func (g *Stage) speak(p *Person, rid id.RoomID, m chatscript.Message) id.EventID {
	text, mentions := m.Text, (*event.Mentions)(nil)
	if after, ok := strings.CutPrefix(text, "/"); ok {
		text = "!" + after
	} else if m.Place != chatscript.Direct {
		text, mentions = g.Bot.Localpart()+": "+text, &event.Mentions{UserIDs: []id.UserID{g.Bot}}
	}
	c := &event.MessageEventContent{MsgType: event.MsgText, Body: text, Mentions: mentions}
	for _, name := range m.Files {
		b, err := g.Open(name)
		if err != nil {
			g.t.Fatal(err)
		}
		c = p.Upload(name[strings.LastIndexAny(name, `/\`)+1:], b)
		c.Body, c.Mentions = text, mentions
	}
	return p.Send(rid, event.EventMessage, c)
}

// find finds the post that somebody sees with a label, the newest first.
func (g *Stage) find(p *Person, m chatscript.Message, label string) (chat.Post, chat.Choice, bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	gone := map[chat.PostID]bool{}
	for _, n := range slices.Backward(g.notes) {
		o := n.post
		if gone[o.ID] || !g.sees(p, m, o) || m.On != "" && strconv.FormatInt(o.Entry, 10) != strings.Split(m.On, ".")[0] {
			gone[o.Edit] = true
			continue
		}
		gone[o.Edit] = true
		for _, c := range o.Choices {
			if strings.EqualFold(c.Label, label) || strconv.Itoa(c.Number) == label {
				return o, c, true
			}
		}
	}
	return chat.Post{}, chat.Choice{}, false
}

// sees tells whether a post stands where somebody is talking.
func (g *Stage) sees(p *Person, m chatscript.Message, o chat.Post) bool {
	who := chat.Person("matrix:" + string(p.Cli.UserID))
	if o.To.Only != "" && o.To.Only != who {
		return false
	}
	if m.Place == chatscript.Direct {
		return o.To.Place == "" || o.To.Place == placeOf(g.rooms["@"+strings.ToLower(m.Name)])
	}
	return o.To.Place == placeOf(g.rooms[m.Place])
}

// ofEntry is the message that tells of an entry.
func (g *Stage) ofEntry(on string) (id.EventID, bool) {
	g.mu.Lock()
	var post chat.Post
	for _, n := range g.notes {
		if strconv.FormatInt(n.post.Entry, 10) == on && n.post.Edit == "" && n.post.To.Only == "" {
			post = n.post
		}
	}
	g.mu.Unlock()
	if post.ID == "" {
		return "", false
	}
	return g.shownTo(g.reader(post), post).ID, true
}

// tap picks a choice: by a reaction, a reply or a figure alone, in turn, where
// that may be done.
func (g *Stage) tap(p *Person, m chatscript.Message, label, text string) (id.EventID, error) {
	post, choice, ok := g.find(p, m, label)
	if !ok && g.OnPost != nil && m.On != "" {
		if said, known := g.OnPost(label, m.On); known {
			if e, ok := g.ofEntry(m.On); ok { // as a reply to the post
				c := &event.MessageEventContent{MsgType: event.MsgText, Body: label}
				c.RelatesTo = (&event.RelatesTo{}).SetReplyTo(e)
				return p.Send(g.room(m.Place), event.EventMessage, c), nil
			}
			return g.speak(p, g.room(m.Place), chatscript.Message{Name: m.Name, Place: m.Place, Text: said}), nil
		}
	}
	if !ok {
		return "", fmt.Errorf("nobody shows %s a choice %q in %s", m.Name, label, m.Place)
	}
	e := g.shownTo(g.reader(post), post) // who came later cannot read it, but can answer
	root := e.ID
	if c, ok := e.Content.Parsed.(*event.MessageEventContent); ok && c.RelatesTo.GetReplaceID() != "" {
		root = c.RelatesTo.GetReplaceID()
	}
	said := strconv.Itoa(choice.Number)
	if g.picks++; g.picks%2 == 0 {
		said = choice.Label
	}
	if text == "" && !post.Binds && choice.Form == "" && choice.Number < 10 && g.picks%3 == 0 {
		return p.Send(e.RoomID, event.EventReaction, &event.ReactionEventContent{RelatesTo: event.RelatesTo{Type: event.RelAnnotation, EventID: root, Key: strconv.Itoa(choice.Number) + "\ufe0f\u20e3"}}), nil
	}
	if text != "" {
		said += " " + text
	}
	c := &event.MessageEventContent{MsgType: event.MsgText, Body: said}
	c.RelatesTo = (&event.RelatesTo{}).SetReplyTo(root)
	return p.Send(e.RoomID, event.EventMessage, c), nil
}

// wait waits until the desk has answered an event, and what waited is sent.
func (g *Stage) wait(ctx context.Context, e id.EventID) error {
	for range 1500 {
		g.mu.Lock()
		done := g.handled[chat.Source("matrix:"+string(e))]
		g.mu.Unlock()
		if done {
			if g.Settle != nil {
				return g.Settle(ctx)
			}
			return nil
		}
		if g.Broken != nil {
			if err := g.Broken(); err != nil {
				return err
			}
		}
		time.Sleep(10 * time.Millisecond)
	}
	return fmt.Errorf("the desk never heard %s", e)
}
