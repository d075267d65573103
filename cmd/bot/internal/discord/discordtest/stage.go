package discordtest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"unicode"
	"unicode/utf8"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/commands/chatscript"
)

// Stage is a Discord with people before it, who say what a chat script says the
// way people do here: commands with their options, buttons, forms, a menu on a
// message, and text in private. What they see is read off the server, as a client
// shows it.
//
// Posts are also noted on their way into the adapter, but only for what no client
// shows: in whose zone a time is written in the script, and which entry a post
// tells of.
type Stage struct {
	Server *Server
	Specs  []args.Spec
	Open   func(name string) ([]byte, error) // a file that somebody hands in
	Silent func(ctx context.Context) error   // something was said that the bot does not hear
	Broken func() error                      // the bot has ended; nil: it never does
	tb     testing.TB

	mu        sync.Mutex
	people    map[string]string // name → id
	places    map[string]string // name → channel
	organiser map[string]bool   // nobody: everybody
	zones     map[int64]string  // of times
	entries   map[string]int64  // post → entry
	settled   int
	seen      int
	last      *Interaction
}

// StageGuild is the server of a stage.
const StageGuild = "4194304"

// everything is what an organiser may do.
const everything = "32"

// NewStage makes a stage before a server that has the guild StageGuild.
func NewStage(tb testing.TB, s *Server, specs []args.Spec) *Stage {
	return &Stage{Server: s, Specs: specs, tb: tb, people: map[string]string{}, places: map[string]string{}, organiser: map[string]bool{},
		zones: map[int64]string{}, entries: map[string]int64{}}
}

// Settle notes that what a person said was answered, after next.
func (g *Stage) Settle(next func(context.Context) error) func(context.Context) error {
	return func(ctx context.Context) error {
		err := next(ctx)
		g.mu.Lock()
		g.settled++
		g.mu.Unlock()
		return err
	}
}

// Desk is a desk whose answers are noted.
func (g *Stage) Desk(d chat.Desk) chat.Desk { return notedDesk{d, g} }

type notedDesk struct {
	chat.Desk
	stage *Stage
}

func (n notedDesk) Handle(ctx context.Context, m chat.Message) ([]chat.Post, error) {
	posts, err := n.Desk.Handle(ctx, m)
	for _, p := range posts {
		n.stage.Note(p)
	}
	return posts, err
}

// Carrier is an adapter whose posts are noted.
func (g *Stage) Carrier(a chat.Adapter) chat.Adapter { return notedAdapter{a, g} }

type notedAdapter struct {
	chat.Adapter
	stage *Stage
}

func (n notedAdapter) Send(ctx context.Context, p chat.Post) (chat.Receipt, error) {
	n.stage.Note(p)
	return n.Adapter.Send(ctx, p)
}

// Note notes a post.
func (g *Stage) Note(p chat.Post) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.entries[string(p.ID)] = p.Entry
	for _, l := range p.Lines {
		for _, s := range l {
			if s.Kind == chat.When {
				g.zones[s.Time.Unix()] = s.Zone
			}
		}
	}
}

// Organise lets a person run the server; nobody yet: everybody does.
func (g *Stage) Organise(name string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.organiser[name] = true
}

// Person is the id that the adapter gives a person.
func (g *Stage) Person(name string) chat.Person { return chat.Person("discord:" + g.person(name)) }

// Place is the id that the adapter gives a place.
func (g *Stage) Place(name string) chat.Place { return chat.Place("discord:" + g.channel(name)) }

func (g *Stage) person(name string) string {
	g.mu.Lock()
	defer g.mu.Unlock()
	name = strings.ToLower(name)
	if g.people[name] == "" {
		g.people[name] = strconv.Itoa(4194304011 + len(g.people))
	}
	return g.people[name]
}

func (g *Stage) channel(name string) string {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.places[name] == "" {
		id := strconv.Itoa(4194304211 + len(g.places))
		g.places[name] = id
		g.Server.Add(Channel{ID: id, Guild: StageGuild, Name: strings.TrimPrefix(name, "#")})
	}
	return g.places[name]
}

