package chatscript_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"drumhead/commands/chatscript"
)

// echo answers every message with what was said, and a direction with its verb.
type echo struct{ shown []chatscript.Shown }

func (e *echo) Say(_ context.Context, m chatscript.Message) error {
	if m.Text == "break" {
		return errors.New("broken on purpose")
	}
	e.shown = append(e.shown, chatscript.Shown{Place: m.Place, Only: m.Name, Lines: []string{"You said " + m.Text + " "},
		Choices: []string{"Again", "Enough"}, Notify: []string{"bo"}, Pictures: []string{"a table"}, Files: []string{"a.jsonl"}})
	return nil
}

func (e *echo) Do(_ context.Context, d chatscript.Direction) error {
	e.shown = append(e.shown, chatscript.Shown{Place: "#table", Edit: true, Lines: []string{string(d.Verb)}})
	return nil
}

func (e *echo) Shown() []chatscript.Shown {
	s := e.shown
	e.shown = nil
	return s
}

const good = `# a test
ann #fen: hello

> #fen only ann
| You said hello
| @bo [Again] [Enough]
| (picture: a table)
| (file a.jsonl)
! wait 1h
> #table edit
| wait
`

func play(t *testing.T, text string) (got, diff string) {
	t.Helper()
	s, err := chatscript.Read("test.txt", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	got, err = chatscript.Run(context.Background(), s, &echo{})
	if err != nil {
		t.Fatal(err)
	}
	return got, chatscript.Diff(s.Text(), got)
}

func TestRunGivesTheScriptAgain(t *testing.T) {
	straight := strings.Replace(good, "hello\n\n", "hello\n", 1)
	if _, diff := play(t, straight); diff != "" {
		t.Errorf("differs:\n%s", diff)
	}
	// Every change of an expected post, and a post too few or too many, shows.
	for old, new := range map[string]string{
		"| You said hello\n": "| You said goodbye\n",
		"> #fen only ann":    "> #fen",
		"[Enough]":           "[Stop]",
		" edit":              "",
		"| (file a.jsonl)\n": "",
		"| wait\n":           "| wait\n> #fen\n| More.\n",
	} {
		got, diff := play(t, strings.Replace(straight, old, new, 1))
		if diff == "" {
			t.Errorf("%q instead of %q was not noticed", new, old)
		}
		if got != straight {
			t.Errorf("what was shown should not depend on what was expected:\n%s", got)
		}
	}
}

func TestDiffIsReadable(t *testing.T) {
	want := "1\n2\n3\n4\n5\n6\n7\n8\n9\nold\n11\n"
	got := chatscript.Diff(want, strings.Replace(want, "old", "new", 1))
	const expected = "    6   6\n    7   7\n    8   8\n    9   9\n   10 - old\n   10 + new\n   11   11\n   12   \n"
	if got != expected {
		t.Errorf("got:\n%swant:\n%s", got, expected)
	}
}

func TestRunnerError(t *testing.T) {
	s, err := chatscript.Read("test.txt", strings.NewReader("# one\nann: break\n"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err = chatscript.Run(context.Background(), s, &echo{}); err == nil || !strings.Contains(err.Error(), "test.txt: line 2") {
		t.Errorf("error %v", err)
	}
}
