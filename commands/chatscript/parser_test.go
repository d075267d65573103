package chatscript_test

import (
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"drumhead/commands/chatscript"
)

func read(t *testing.T, text string) []chatscript.Act {
	t.Helper()
	s, err := chatscript.Read("test.txt", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	var acts []chatscript.Act
	for _, step := range s.Steps {
		if step.Act != nil {
			acts = append(acts, step.Act)
		}
	}
	return acts
}

func TestRead(t *testing.T) {
	const text = `# comment
ann #fen: /roll 12d6 4+
> #fen
| Ann rolls 12d6 for 4+: 5 successes.
|
|   (#3, sealed)
bo #fen: /order
    move Pikes to 30,12
      shoot Mortar at Riders
	done

cy:
    /force add
    10 Pikes
> @dm only cy
> #fen only bo edit
ann #fen: [Explain]
ann @dm: [Crossbows, yes] [10 Pikes]
bo #fen: [Change terms] a natural 1; no mortar
dee: [Hide words] on #412.3
ann #fen: /force add (file weir.toml)
ann: hello: there
! wait 48h
! wait 2d
! wait until timer
! crash
! restored
! resend
! fail append
! lose post
! organiser cy
`
	want := []chatscript.Act{
		chatscript.Message{Name: "ann", Place: "#fen", Text: "/roll 12d6 4+"},
		chatscript.Post{Place: "#fen", Lines: []string{"Ann rolls 12d6 for 4+: 5 successes.", "", "  (#3, sealed)"}},
		chatscript.Message{Name: "bo", Place: "#fen", Text: "/order\nmove Pikes to 30,12\n  shoot Mortar at Riders\ndone"},
		chatscript.Message{Name: "cy", Place: "#table", Text: "/force add\n10 Pikes"},
		chatscript.Post{Place: "@dm", Only: "cy"},
		chatscript.Post{Place: "#fen", Only: "bo", Edit: true},
		chatscript.Message{Name: "ann", Place: "#fen", Taps: []string{"Explain"}},
		chatscript.Message{Name: "ann", Place: "@dm", Taps: []string{"Crossbows, yes", "10 Pikes"}},
		chatscript.Message{Name: "bo", Place: "#fen", Taps: []string{"Change terms"}, Text: "a natural 1; no mortar"},
		chatscript.Message{Name: "dee", Place: "#table", Taps: []string{"Hide words"}, On: "412.3"},
		chatscript.Message{Name: "ann", Place: "#fen", Text: "/force add", Files: []string{"weir.toml"}},
		chatscript.Message{Name: "ann", Place: "#table", Text: "hello: there"},
		chatscript.Direction{Verb: chatscript.Wait, For: 48 * time.Hour},
		chatscript.Direction{Verb: chatscript.Wait, For: 48 * time.Hour},
		chatscript.Direction{Verb: chatscript.Wait},
		chatscript.Direction{Verb: chatscript.Crash},
		chatscript.Direction{Verb: chatscript.Restored},
		chatscript.Direction{Verb: chatscript.Resend},
		chatscript.Direction{Verb: chatscript.Fail},
		chatscript.Direction{Verb: chatscript.Lose},
		chatscript.Direction{Verb: chatscript.Organiser, Name: "cy"},
	}
	got := read(t, text)
	for i := range max(len(got), len(want)) {
		if i >= len(got) || i >= len(want) || !reflect.DeepEqual(got[i], want[i]) {
			t.Fatalf("act %d:\n got %#v\nwant %#v", i, at(got, i), at(want, i))
		}
	}
}

func at(acts []chatscript.Act, i int) any {
	if i < len(acts) {
		return acts[i]
	}
	return "nothing"
}

func TestBadLines(t *testing.T) {
	for text, what := range map[string]string{
		"roll 12d6":                "nobody's",
		"\tlonely":                 "nobody's",
		"| a post":                 "without a post above it",
		"> fen":                    "begins no post",
		"! dance":                  "no direction",
		"! wait":                   "no direction",
		"! wait -3h":               "no direction",
		"! wait 999999h":           "no direction",
		"! organiser":              "no direction",
		"ann: \xff":                "not UTF-8",
		strings.Repeat("a", 65537): "too long",
	} {
		_, err := chatscript.Read("bad.txt", strings.NewReader("# first\n"+text+"\n"))
		if err == nil {
			t.Errorf("%.20q was read", text)
			continue
		}
		var bad *chatscript.Error
		if errors.As(err, &bad) && (bad.Line != 2 || !strings.Contains(bad.What, what) || bad.Expected == "") {
			t.Errorf("%.20q: %v, want line 2, %q", text, err, what)
		}
		if !errors.As(err, &bad) && what != "too long" {
			t.Errorf("%.20q: %v", text, err)
		}
	}
}

// At a keyboard a bare line is a message, and an empty line ends one at once.
func TestParserAtAKeyboard(t *testing.T) {
	p := chatscript.NewParser("#fen", true)
	var got []chatscript.Act
	for _, line := range []string{"/roll 2d6", "@dm: /due", "#club: hello", "ann: hi", "", "1", "! crash"} {
		step, err := p.Line(line)
		if err != nil {
			t.Fatal(err)
		}
		if step != nil && step.Act != nil {
			got = append(got, step.Act)
		}
	}
	got = append(got, p.End().Act)
	want := []chatscript.Act{
		chatscript.Message{Place: "#fen", Text: "/roll 2d6"},
		chatscript.Message{Place: "@dm", Text: "/due"},
		chatscript.Message{Place: "#club", Text: "hello"},
		chatscript.Message{Name: "ann", Place: "#fen", Text: "hi"},
		chatscript.Message{Place: "#fen", Text: "1"},
		chatscript.Direction{Verb: chatscript.Crash},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %#v", got)
	}
	if p.End() != nil {
		t.Error("the end came twice")
	}
}

// FuzzParser: any text is read or refused with a line number; what is read
// stands there again as it was, and reading that gives the same.
func FuzzParser(f *testing.F) {
	for _, seed := range []string{"ann #fen: /roll\n    more\n> #fen only bo edit\n| [A] [B]\n", "! wait 48h\n", "ann: [A] [B] x (file a.toml)", "> @dm\n|\n|  x \n", "#fen: x\n\r\n"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := chatscript.Read("fuzz.txt", strings.NewReader(text))
		if err != nil {
			return
		}
		again, err := chatscript.Read("fuzz.txt", strings.NewReader(s.Text()))
		if err != nil {
			t.Fatalf("%q was read, %q was not: %v", text, s.Text(), err)
		}
		if again.Text() != s.Text() {
			t.Fatalf("%q became %q", s.Text(), again.Text())
		}
		for _, step := range s.Steps {
			post, ok := step.Act.(chatscript.Post)
			if !ok {
				continue
			}
			back, err := chatscript.Read("post.txt", strings.NewReader(strings.Join(post.Source(), "\n")+"\n"))
			if err != nil || len(back.Steps) != 1 {
				t.Fatalf("post %q: %v", post.Source(), err)
			}
		}
	})
}

// TestEndlessMessage: a message that never ends takes no more room than one that is
// too long, and is read at once.
func TestEndlessMessage(t *testing.T) {
	p := chatscript.NewParser("#table", true)
	if _, err := p.Line("ann: /order"); err != nil {
		t.Fatal(err)
	}
	for range 1 << 20 {
		if step, err := p.Line("    hold Pikes"); step != nil || err != nil {
			t.Fatal(step, err)
		}
	}
	m := p.End().Act.(chatscript.Message)
	if len(m.Text) <= chatscript.MaxStep || len(m.Text) > chatscript.MaxStep+chatscript.MaxLine {
		t.Errorf("%d bytes are kept", len(m.Text))
	}
}