// who is a person in a place.
func (g *Stage) who(m chatscript.Message) Who {
	r, n := utf8.DecodeRuneInString(m.Name)
	w := Who{ID: g.person(m.Name), Name: string(unicode.ToUpper(r)) + m.Name[n:]}
	if m.Place == chatscript.Direct {
		w.Channel = g.Server.Direct(w.ID)
		return w
	}
	w.Guild, w.Channel = StageGuild, g.channel(m.Place)
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(g.organiser) == 0 || g.organiser[strings.ToLower(m.Name)] {
		w.Permissions = everything
	}
	return w
}

// Hears tells whether the bot hears of a message at all: in a channel only
// commands, taps and forms, in private everything.
func (g *Stage) Hears(m chatscript.Message) bool {
	return m.Place == chatscript.Direct || m.Taps != nil || strings.HasPrefix(m.Text, "/")
}

// Say lets a person say something, and waits until it is answered.
func (g *Stage) Say(ctx context.Context, m chatscript.Message) error {
	who := g.who(m)
	var files []File
	for _, name := range m.Files {
		b, err := g.Open(name)
		if err != nil {
			return err
		}
		files = append(files, File{Name: name[strings.LastIndexByte(name, '/')+1:], Bytes: b})
	}
	switch {
	case m.Taps != nil:
		for i, label := range m.Taps {
			text := ""
			if i == len(m.Taps)-1 {
				text = m.Text
			}
			if err := g.tap(ctx, who, label, m.On, text); err != nil {
				return err
			}
		}
		return nil
	case strings.HasPrefix(m.Text, "/"):
		if done, err := g.command(ctx, who, m.Text, files); done {
			return err
		}
	}
	if who.Guild == "" {
		return g.answered(ctx, func() *Interaction {
			g.Server.Write(who, m.Text, files...)
			return nil
		})
	}
	if msg, id, ok := g.find(who, strings.TrimSpace(m.Text), "", true); ok {
		return g.press(ctx, who, msg, id, "")
	}
	if g.Silent != nil {
		return g.Silent(ctx)
	}
	return nil
}

// Again delivers what was done last once more, as the gateway may.
func (g *Stage) Again() {
	if g.last != nil {
		g.last.Again()
	}
}

var errNoChoice = errors.New("no message there has that choice")

// tap presses a button, or picks a command on the message of an entry.
func (g *Stage) tap(ctx context.Context, who Who, label, on, text string) error {
	if msg, id, ok := g.find(who, label, on, false); ok {
		return g.press(ctx, who, msg, id, text)
	}
	if i := slices.IndexFunc(g.Specs, func(s args.Spec) bool { return s.OnPost != "" && strings.EqualFold(s.OnPost, label) }); i >= 0 && on != "" {
		if msg, ok := g.telling(who, on); ok {
			return g.answered(ctx, func() *Interaction { return g.Server.Menu(who, msg, g.Specs[i].OnPost) })
		}
	}
	return fmt.Errorf("%w: %q", errNoChoice, label)
}

// press presses a button, and sends the form that it may open.
func (g *Stage) press(ctx context.Context, who Who, msg Message, id, text string) error {
	who.Channel = msg.Channel
	var i *Interaction
	err := g.answered(ctx, func() *Interaction {
		if menu := menuWith(msg, id); menu != "" {
			i = g.Server.Tap(who, msg, menu, id)
		} else {
			i = g.Server.Tap(who, msg, id)
		}
		return i
	})
	if a, _ := i.Answered(); err != nil || a.Type != AnswerModal {
		return err
	}
	return g.answered(ctx, func() *Interaction { return g.Server.Submit(i, map[string]any{"text": text}, nil) })
}

// answered does something and waits until the bot has done all that comes of it:
// it answered, and sent what waited, unless it opened a form.
func (g *Stage) answered(ctx context.Context, do func() *Interaction) error {
	count := func() int {
		g.mu.Lock()
		defer g.mu.Unlock()
		return g.settled
	}
	before := count()
	i := do()
	g.last = i
	var broken error
	g.Server.Until("what was said is answered", func() bool {
		if g.Broken != nil {
			broken = g.Broken()
		}
		if broken != nil || ctx.Err() != nil {
			return true
		}
		if i == nil {
			return count() > before
		}
		a, ok := i.Answered()
		if ok && (a.Type == AnswerModal || a.Type == AnswerChoices) {
			return true
		}
		m, said := i.Message()
		return ok && count() > before && (!said || !m.Loading || m.Deleted)
	})
	return errors.Join(broken, ctx.Err())
}

