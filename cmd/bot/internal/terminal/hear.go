package terminal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"unicode"
	"unicode/utf8"

	"drumhead/commands/chat"
	"drumhead/commands/chatscript"
)

// community is everybody who talks in one data directory.
const community = chat.Community(Name)

// Hear takes one step of a conversation to the desk and shows the answers. An
// error ends the conversation: the desk or the output is broken. What a person
// did wrong is answered with a post.
func (t *Terminal) Hear(ctx context.Context, d chat.Desk, s chatscript.Step) error {
	if _, said := s.Act.(chatscript.Post); t.Echo && !said && s.Act != nil {
		t.mu.Lock()
		for _, line := range s.Source {
			fmt.Fprintln(t.out, harmless(line))
		}
		fmt.Fprintln(t.out)
		t.mu.Unlock()
	}
	switch act := s.Act.(type) {
	case chatscript.Message:
		t.heard++
		return t.say(ctx, d, act)
	case chatscript.Direction:
		t.heard++
		return t.follow(ctx, act)
	}
	return nil // a comment, or a post that somebody expected
}

// ErrFar is what Wait gives for a time that no entry could tell.
var ErrFar = errors.New("terminal: no practice goes on so far")

// follow does what a direction asks for, as far as a terminal can.
func (t *Terminal) follow(ctx context.Context, d chatscript.Direction) error {
	to := t.here()
	switch d.Verb {
	case chatscript.Organiser:
		t.organiser[person(d.Name)] = true
		return nil
	case chatscript.Wait:
		if t.Wait == nil {
			return t.complain(ctx, to, "terminal.refuse.wait")
		}
		switch err := t.Wait(ctx, d.For); {
		case errors.Is(err, ErrFar):
			return t.complain(ctx, to, "terminal.refuse.far")
		case err != nil:
			return err
		}
		return t.settle(ctx)
	}
	return t.complain(ctx, to, "terminal.refuse.direction", "verb", string(d.Verb))
}

// say hands a message to the desk: once, or once for each tap.
func (t *Terminal) say(ctx context.Context, d chat.Desk, m chatscript.Message) error {
	msg := t.message(m)
	to := chat.Destination{Place: msg.Place, Only: msg.Person}
	if msg.Private {
		to = chat.Destination{Only: msg.Person}
	}
	for _, name := range m.Files {
		file, err := t.open(name)
		if err != nil {
			return t.complain(ctx, to, "terminal.refuse.file", "name", name, "why", why(err))
		}
		msg.Files = append(msg.Files, file)
	}
	msg.Source = chat.Source(fmt.Sprintf("%s:%s:%d", Name, t.Session, t.heard))
	if m.Taps == nil {
		t.bare(&msg, m.Name == "")
		return t.handle(ctx, d, msg)
	}
	for i, label := range m.Taps {
		t.mu.Lock()
		post, choice, ok := t.screen.find(msg.Place, msg.Person, label, m.On)
		t.mu.Unlock()
		if text, known := t.onPost(label, m.On); !ok && known {
			msg.Text = text
			return t.handle(ctx, d, msg)
		}
		if !ok {
			return t.complain(ctx, to, "terminal.refuse.choice", "label", harmless(label), "have", t.labels(msg.Place, msg.Person))
		}
		one := msg
		one.Text = ""
		one.Tap = &chat.Tap{Post: post.ID, Number: choice.Number}
		if i == len(m.Taps)-1 {
			one.Tap.Text = m.Text
			t.fillForm(&one, choice)
		}
		if i > 0 {
			one.Source += chat.Source(fmt.Sprintf(".%d", i+1))
		}
		if err := t.handle(ctx, d, one); err != nil {
			return err
		}
	}
	return nil
}

// bare reads a number or a word alone as the choice of the last post there, if
// it has such a choice. A line that names nobody is of who sits here and looks at
// one screen: then the last post may be one for them alone.
func (t *Terminal) bare(msg *chat.Message, sitting bool) {
	direct := place(chatscript.Direct, msg.Person)
	t.mu.Lock()
	post, ok := t.screen.last(msg.Person, msg.Place)
	if sitting {
		post, ok = t.screen.last(msg.Person, msg.Place, direct)
	}
	t.mu.Unlock()
	if !ok || len(msg.Files) > 0 {
		return
	}
	if choice, ok := pick(post, msg.Text); ok {
		if !sees(post, msg.Place, msg.Person) {
			msg.Place, msg.Private = direct, true
		}
		msg.Text, msg.Tap = "", &chat.Tap{Post: post.ID, Number: choice.Number}
		t.fillForm(msg, choice)
	}
}

// fillForm asks for what a choice's form wants, where somebody can be asked.
func (t *Terminal) fillForm(msg *chat.Message, c chat.Choice) {
	if c.Form == "" || msg.Tap.Text != "" || t.prompt == nil {
		return
	}
	if text, ok := t.prompt(harmless(c.Form)); ok {
		msg.Tap.Text = text
	}
}

// handle lets the desk answer one message, and shows what it has to say.
func (t *Terminal) handle(ctx context.Context, d chat.Desk, msg chat.Message) error {
	posts, err := d.Handle(ctx, msg)
	if err != nil {
		return err
	}
	for _, p := range posts {
		if _, err := t.Send(ctx, p); err != nil && !errors.Is(err, chat.ErrGone) {
			return err
		}
	}
	return t.settle(ctx)
}

func (t *Terminal) settle(ctx context.Context) error {
	if t.Settle == nil {
		return nil
	}
	return t.Settle(ctx)
}

// message makes the message of a line, without its files, tap and source.
func (t *Terminal) message(m chatscript.Message) chat.Message {
	name := m.Name
	if name == "" {
		name = t.As
	}
	who := person(name)
	t.mu.Lock()
	defer t.mu.Unlock()
	if _, known := t.names[who]; !known {
		t.names[who] = capital(name)
	}
	return chat.Message{
		Community: community, Place: place(m.Place, who), Private: m.Place == chatscript.Direct,
		Person: who, Name: t.names[who], Text: m.Text, Time: t.Now(),
		Organiser: len(t.organiser) == 0 || t.organiser[who],
	}
}

// onPost is the command that a label picks on the post of an entry.
func (t *Terminal) onPost(label, entry string) (text string, known bool) {
	if entry == "" || t.OnPost == nil {
		return "", false
	}
	return t.OnPost(label, entry)
}

// labels lists what can be picked now.
func (t *Terminal) labels(where chat.Place, who chat.Person) string {
	t.mu.Lock()
	defer t.mu.Unlock()
	post, ok := t.screen.last(who, where)
	if !ok {
		return t.Say("terminal.nothing")
	}
	var list []string
	for _, c := range post.Choices {
		list = append(list, "["+harmless(c.Label)+"]")
	}
	return strings.Join(list, " ")
}

// open reads a file that is handed in.
func (t *Terminal) open(name string) (chat.File, error) {
	if t.Open == nil {
		return chat.File{}, fs.ErrNotExist
	}
	b, err := t.Open(name)
	if err == nil && len(b) > t.Limits().FileBytes {
		err = fmt.Errorf("more than %d bytes", t.Limits().FileBytes)
	}
	base := name[strings.LastIndexAny(name, `/\`)+1:]
	return chat.File{Name: base, Bytes: b}, err
}

// why is the reason of an error without the path, which was just said.
func why(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}

// capital is a name as it is shown: "ann" is Ann.
func capital(name string) string {
	r, n := utf8.DecodeRuneInString(name)
	return string(unicode.ToUpper(r)) + name[n:]
}
