//go:build goolm

package matrix

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
)

// colours makes of each recipe a picture of its own.
type colours struct{}

func (colours) Make(_ context.Context, r chat.Recipe) ([]byte, error) {
	m := image.NewRGBA(image.Rect(0, 0, 2, 2))
	for i, c := range []byte(r.Alt + "    ")[:4] {
		m.Set(i%2, i/2, color.RGBA{c, c, c, 255})
	}
	var b bytes.Buffer
	err := png.Encode(&b, m)
	return b.Bytes(), err
}

// board is a post with pictures, known by their alt texts.
func board(rid, pid, edit string, alts ...string) chat.Post {
	p := chat.Post{ID: chat.PostID(pid), Edit: chat.PostID(edit), To: chat.Destination{Place: placeOf(rid, "")}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: "board " + pid}}}}
	for _, alt := range alts {
		p.Pictures = append(p.Pictures, chat.Recipe{Kind: "table", Name: "table.png", Alt: alt})
	}
	return p
}

// present are the captions of the pictures that somebody at matrix-js-sdk sees, once
// they are as wanted or do not become so.
func present(b *bot, ann *matrixtest.Script, room string, want string) (got string, pictures []matrixtest.Seen) {
	for range 100 {
		pictures = nil
		var captions []string
		for _, e := range ann.Shows(room) {
			var c struct{ MsgType string }
			if json.Unmarshal(e.Content, &c); c.MsgType == string(event.MsgImage) && e.Sender == string(b.user) { //nolint:errcheck // another type is no picture
				captions, pictures = append(captions, e.Body()), append(pictures, e)
			}
		}
		if got = strings.Join(captions, ", "); got == want {
			return got, pictures
		}
		time.Sleep(100 * time.Millisecond)
	}
	return got, pictures
}

// TestEditedPictures: who looks at an edited post sees the pictures that it has now,
// where they were, and no others; matrix-js-sdk opens the new ones.
func TestEditedPictures(t *testing.T) {
	_, b, ann, fen := club(t, func(b *bot) { b.parts.Make = colours{} })
	shieldless(t, b, ann, fen, "before")
	var place string
	for _, c := range []struct{ post, edit, alts, kept string }{
		{"b/1", "", "turn 1", ""},
		{"b/2", "b/1", "turn 2", "its place"},
		{"b/3", "b/1", "turn 2, of it all", "its place"}, // one stays, one more
		{"b/4", "b/1", "turn 2", "its place"},
		{"b/5", "b/1", "", ""},
		{"b/6", "b/1", "turn 6", ""},
		{"b/7", "b/6", "turn 7", ""}, // an edit of an edit
	} {
		var alts []string
		if c.alts != "" {
			alts = strings.Split(c.alts, ", ")
		}
		p := board(fen, c.post, c.edit, alts...)
		if _, err := b.Send(t.Context(), p); err != nil {
			t.Fatal(err)
		}
		got, pictures := present(b, ann, fen, c.alts)
		if got != c.alts {
			t.Fatalf("after %s one sees %q, want %q", c.post, got, c.alts)
		}
		if c.kept != "" && pictures[0].ID != place {
			t.Errorf("the picture of %s does not stand where that of %s did", c.post, c.edit)
		}
		for i, e := range pictures {
			place = pictures[0].ID
			var m struct {
				File json.RawMessage `json:"file"`
				URL  string          `json:"url"`
			}
			if err := json.Unmarshal(e.Content, &m); err != nil || m.URL != "" || !e.Encrypted {
				t.Fatalf("%s is shown as %s", c.post, e.Content)
			}
			var opened string
			ann.Do("picture", map[string]any{"file": m.File}, &opened)
			want, _ := colours{}.Make(t.Context(), p.Pictures[i])
			if opened != base64.StdEncoding.EncodeToString(want) {
				t.Errorf("%s shows other bytes than %s", c.post, p.Pictures[i].Alt)
			}
		}
	}
	// Sent once more, as after a crash before it was noted, an older edit changes nothing.
	if _, err := b.Send(t.Context(), board(fen, "b/3", "b/1", "turn 2", "of it all")); err != nil {
		t.Fatal(err)
	}
	shieldless(t, b, ann, fen, "after")
	if got, _ := present(b, ann, fen, "turn 7"); got != "turn 7" {
		t.Errorf("one sees %q at the end", got)
	}
}

