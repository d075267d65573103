package terminal_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/terminal"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
	"drumhead/commands/chatscript"
)

func noon() time.Time { return time.Date(2026, 10, 10, 12, 0, 0, 0, time.UTC) }

// say is a catalogue for tests: the id and what fills its slots.
func say(id string, slots ...any) string { return strings.TrimSpace(id + " " + fmt.Sprintln(slots...)) }

func config(in string, out io.Writer) terminal.Config {
	return terminal.Config{In: strings.NewReader(in), Out: out, Session: "s1", Now: noon, Say: say, As: "ann"}
}

// stage is the terminal with people before it.
type stage struct {
	*terminal.Terminal
	desk chat.Desk

	shown []chatscript.Shown
}

func (s *stage) Adapter() chat.Adapter { return s.Terminal }
func (s *stage) Say(ctx context.Context, m chatscript.Message) error {

	return s.Hear(ctx, s.desk, chatscript.Step{Act: m})
}
func (s *stage) Shown() []chatscript.Shown {
	shown := s.shown
	s.shown = nil
	return shown
}
func (s *stage) Person(name string) chat.Person { return chat.Person("terminal:" + name) }
func (s *stage) Place(name string) chat.Place   { return chat.Place("terminal:" + name) }

func TestConformance(t *testing.T) {
	chattest.Conform(t, "weir.toml", func(t *testing.T, d chat.Desk) chattest.Stage {
		s := &stage{desk: d}
		c := config("", io.Discard)
		c.Watch = func(p chatscript.Shown) { s.shown = append(s.shown, p) }
		c.Open = func(name string) ([]byte, error) {
			if name != "weir.toml" {
				return nil, os.ErrNotExist
			}
			return []byte(chattest.File), nil
		}
		s.Terminal = terminal.New(c)
		return s
	})
}

