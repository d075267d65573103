package terminal

import (
	"context"
	"reflect"
	"strings"
	"testing"
	"time"

	"drumhead/commands/chat"
	"drumhead/commands/chatscript"
)

// helper is a desk that only completes.
type helper struct{}

func (helper) Handle(context.Context, chat.Message) ([]chat.Post, error) { return nil, nil }
func (helper) Complete(_ context.Context, m chat.Message) []chat.Suggestion {
	var out []chat.Suggestion
	for _, s := range []string{"/roll ", "/roster ", "/unit Weir Pikes"} {
		if strings.HasPrefix(strings.ToLower(s), strings.ToLower(m.Text)) {
			out = append(out, chat.Suggestion{Text: s})
		}
	}
	return out
}

func keyboard() *Terminal {
	return New(Config{Out: &strings.Builder{}, Session: "s", As: "ann", Say: func(id string, _ ...any) string { return id },
		Now: func() time.Time { return time.Time{} }, Asks: func(text string) bool { return text == "/order" }})
}

// Tab goes on with what is typed, after a name and place too, and with choices.
func TestTab(t *testing.T) {
	term := keyboard()
	if _, err := term.Send(t.Context(), chat.Post{ID: "p", To: chat.Destination{Place: "terminal:#table"},
		Choices: []chat.Choice{{Number: 1, Label: "Agree"}, {Number: 2, Label: "Agree, but no shot"}}}); err != nil {
		t.Fatal(err)
	}
	for typed, want := range map[string][]string{
		"/ro":                 {"ll ", "ster "},
		"/unit we":            {"ir Pikes"},
		"bo #fen: /rol":       {"l "},
		"agr":                 {"ee", "ee, but no shot"},
		"bo #fen: agr":        nil,
		"/roll 12d6 and more": nil,
	} {
		var got []string
		lines, n := (&completer{term, helper{}}).Do([]rune(typed+" and what stands behind"), len(typed))
		for _, l := range lines {
			got = append(got, string(l))
		}
		text := typed[strings.Index(typed, ": ")+1:]
		if !reflect.DeepEqual(got, want) || n != len(strings.TrimSpace(text)) {
			t.Errorf("%q: %q after %d, want %q", typed, got, n, want)
		}
	}
}

// A sheet is typed line by line until an empty one.
func TestSheetAtTheKeyboard(t *testing.T) {
	lines := []string{"move Pikes north", "  done", "", "not asked for"}
	ask := func(string) (string, bool) {
		line := lines[0]
		lines = lines[1:]
		return line, true
	}
	term := keyboard()
	step, err := term.typed("bo: /order", ask)
	if err != nil {
		t.Fatal(err)
	}
	want := chatscript.Message{Name: "bo", Place: "#table", Text: "/order\nmove Pikes north\n  done"}
	if !reflect.DeepEqual(step.Act, want) {
		t.Errorf("got %#v", step.Act)
	}
	if step, err = term.typed("/roll 2d6", ask); err != nil || len(lines) != 1 || step.Act.(chatscript.Message).Text != "/roll 2d6" {
		t.Errorf("a roll asked for lines: %v %v", step, err)
	}
	if _, err = term.typed("| what", ask); err == nil {
		t.Error("a line that cannot be read was read")
	}
}

// A choice that opens a form asks for its text at the keyboard.
func TestFormAtTheKeyboard(t *testing.T) {
	term := keyboard()
	term.prompt = func(question string) (string, bool) { return "answer to " + question, true }
	msg := chat.Message{Tap: &chat.Tap{Post: "p", Number: 1}}
	term.fillForm(&msg, chat.Choice{Form: "Which terms?"})
	if msg.Tap.Text != "answer to Which terms?" {
		t.Errorf("the form holds %q", msg.Tap.Text)
	}
	term.fillForm(&msg, chat.Choice{Form: "More?"})
	if msg.Tap.Text != "answer to Which terms?" {
		t.Error("a form that was filled in was asked for again")
	}
}

// Whoever wants to go may say so; these words are no commands and no labels.
func TestLeaves(t *testing.T) {
	for text, want := range map[string]bool{"quit": true, " Exit ": true, "/quit": true, "bye!": true, "leave": true, "": false, "/roll 12d6": false, "/campaign leave": false, "quit it": false} {
		if leaves(text) != want {
			t.Errorf("%q: %v, want %v", text, !want, want)
		}
	}
}
