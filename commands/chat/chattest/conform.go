package chattest

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode"

	"drumhead/commands/chat"
	"drumhead/commands/chatscript"
)

// Conform tests an adapter. Open makes a new stage whose adapter talks to the
// given desk; file is the only file that can be handed in there, with the
// content File.
func Conform(t *testing.T, file string, open func(t *testing.T, d chat.Desk) Stage) {
	for name, test := range map[string]func(*testing.T, Stage, *Desk, string){
		"what is said arrives as it was said": said,
		"posts are shown in order":            posts,
		"spans are shown and harmless":        spans,
		"choices are picked":                  choices,
		"a choice belongs to who sees it":     private,
		"an edit replaces the choices":        edits,
		"a post is shown once":                once,
		"places that are not there":           gone,
		"limits":                              limits,
		"many send at once":                   together,
		"run ends with its context":           ends,
	} {
		t.Run(name, func(t *testing.T) {
			d := &Desk{}
			test(t, open(t, d), d, file)
		})
	}
}

// File is the content of the file that Conform hands in.
const File = "name = \"Weir Militia\"\n"

func say(t *testing.T, s Stage, m chatscript.Message) {
	t.Helper()
	if err := s.Say(t.Context(), m); err != nil {
		t.Fatal(err)
	}
}

func said(t *testing.T, s Stage, d *Desk, file string) {
	texts := []string{"/roll 12d6 4+", "/order\nmove Pikes to 30,12\n  shoot Mortar; done", "“curly” – and\u00a0so on", "a \u202eb", "/help"}
	seen := map[chat.Source]bool{}
	for i, text := range texts {
		m := chatscript.Message{Name: "ann", Place: "#fen", Text: text}
		if half, ok := s.(Selective); ok && !half.Hears(m) {
			m.Place = chatscript.Direct
		}
		if i == len(texts)-1 {
			m.Place, m.Name, m.Files = chatscript.Direct, "bo", []string{file}
		}
		say(t, s, m)
		heard := d.Heard()
		if len(heard) != 1 {
			t.Fatalf("%q was heard %d times", text, len(heard))
		}
		got := heard[0]
		if got.Text != text || got.Person != s.Person(m.Name) || got.Private != (m.Place == chatscript.Direct) || got.Tap != nil {
			t.Errorf("%q was heard as %+v", text, got)
		}
		if !got.Private && got.Place != s.Place(m.Place) {
			t.Errorf("heard in %q, said in %q", got.Place, s.Place(m.Place))
		}
		if !strings.EqualFold(got.Name, m.Name) || got.Community == "" || got.Place == "" || got.Time.IsZero() {
			t.Errorf("something is missing: %+v", got)
		}
		platform, _, _ := strings.Cut(string(got.Place), ":")
		if from, rest, _ := strings.Cut(string(got.Source), ":"); from != platform || rest == "" || seen[got.Source] {
			t.Errorf("source %q of place %q", got.Source, got.Place)
		}
		seen[got.Source] = true
		if len(got.Files) != len(m.Files) {
			t.Fatalf("%d files were handed in, %d came", len(m.Files), len(got.Files))
		}
		for _, f := range got.Files {
			if string(f.Bytes) != File || f.Name != file {
				t.Errorf("file %q came as %q", f.Name, f.Bytes)
			}
		}
	}
}

// plain is a post of plain lines.
func plain(id string, to chat.Destination, lines ...string) chat.Post {
	p := chat.Post{ID: chat.PostID(id), To: to, Entry: -1}
	for _, l := range lines {
		p.Lines = append(p.Lines, chat.Line{{Kind: chat.Plain, Text: l}})
	}
	return p
}

func send(t *testing.T, s Stage, p chat.Post) {
	t.Helper()
	r, err := s.Adapter().Send(t.Context(), p)
	if err != nil {
		t.Fatal(err)
	}
	if r.Ref == "" || r.Time.IsZero() {
		t.Errorf("receipt %+v", r)
	}
}

// settle tells people of a place to the adapter before it is sent anything.
func settle(t *testing.T, s Stage, d *Desk) {
	for _, name := range []string{"ann", "bo"} {
		say(t, s, chatscript.Message{Name: name, Place: "#fen", Text: "/help"})
		say(t, s, chatscript.Message{Name: name, Place: chatscript.Direct, Text: "hello"})
	}
	d.Heard()
	s.Shown()
}

func posts(t *testing.T, s Stage, d *Desk, _ string) {
	settle(t, s, d)
	fen := s.Place("#fen")
	d.Answer(func(chat.Message) []chat.Post {
		return []chat.Post{
			plain("p/1", chat.Destination{Place: fen}, "First.", "", "  7 of 10   columns stay"),
			plain("p/2", chat.Destination{Place: fen, Only: s.Person("bo")}, "A glance."),
			plain("p/3", chat.Destination{Only: s.Person("bo")}, "To keep."),
		}
	})
	say(t, s, chatscript.Message{Name: "bo", Place: "#fen", Text: "/help"})
	p := plain("p/4", chat.Destination{Place: fen}, "More.")
	p.Notify = []chat.Person{s.Person("ann")}
	send(t, s, p)
	want := []chatscript.Shown{
		{Place: "#fen", Lines: []string{"First.", "", "  7 of 10   columns stay"}},
		{Place: "#fen", Only: "bo", Lines: []string{"A glance."}},
		{Place: chatscript.Direct, Only: "bo", Lines: []string{"To keep."}},
		{Place: "#fen", Lines: []string{"More."}, Notify: []string{"ann"}},
	}
	compare(t, s.Shown(), want)
}