func run(t *testing.T, c terminal.Config, d chat.Desk) *terminal.Terminal {
	t.Helper()
	term := terminal.New(c)
	if err := term.Run(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	return term
}

// What is read is a chat script; what is not said to a desk is answered here.
func TestInput(t *testing.T) {
	const in = `# a comment
/roll 2d6
bo #fen: /order
    move Pikes
    done

@dm: /due
> #fen
| an old post
ann: /force add (file no.toml)
! crash
! wait 3h
bo: [Nothing]
> nonsense
bo: last
`
	var out bytes.Buffer
	d := &chattest.Desk{}
	term := run(t, config(in, &out), d)
	var got []string
	for _, m := range d.Heard() {
		got = append(got, fmt.Sprintf("%s %s %s %v %q", m.Source, m.Person, m.Place, m.Private, m.Text))
	}
	want := []string{
		`terminal:s1:1 terminal:ann terminal:#table false "/roll 2d6"`,
		`terminal:s1:2 terminal:bo terminal:#fen false "/order\nmove Pikes\ndone"`,
		`terminal:s1:3 terminal:ann terminal:@ann true "/due"`,
		`terminal:s1:9 terminal:bo terminal:#table false "last"`,
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("heard\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	for _, id := range []string{"refuse.file", "refuse.direction", "refuse.wait", "refuse.choice", "refuse.line line 14"} {
		if !strings.Contains(out.String(), "terminal."+id) {
			t.Errorf("no answer with %s in:\n%s", id, out.String())
		}
	}
	if term.Errors() != 5 {
		t.Errorf("%d errors, want 5", term.Errors())
	}
}

// A program that waits for each answer need not end its message: it counts as
// complete when nothing more comes.
func TestConversationThroughAPipe(t *testing.T) {
	in, write := io.Pipe()
	answers, out := io.Pipe()
	c := config("", out)
	c.In, c.JSON = in, true
	d := &chattest.Desk{}
	d.Answer(func(m chat.Message) []chat.Post {
		return []chat.Post{{ID: chat.PostID(m.Source), To: chat.Destination{Place: m.Place}, Lines: []chat.Line{{{Kind: chat.Plain, Text: "heard " + m.Text}}}, Entry: -1}}
	})
	over := make(chan error, 1)
	go func() {
		over <- terminal.New(c).Run(t.Context(), d)
		out.Close()
	}()
	dec := json.NewDecoder(answers)
	for _, said := range []string{"one", "two\n    lines", "three"} {
		if _, err := io.WriteString(write, "bo: "+said+"\n"); err != nil {
			t.Fatal(err)
		}
		var o struct{ Text string }
		if err := dec.Decode(&o); err != nil {
			t.Fatal(err)
		}
		if want := "heard " + strings.ReplaceAll(said, "\n    ", " "); o.Text != want {
			t.Errorf("answer %q, want %q", o.Text, want)
		}
	}
	write.Close()
	if err := <-over; err != nil {
		t.Error(err)
	}
}

// offer is a post with choices, pictures and files.
func offer(m chat.Message) []chat.Post {
	if m.Tap != nil || m.Text != "/offer" {
		return nil
	}
	return []chat.Post{{
		ID: "free/1/0", To: chat.Destination{Place: m.Place}, Entry: 7, Notify: []chat.Person{"terminal:bo"}, Error: "x.y",
		Lines:    []chat.Line{{{Kind: chat.Plain, Text: "Ann <offers> Bo a table."}}},
		Choices:  []chat.Choice{{Number: 1, Label: "Accept", Command: "/yes", Once: true, Who: []chat.Person{"terminal:bo"}}, {Number: 2, Label: "4+", Command: "/roll again 4+"}},
		Pictures: []chat.Recipe{{Kind: "table", Name: "table.png", Alt: "a table"}},
		Files:    []chat.Recipe{{Kind: "entries", Name: "../../etc/fen.jsonl"}},
	}}
}

type maker struct{}

func (maker) Make(_ context.Context, r chat.Recipe) ([]byte, error) { return []byte(r.Kind), nil }

func TestBareChoices(t *testing.T) {
	d := &chattest.Desk{}
	d.Answer(offer)
	run(t, config("bo: /offer\nbo: 1\nbo: accept\nbo: 4+\nbo: 3\nbo: accept it\nbo #fen: 1\n", io.Discard), d)
	var got []string
	for _, m := range d.Heard()[1:] {
		if m.Tap != nil {
			got = append(got, fmt.Sprint(m.Tap.Number))
		} else {
			got = append(got, m.Text)
		}
	}
	if want := []string{"1", "1", "2", "3", "accept it", "1"}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Who sits here sees one screen: a line without a name picks from the newest
// post on it, also one for them alone. A line with a name stays in its place.
func TestBareChoicesOfWhoSitsHere(t *testing.T) {
	d := &chattest.Desk{}
	d.Answer(func(m chat.Message) []chat.Post {
		if m.Text != "/draft" {
			return offer(m)
		}
		return []chat.Post{{ID: "free/2/0", To: chat.Destination{Only: m.Person}, Entry: -1, Choices: []chat.Choice{{Number: 1, Label: "Mend", Command: "/mend"}}}}
	})
	c := config("/offer\n/draft\nmend\n1\nbo: 1\n", io.Discard)
	c.As = "bo"
	run(t, c, d)
	var got []string
	for _, m := range d.Heard()[2:] {
		if m.Tap == nil {
			t.Fatalf("%q was no choice", m.Text)
		}
		got = append(got, fmt.Sprint(m.Tap.Post, " ", m.Place, " ", m.Private))
	}
	if want := []string{"free/2/0 terminal:@bo true", "free/2/0 terminal:@bo true", "free/1/0 terminal:#table false"}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// All members of docs/json.md are always there, spelled as they are promised.
func TestJSON(t *testing.T) {
	dir := t.TempDir()
	var out bytes.Buffer
	c := config("bo: /offer\nbo: /offer\nbo @dm: /plain\n", &out)
	c.JSON, c.Files, c.Make = true, dir, maker{}
	d := &chattest.Desk{}
	d.Answer(func(m chat.Message) []chat.Post {
		if m.Text == "/plain" {
			return []chat.Post{{ID: "free/2/0", To: chat.Destination{Only: m.Person}, Entry: -1}}
		}
		return offer(m)
	})
	run(t, c, d)
	want := strings.ReplaceAll(`{"post":"free/1/0","place":"#table","only":"","edit":"","text":"Ann <offers> Bo a table.",`+
		`"choices":[{"number":1,"label":"Accept","command":"/yes","once":true,"who":["bo"]},{"number":2,"label":"4+","command":"/roll again 4+","once":false,"who":[]}],`+
		`"pictures":[{"path":"DIR/table.png","alt":"a table"}],"files":[{"path":"DIR/etc-fen.jsonl","name":"etc-fen.jsonl"}],"notify":["bo"],"entry":7,"error":"x.y"}
{"post":"free/2/0","place":"@dm","only":"bo","edit":"","text":"","choices":[],"pictures":[],"files":[],"notify":[],"entry":-1,"error":""}
`, "DIR", dir)
	if got := out.String(); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
	if b, err := os.ReadFile(filepath.Join(dir, "table.png")); err != nil || string(b) != "table" {
		t.Errorf("the picture holds %q, %v", b, err)
	}
}

func TestPage(t *testing.T) {
	var out bytes.Buffer
	c := config("bo: /offer\n", &out)
	c.Width = func() int { return 30 }
	d := &chattest.Desk{}
	d.Answer(offer)
	run(t, c, d)
	const want = `#table
  Ann <offers> Bo a table.
  @bo  [1] Accept  [2] 4+
  terminal.picture path
    terminal.notmade name
    table.png alt a table
  terminal.file path
    terminal.notmade name
    etc-fen.jsonl

`
	if out.String() != want {
		t.Errorf("got\n%swant\n%s", out.String(), want)
	}
}

func TestOrganisers(t *testing.T) {
	d := &chattest.Desk{}
	run(t, config("bo: a\n! organiser cy\nbo: b\nCy: c\n", io.Discard), d)
	var got []bool
	for _, m := range d.Heard() {
		got = append(got, m.Organiser)
	}
	if want := []bool{true, false, true}; !reflect.DeepEqual(got, want) {
		t.Errorf("organisers %v, want %v", got, want)
	}
}