// buttons calls f with every button of a message, and every line of its menus.
func buttons(m Message, f func(label, id string) bool) bool {
	rows, _ := m.Body["components"].([]any)
	for _, r := range rows {
		row, _ := r.(map[string]any)
		list, _ := row["components"].([]any)
		for _, c := range list {
			b, _ := c.(map[string]any)
			label, _ := b["label"].(string)
			id, _ := b["custom_id"].(string)
			if menu, _ := b["options"].([]any); len(menu) > 0 {
				if slices.ContainsFunc(menu, func(o any) bool {
					line, _ := o.(map[string]any)
					label, _ := line["label"].(string)
					value, _ := line["value"].(string)
					return f(label, value)
				}) {
					return true
				}
				continue
			}
			if f(label, id) {
				return true
			}
		}
	}
	return false
}

// menuWith is the menu of a message that has a line of that value, "" if none has.
func menuWith(m Message, value string) string {
	rows, _ := m.Body["components"].([]any)
	for _, r := range rows {
		row, _ := r.(map[string]any)
		list, _ := row["components"].([]any)
		for _, c := range list {
			menu, _ := c.(map[string]any)
			lines, _ := menu["options"].([]any)
			for _, o := range lines {
				if line, _ := o.(map[string]any); line["value"] == value {
					id, _ := menu["custom_id"].(string)
					return id
				}
			}
		}
	}
	return ""
}

// visible are the messages that a person sees in a place, the newest first.
func (g *Stage) visible(who Who) []Message {
	var out []Message
	for _, channel := range append(g.Server.Threads(who.Channel), who.Channel) {
		for _, m := range g.Server.Messages(channel) {
			if m.Only == "" || m.Only == who.ID {
				out = append(out, m)
			}
		}
	}
	slices.SortFunc(out, func(a, b Message) int { return strings.Compare(b.ID, a.ID) })
	return out
}

// find looks for a button by its label or number: on the message of an entry, on
// the last message with buttons, or on any.
func (g *Stage) find(who Who, label, on string, last bool) (Message, string, bool) {
	label = strings.Join(strings.Fields(label), " ")
	for _, m := range g.visible(who) {
		found, any := "", false
		fits := func(f func(label, number string) bool) bool {
			return buttons(m, func(l, id string) bool {
				any = true
				if on != "" && g.entry(id) != on || !f(strings.Join(strings.Fields(l), " "), id[strings.LastIndexByte(id, '.')+1:]) {
					return false
				}
				found = id
				return true
			})
		}
		if fits(func(l, _ string) bool { return strings.EqualFold(l, label) }) || fits(func(_, n string) bool { return n == label }) {
			return m, found, true
		}
		if last && any {
			break
		}
	}
	return Message{}, "", false
}

// entry is the entry that the post of a button tells of.
func (g *Stage) entry(id string) string {
	g.mu.Lock()
	defer g.mu.Unlock()
	n, ok := g.entries[id[:max(0, strings.LastIndexByte(id, '.'))]]
	if !ok {
		return ""
	}
	return strconv.FormatInt(n, 10)
}

// telling is the message that tells of an entry: the first that says its number.
func (g *Stage) telling(who Who, on string) (Message, bool) {
	all := g.visible(who)
	slices.Reverse(all)
	whole, _, _ := strings.Cut(on, ".")
	for _, m := range all {
		if buttons(m, func(_, id string) bool { return g.entry(id) == whole }) {
			return m, true
		}
	}
	for _, m := range all {
		if slices.Contains(strings.FieldsFunc(m.Content(), func(r rune) bool { return r != '#' && !unicode.IsDigit(r) }), "#"+whole) {
			return m, true
		}
	}
	return Message{}, false
}