func compare(t *testing.T, got, want []chatscript.Shown) {
	t.Helper()
	write := func(list []chatscript.Shown) string {
		var lines []string
		for _, s := range list {
			lines = append(lines, s.Post().Source()...)
		}
		return strings.Join(lines, "\n")
	}
	if diff := chatscript.Diff(write(want), write(got)); diff != "" {
		t.Errorf("other posts than expected:\n%s", diff)
	}
}

func spans(t *testing.T, s Stage, d *Desk, _ string) {
	settle(t, s, d)
	p := plain("s/1", chat.Destination{Place: s.Place("#fen")})
	hostile := "\x1b[2Jwords\u202ebackwards\u2066\a\x00\u009b"
	p.Notify = []chat.Person{s.Person("bo")}
	p.Lines = []chat.Line{
		{{Kind: chat.Who, Person: s.Person("bo"), Text: "Bo"}, {Kind: chat.Plain, Text: " moves, "}, {Kind: chat.Who, Person: s.Person("ann"), Text: "Ann"}, {Kind: chat.Plain, Text: " waits."}},
		{{Kind: chat.Number, Entry: 210, Text: ".3"}, {Kind: chat.Plain, Text: " until "}, {Kind: chat.When, Time: time.Date(2026, 10, 25, 19, 0, 0, 0, time.UTC), Zone: "America/Los_Angeles"}},
		{{Kind: chat.Command, Text: "/help"}, {Kind: chat.Plain, Text: " "}, {Kind: chat.Code, Text: "41d0"}},
		{{Kind: chat.Said, Text: hostile}},
	}
	p.Choices = []chat.Choice{{Number: 1, Label: hostile, Command: "/help"}}
	send(t, s, p)
	shown := s.Shown()
	if len(shown) != 1 || len(shown[0].Lines) != 4 || len(shown[0].Choices) != 1 {
		t.Fatalf("shown: %+v", shown)
	}
	lines := shown[0].Lines
	if lines[0] != "@bo moves, Ann waits." || !strings.HasPrefix(lines[1], "#210.3 until ") || lines[2] != "/help 41d0" {
		t.Errorf("lines %q", lines)
	}
	// 19:00 UTC on 25 October 2026 is noon in Los Angeles: summer time there ends on 1 November.
	if !strings.Contains(lines[1], "12:00") {
		t.Errorf("the time in Los Angeles is shown as %q", lines[1])
	}
	for _, text := range []string{lines[3], shown[0].Choices[0]} {
		if !strings.Contains(text, "words") || !strings.Contains(text, "backwards") {
			t.Errorf("words are lost in %q", text)
		}
		if i := strings.IndexFunc(text, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) }); i >= 0 {
			t.Errorf("%q can do harm at byte %d", text, i)
		}
	}
}

// offer is a post with three choices, the second of which opens a form.
func offer(s Stage, id string, to chat.Destination) chat.Post {
	p := plain(id, to, "What now?")
	p.Choices = []chat.Choice{{Number: 1, Label: "Accept", Command: "/yes", Once: true}, {Number: 2, Label: "Change terms", Command: "/change", Form: "Which terms?"}, {Number: 3, Label: "Not now", Command: "/no"}}
	return p
}

func choices(t *testing.T, s Stage, d *Desk, _ string) {
	settle(t, s, d)
	fen := chat.Destination{Place: s.Place("#fen")}
	send(t, s, offer(s, "c/1", fen))
	send(t, s, plain("c/2", fen, "Something else."))
	other := plain("c/3", fen, "Another question.")
	other.Choices = []chat.Choice{{Number: 1, Label: "Look", Command: "/look"}}
	other.Entry = 7
	send(t, s, other)
	say(t, s, chatscript.Message{Name: "bo", Place: "#fen", Taps: []string{"accept", "Not now"}})
	say(t, s, chatscript.Message{Name: "bo", Place: "#fen", Taps: []string{"Change terms"}, Text: "no mortar; 400 points"})
	say(t, s, chatscript.Message{Name: "ann", Place: "#fen", Taps: []string{"Look"}, On: "7"})
	var got []chat.Tap
	sources := map[chat.Source]bool{}
	for _, m := range d.Heard() {
		if m.Tap == nil || m.Text != "" || sources[m.Source] {
			t.Fatalf("a tap came as %+v", m)
		}
		sources[m.Source] = true
		got = append(got, *m.Tap)
	}
	want := []chat.Tap{{Post: "c/1", Number: 1}, {Post: "c/1", Number: 3}, {Post: "c/1", Number: 2, Text: "no mortar; 400 points"}, {Post: "c/3", Number: 1}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("taps %+v, want %+v", got, want)
	}
}

