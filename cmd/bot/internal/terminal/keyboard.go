package terminal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"drumhead/commands/chat"
	"drumhead/commands/chatscript"

	"github.com/ergochat/readline"
)

// runKeyboard hears a person at the keyboard: a prompt with history and
// completion. Ctrl-D, or Ctrl-C on an empty line, ends it.
func (t *Terminal) runKeyboard(ctx context.Context, d chat.Desk) error {
	prompt := t.As + " " + t.Place + "> "
	in, err := readline.NewFromConfig(&readline.Config{
		Prompt: prompt, HistoryFile: t.History, HistorySearchFold: true, Undo: true,
		AutoComplete: &completer{t, d}, Stdin: t.In, Stdout: t.Out, DisableAutoSaveHistory: true,
	})
	if err != nil {
		return err
	}
	defer in.Close()
	stop := context.AfterFunc(ctx, func() { in.Close() })
	defer stop()
	t.mu.Lock()
	t.out = in.Stdout()
	t.mu.Unlock()
	ask := func(question string) (string, bool) {
		in.SetPrompt(question + "> ")
		defer in.SetPrompt(prompt)
		text, err := in.ReadLine()
		return strings.TrimSpace(text), err == nil
	}
	t.prompt = ask
	if t.New {
		if err := t.greet(ctx, d); err != nil {
			return err
		}
	}
	for {
		text, err := in.ReadLine()
		switch {
		case errors.Is(err, readline.ErrInterrupt) && text != "":
			continue
		case errors.Is(err, readline.ErrInterrupt), errors.Is(err, io.EOF), ctx.Err() != nil, leaves(text):
			fmt.Fprintln(t.out, t.Say("terminal.leave"))
			return nil
		case err != nil:
			return err
		case strings.TrimSpace(text) == "":
			continue
		}
		if err := in.SaveToHistory(text); err != nil {
			t.Log.Warn("history could not be kept", "err", err)
		}
		step, bad := t.typed(text, ask)
		if err := t.hear(ctx, d, step, bad); err != nil {
			return err
		}
	}
}

// leaves tells whether somebody wants to go: these words are nobody's commands.
func leaves(text string) bool {
	switch strings.ToLower(strings.Trim(text, " /.!")) {
	case "quit", "exit", "bye", "leave":
		return true
	}
	return false
}

// greet tells the desk that somebody has come into this place, and shows what it
// says to that.
func (t *Terminal) greet(ctx context.Context, d chat.Desk) error {
	msg := t.message(chatscript.Message{Name: t.As, Place: t.Place})
	msg.Joined = true
	msg.Source = chat.Source(fmt.Sprintf("%s:%s:joined", Name, t.Session))
	return t.handle(ctx, d, msg)
}

// typed makes the step of a typed line, and asks for the lines that go on with
// it, until an empty one, if the command waits for them.
func (t *Terminal) typed(text string, ask func(string) (string, bool)) (*chatscript.Step, error) {
	parser := chatscript.NewParser(t.Place, true)
	if _, err := parser.Line(text); err != nil {
		return nil, err
	}
	step := parser.End()
	m, ok := step.Act.(chatscript.Message)
	if !ok || m.Taps != nil || m.Files != nil || t.Asks == nil || !t.Asks(m.Text) {
		return step, nil
	}
	for {
		more, ok := ask(t.Say("terminal.more"))
		if !ok || more == "" {
			step.Act = m
			return step, nil
		}
		m.Text += "\n" + more
	}
}

// completer completes commands, names and choices.
type completer struct {
	t *Terminal
	d chat.Desk
}

// Do is readline's: what may follow the text before the cursor.
func (c *completer) Do(line []rune, pos int) ([][]rune, int) {
	text := string(line[:pos])
	parser := chatscript.NewParser(c.t.Place, true)
	m := chatscript.Message{Place: c.t.Place, Text: text}
	if _, err := parser.Line(text); err == nil {
		if said, ok := parser.End().Act.(chatscript.Message); ok && strings.HasSuffix(text, said.Text) {
			m.Name, m.Place, m.Text = said.Name, said.Place, said.Text
		}
	}
	msg := c.t.message(m)
	var out [][]rune
	for _, s := range c.d.Complete(context.Background(), msg) {
		out = follow(out, m.Text, s.Text)
	}
	c.t.mu.Lock()
	post, _ := c.t.screen.last(msg.Person, msg.Place, place(chatscript.Direct, msg.Person))
	c.t.mu.Unlock()
	for _, choice := range post.Choices {
		out = follow(out, m.Text, harmless(choice.Label))
	}
	return out, len([]rune(m.Text))
}

// follow adds what a suggestion has more than what was typed.
func follow(out [][]rune, typed, suggestion string) [][]rune {
	have, want := []rune(typed), []rune(suggestion)
	if len(want) <= len(have) || !strings.EqualFold(string(want[:len(have)]), typed) {
		return out
	}
	return append(out, want[len(have):])
}
