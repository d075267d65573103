package discord

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"
)

// told is a post of plain lines.
func told(id string, lines ...string) chat.Post {
	p := chat.Post{ID: chat.PostID(id), Entry: -1}
	for _, l := range lines {
		p.Lines = append(p.Lines, chat.Line{{Kind: chat.Plain, Text: l}})
	}
	return p
}

// An answer that is lost after the post was taken, a post that is sent again
// after a crash: it stands there once.
func TestPostStandsOnce(t *testing.T) {
	s := serve(t, discordtest.Options{})
	w, _ := wired(t, s)
	s.Fail(discordtest.Fault{Path: "channels/21/messages", After: true}) // the line is cut in the place of the answer
	a, err := w.send(t.Context(), "21", told("fen/1/0", "Riders held."), nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := w.send(t.Context(), "21", told("fen/1/0", "Riders held."), nil)
	if err != nil || a != b || a.Ref == "" || !a.Time.Equal(discordtest.Created(a.Ref)) {
		t.Errorf("receipts %+v and %+v, %v", a, b, err)
	}
	if n := len(s.Messages("21")); n != 1 {
		t.Errorf("it stands there %d times", n)
	}
}

// A text too long goes as a file, whole, behind its first line.
func TestLongPostBecomesAFile(t *testing.T) {
	s := serve(t, discordtest.Options{})
	w, _ := wired(t, s)
	p := told("fen/2/0", "The *tale* of the weir.")
	for i := range 100 {
		p.Lines = append(p.Lines, said(fmt.Sprint("Line ", i, " of the tale.")))
	}
	if _, err := w.send(t.Context(), "21", p, nil); err != nil {
		t.Fatal(err)
	}
	m := s.Messages("21")[0]
	if m.Content() != `The \*tale\* of the weir\.` || len(m.Attachments) != 1 || m.Attachments[0].Name != asText || strings.Count(string(m.Attachments[0].Bytes), "\n") != 101 {
		t.Errorf("%q with %d files", m.Content(), len(m.Attachments))
	}
}

// Each remedy is taken, and what cannot be mended is told to the pump.
func TestRemedies(t *testing.T) {
	picture := []made{{"table.png", "a table of two armies", []byte("PICTURE")}}
	quotes := chat.Post{ID: "fen/3/0", Lines: []chat.Line{{{Kind: chat.Plain, Text: "Ann: "}, {Kind: chat.Said, Text: "rude"}}}}
	for _, c := range []struct {
		what   string
		code   int
		status int
		want   string
		files  int
		err    error
	}{
		{"too large", 40005, 413, "Ann\\: rude\na table of two armies", 0, nil},
		{"moderated", 200000, 400, "Ann\\: …", 0, nil},
		{"not allowed", 50013, 403, "", 0, chat.ErrMuted},
		{"no access", 50001, 403, "", 0, chat.ErrMuted},
		{"gone", 10003, 404, "", 0, chat.ErrGone},
		{"busy", 20028, 403, "", 0, chat.ErrLater},
		{"wrong", 50035, 400, "", 0, chat.ErrLater},
		{"down", 0, 500, "", 0, chat.ErrLater},
	} {
		t.Run(c.what, func(t *testing.T) {
			t.Parallel()
			s := serve(t, discordtest.Options{})
			w, log := wired(t, s)
			times := 1
			if c.err != nil {
				times = -1
			}
			s.Fail(discordtest.Fault{Method: "POST", Path: "channels/21/messages", Status: c.status, Code: c.code, Times: times})
			_, err := w.send(t.Context(), "21", quotes, picture)
			if !errors.Is(err, c.err) {
				t.Errorf("%v, want %v", err, c.err)
			}
			if strings.Contains(log.String(), "rude") {
				t.Error("people's words stand in the log")
			}
			if c.err != nil {
				return
			}
			if m := s.Messages("21"); len(m) != 1 || m[0].Content() != c.want || len(m[0].Attachments) != c.files {
				t.Errorf("there stands %+v, want %q", m, c.want)
			}
		})
	}
}

// A board that cannot be edited is sent anew: deleted, edited too often, in an
// archived thread it is opened first; a locked one stays as it is.
func TestEditsHaveAWayOut(t *testing.T) {
	s := serve(t, discordtest.Options{})
	w, _ := wired(t, s)
	board, err := w.send(t.Context(), "21", told("fen/4/0", "Turn 1."), []made{{"table.png", "a table", []byte("PICTURE")}})
	if err != nil {
		t.Fatal(err)
	}
	p := told("fen/5/0", "Turn 2.")
	p.Edit = "fen/4/0"
	if r, err := w.edit(t.Context(), "21", board.Ref, p, nil); err != nil || r.Ref != board.Ref || s.Messages("21")[0].Content() != `Turn 2\.` {
		t.Errorf("edited as %+v, %v", r, err)
	}
	s.Change("21", func(c *discordtest.Channel) { c.Archived = true })
	p.ID = "fen/6/0"
	if r, err := w.edit(t.Context(), "21", board.Ref, p, nil); err != nil || r.Ref != board.Ref || s.Channel("21").Archived {
		t.Errorf("in the archive: %+v, %v", r, err)
	}
	s.Fail(discordtest.Fault{Method: "PATCH", Status: 400, Code: 30046})
	p.ID = "fen/7/0"
	if r, err := w.edit(t.Context(), "21", board.Ref, p, nil); err != nil || r.Ref == board.Ref {
		t.Errorf("edited too often: %+v, %v", r, err)
	}
	s.Delete(board.Ref)
	p.ID = "fen/8/0"
	if r, err := w.edit(t.Context(), "21", board.Ref, p, nil); err != nil || r.Ref == board.Ref {
		t.Errorf("deleted: %+v, %v", r, err)
	}
	p.ID = "fen/8/1"
	if r, err := w.edit(t.Context(), "21", nonce("discord:21", "fen/4/0"), p, nil); err != nil || r.Ref == board.Ref {
		t.Errorf("with an id that was never learned: %+v, %v", r, err)
	}
	s.Change("21", func(c *discordtest.Channel) { c.Locked = true })
	if _, err := w.send(t.Context(), "21", told("fen/9/0", "x"), nil); !errors.Is(err, chat.ErrMuted) {
		t.Errorf("locked: %v", err)
	}
}

// A direct message finds its channel; a person who takes none is told apart.
func TestDirectMessages(t *testing.T) {
	s := serve(t, discordtest.Options{})
	w, _ := wired(t, s)
	for _, person := range []string{"11", "12"} {
		in, err := w.direct(t.Context(), person)
		if err != nil || in != s.Direct(person) {
			t.Fatalf("%q, %v", in, err)
		}
		if person == "12" {
			s.CloseDirect(person)
		}
		if _, err := w.send(t.Context(), in, told("free/1/0", "To keep."), nil); (err == nil) != (person == "11") || person == "12" && !errors.Is(err, chat.ErrMuted) {
			t.Errorf("%s: %v", person, err)
		}
	}
}

// A post that is too long keeps its file when a picture is too large, and its
// first line when no file is taken.
func TestLongPostLosesWeight(t *testing.T) {
	p := parcel{post: told("fen/10/0", "The tale."), files: []made{{"map.png", "a map of the valley", []byte("PICTURE")}}}
	for range 200 {
		p.post.Lines = append(p.post.Lines, said("A line of the tale."))
	}
	for i, want := range []struct {
		files string
		lines int // of the text's file, 0: there is none
	}{{"post.txt map.png", 201}, {"post.txt", 202}, {"", 0}} {
		var names []string
		lines := 0
		for _, f := range p.all() {
			names = append(names, f.name)
			if f.name == asText {
				lines = strings.Count(string(f.bytes), "\n")
			}
		}
		m := p.message()
		if got := strings.Join(names, " "); got != want.files || lines != want.lines || m.Content != `The tale\.` || len(m.Attachments) != len(names) {
			t.Errorf("%d: %q with %q of %d lines, want %+v", i, m.Content, got, lines, want)
		}
		p = p.smaller()
	}
	p.curtail = false
	if m := p.plainer("").message(); !strings.HasPrefix(m.Content, "The tale\\.\n…\n…") || strings.Contains(m.Content, "A line") || len(m.Attachments) != 0 {
		t.Errorf("plainer: %q with %d files", m.Content, len(m.Attachments))
	}
}

// Posts of one place go out one after another in the order in which they came,
// one that gave up is passed by, and nothing is kept of a place afterwards.
func TestTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var turn turns
		var order []int // guarded by the turn
		first, err := turn.take(t.Context(), "21")
		if err != nil {
			t.Fatal(err)
		}
		over, cancel := context.WithCancel(t.Context())
		for i := range 10 {
			go func() {
				ctx := t.Context()
				if i == 7 {
					ctx = over
				}
				done, err := turn.take(ctx, "21")
				if (err != nil) != (i == 7) {
					t.Errorf("%d: %v", i, err)
				}
				if err == nil {
					order = append(order, i)
					done()
				}
			}()
			synctest.Wait() // in line
		}
		cancel()
		synctest.Wait()
		first()
		synctest.Wait()
		if got := fmt.Sprint(order); got != "[0 1 2 3 4 5 6 8 9]" || len(turn.last) != 0 {
			t.Errorf("order %s, %d places kept", got, len(turn.last))
		}
	})
}