func private(t *testing.T, s Stage, d *Desk, _ string) {
	settle(t, s, d)
	send(t, s, offer(s, "v/1", chat.Destination{Only: s.Person("bo")}))
	send(t, s, offer(s, "v/2", chat.Destination{Place: s.Place("#fen"), Only: s.Person("bo")}))
	s.Shown()
	for _, place := range []string{"#fen", chatscript.Direct} {
		// An adapter may refuse the tap with words of its own, or fail it; the desk must not hear it.
		_ = s.Say(t.Context(), chatscript.Message{Name: "ann", Place: place, Taps: []string{"Accept"}})
	}
	if heard := d.Heard(); len(heard) > 0 {
		t.Errorf("somebody else's choices were picked: %+v", heard)
	}
	say(t, s, chatscript.Message{Name: "bo", Place: chatscript.Direct, Taps: []string{"Accept"}})
	say(t, s, chatscript.Message{Name: "bo", Place: "#fen", Taps: []string{"Accept"}})
	heard := d.Heard()
	if len(heard) != 2 || heard[0].Tap == nil || heard[0].Tap.Post != "v/1" || heard[1].Tap == nil || heard[1].Tap.Post != "v/2" {
		t.Errorf("own choices were heard as %+v", heard)
	}
}

func edits(t *testing.T, s Stage, d *Desk, _ string) {
	settle(t, s, d)
	fen := chat.Destination{Place: s.Place("#fen")}
	send(t, s, offer(s, "e/1", fen))
	p := plain("e/2", fen, "Taken back.")
	p.Edit = "e/1"
	p.Choices = []chat.Choice{{Number: 1, Label: "Once more", Command: "/more"}}
	send(t, s, p)
	shown := s.Shown()
	if len(shown) != 2 || shown[0].Edit || !shown[1].Edit {
		t.Fatalf("shown %+v", shown)
	}
	_ = s.Say(t.Context(), chatscript.Message{Name: "bo", Place: "#fen", Taps: []string{"Accept"}})
	if heard := d.Heard(); len(heard) > 0 {
		t.Errorf("a choice that is gone was picked: %+v", heard)
	}
	say(t, s, chatscript.Message{Name: "bo", Place: "#fen", Taps: []string{"Once more"}})
	if heard := d.Heard(); len(heard) != 1 || heard[0].Tap == nil || heard[0].Tap.Number != 1 {
		t.Errorf("the new choice was heard as %+v", heard)
	}
}

func once(t *testing.T, s Stage, d *Desk, _ string) {
	settle(t, s, d)
	p := plain("o/1", chat.Destination{Place: s.Place("#fen")}, "Just once.")
	send(t, s, p)
	send(t, s, p)
	compare(t, s.Shown(), []chatscript.Shown{{Place: "#fen", Lines: []string{"Just once."}}})
}

func gone(t *testing.T, s Stage, _ *Desk, _ string) {
	for _, to := range []chat.Destination{{Place: "elsewhere:#fen"}, {Only: "elsewhere:bo"}, {}} {
		if _, err := s.Adapter().Send(t.Context(), plain("g/1", to, "Lost.")); !errors.Is(err, chat.ErrGone) {
			t.Errorf("%+v: %v, want ErrGone", to, err)
		}
	}
	over, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Adapter().Send(over, plain("g/2", chat.Destination{Place: s.Place("#fen")}, "Late.")); err == nil {
		t.Error("a post was sent after the end")
	}
	if shown := s.Shown(); len(shown) > 0 {
		t.Errorf("shown all the same: %+v", shown)
	}
}

// Least that a platform must carry: a summary of a turn, five choices, a force file.
const (
	leastCharacters = 1500
	leastChoices    = 5
	leastFile       = 64 << 10
)

func limits(t *testing.T, s Stage, _ *Desk, _ string) {
	l := s.Adapter().Limits()
	if l.Characters < leastCharacters || l.Choices < leastChoices || l.FileBytes < leastFile {
		t.Errorf("limits %+v", l)
	}
}

func together(t *testing.T, s Stage, d *Desk, _ string) {
	settle(t, s, d)
	const many = 20
	var wg sync.WaitGroup
	for i := range many {
		wg.Go(func() {
			if _, err := s.Adapter().Send(t.Context(), plain(fmt.Sprintf("t/%d", i), chat.Destination{Place: s.Place("#fen")}, fmt.Sprint(i))); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	seen := map[string]bool{}
	for _, p := range s.Shown() {
		seen[strings.Join(p.Lines, "")] = true
	}
	if len(seen) != many {
		t.Errorf("%d of %d posts were shown", len(seen), many)
	}
}

func ends(t *testing.T, s Stage, d *Desk, _ string) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	over := make(chan error, 1)
	go func() { over <- s.Adapter().Run(ctx, d) }()
	select {
	case err := <-over:
		if err != nil && !errors.Is(err, context.Canceled) {
			t.Errorf("run ended with %v", err)
		}
	case <-time.After(10 * time.Second):
		t.Error("run goes on after its context ended")
	}
}