// TestEditedPictureOnce: whatever becomes of the requests, the picture of an edit
// comes once and the one that is no more goes; across a restart too.
func TestEditedPictureOnce(t *testing.T) {
	_, l, p, ann, fen := lane(t, func(b *bot) { b.parts.Make = colours{} })
	seen := func() (pictures, gone int) {
		for _, e := range ann.Events() {
			if e.Sender != p.b.user {
				continue
			}
			if c, ok := e.Content.Parsed.(*event.MessageEventContent); ok && c.MsgType == event.MsgImage {
				pictures++
			}
			if e.Type.Type == event.EventRedaction.Type {
				gone++
			}
		}
		return pictures, gone
	}
	post := func(post chat.Post) {
		p.mu.Lock()
		p.posts = append(p.posts, post)
		p.mu.Unlock()
		p.b.nudge()
	}
	room := string(fen)
	post(board(room, "b/1", "", "turn 1"))
	once(t, ann, p.b.user, "board b/1")
	l.tell(nil, taken(lost)) // the words arrive, the answer about the picture does not
	post(board(room, "b/2", "b/1", "turn 2"))
	told := func() bool { l.mu.Lock(); defer l.mu.Unlock(); return len(l.lies) == 0 }
	until(t, "the lie is told", told)
	p.b.stop()
	p.b.run(t)
	until(t, "the picture is edited", func() bool { n, _ := seen(); return n >= 2 })
	l.tell(nil, lost, status(502, "<html>"))
	post(board(room, "b/3", "b/1", "turn 3"))
	until(t, "the picture is edited again", func() bool { n, _ := seen(); return n >= 3 })
	post(board(room, "b/4", "b/1"))
	until(t, "the picture is taken away", func() bool { _, n := seen(); return n >= 1 })
	p.add(fen, "last")
	once(t, ann, p.b.user, "last")
	if pictures, gone := seen(); pictures != 3 || gone != 1 {
		t.Errorf("%d pictures came and %d went, want 3 and 1", pictures, gone)
	}
	var left beside
	d, _, err := p.b.sent(txnOf(fen, "b/1", 0))
	if ok, _ := p.b.keep.read(besideKey(fen, d.root()), &left); ok || err != nil {
		t.Errorf("remembered %+v, %v", left, err)
	}
	waiting := []string{}
	until(t, "nothing waits for an echo", func() bool {
		waiting = waiting[:0]
		_ = p.b.keep.scan("pend"+sep, func(_ string, b []byte) error { waiting = append(waiting, string(b)); return nil })
		return len(waiting) == 0
	})
}

// TestHiddenWordsInAFile: a file that changes, and one that was too long for a
// message, are taken away where a post is edited, and the new ones come.
func TestHiddenWordsInAFile(t *testing.T) {
	_, _, p, ann, fen := lane(t, func(b *bot) { b.parts.Make = painter{[]byte("report one")} })
	long := func(word string) (lines []chat.Line) {
		for n := range 2000 {
			lines = append(lines, chat.Line{{Kind: chat.Plain, Text: fmt.Sprintf("%s %d herons at the weir", word, n)}})
		}
		return lines
	}
	post := chat.Post{ID: "f/1", To: chat.Destination{Place: placeOf(string(fen), "")}, Entry: -1, Lines: long("rude"), Files: []chat.Recipe{{Kind: "report", Name: "report.txt"}}}
	if _, err := p.b.Send(t.Context(), post); err != nil {
		t.Fatal(err)
	}
	p.b.Adapter.parts.Make = painter{[]byte("report two")}
	post.ID, post.Edit, post.Lines = "f/2", "f/1", long("hidden")
	if _, err := p.b.Send(t.Context(), post); err != nil {
		t.Fatal(err)
	}
	file := func(e *event.Event) bool {
		c, ok := e.Content.Parsed.(*event.MessageEventContent)
		return ok && e.Sender == p.b.user && c.MsgType == event.MsgFile
	}
	until(t, "files come and go", func() bool {
		came, gone := map[id.EventID]string{}, 0
		for _, e := range ann.Events() {
			if file(e) {
				mark, _ := e.Content.Raw[postMark].(string)
				came[e.ID] = mark
			}
			if e.Type.Type == event.EventRedaction.Type && e.Sender == p.b.user {
				if came[e.Redacts] != "f/1" {
					t.Fatalf("%s was taken away, of %q", e.Redacts, came[e.Redacts])
				}
				gone++
			}
		}
		return len(came) == 4 && gone == 2
	})
}
