//go:build goolm

package matrixtest

import (
	"fmt"
	"html"
	"regexp"
	"slices"
	"strings"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
	"drumhead/commands/chatscript"
)

// Shown returns what people's clients show since it was last asked, in the order
// in which the bot sent it; within a room that is the order in which it came.
func (g *Stage) Shown() (all []chatscript.Shown) {
	g.t.Helper()
	for {
		g.mu.Lock()
		if g.taken == len(g.notes) {
			g.mu.Unlock()
			return all
		}
		n := g.notes[g.taken]
		g.taken++
		g.mu.Unlock()
		all = append(all, g.shown(n.post))
	}
}

// reader is whose client is looked at.
func (g *Stage) reader(p chat.Post) *Person {
	for _, one := range g.people {
		if p.To.Only == chat.Person("matrix:"+string(one.Cli.UserID)) {
			return one
		}
	}
	for name, rid := range g.rooms {
		if p.To.Place == placeOf(rid) && name[0] == '@' {
			return g.people[name[1:]]
		}
	}
	return g.keeper
}

const postMark = "org.drumhead.post"

// shownTo waits until somebody's client shows a post.
func (g *Stage) shownTo(p *Person, post chat.Post) *event.Event {
	g.t.Helper()
	return p.Await("post "+string(post.ID), func(e *event.Event) bool {
		mark, _ := e.Content.Raw[postMark].(string)
		return e.Sender == g.Bot && mark == string(post.ID) && e.Content.AsMessage().MsgType == event.MsgNotice
	})
}

// shown is a post as its reader's client shows it.
func (g *Stage) shown(p chat.Post) chatscript.Shown {
	g.t.Helper()
	who := g.reader(p)
	e := g.shownTo(who, p)
	c := e.Content.AsMessage()
	s := chatscript.Shown{Place: g.placeName(e.RoomID), Edit: c.RelatesTo.GetReplaceID() != ""}
	if s.Place[0] == '@' {
		s.Place, s.Only = chatscript.Direct, s.Place[1:]
		if about, ok := e.Content.Raw["org.drumhead.place"].(string); ok {
			s.Place = "#" + about
			for name, rid := range g.rooms {
				if string(placeOf(rid)) == about {
					s.Place = name
				}
			}
			if s.Place[0] == '@' {
				s.Place = chatscript.Direct
			}
		}
	}
	if !e.Mautrix.WasEncrypted {
		g.t.Errorf("post %s came unencrypted", p.ID)
	}
	if c.NewContent != nil {
		c = c.NewContent
	}
	s.Lines = g.lines(c, len(p.Choices) > 0)
	if len(p.Choices) > 0 {
		s.Choices = choicesOf(s.Lines[len(s.Lines)-1])
		s.Lines = s.Lines[:len(s.Lines)-1]
	}
	g.unnamed(p, &s)
	for _, r := range p.Pictures {
		s.Pictures = append(s.Pictures, g.attached(who, p, event.MsgImage, r))
	}
	for _, r := range p.Files {
		s.Files = append(s.Files, g.fileName(g.attached(who, p, event.MsgFile, r)))
	}
	return s
}

// unnamed moves those who are named at the end only to be notified.
func (g *Stage) unnamed(p chat.Post, s *chatscript.Shown) {
	if len(p.Notify) == 0 || len(s.Lines) <= len(p.Lines) {
		return
	}
	for name := range strings.FieldsSeq(s.Lines[len(s.Lines)-1]) {
		s.Notify = append(s.Notify, strings.TrimPrefix(name, "@"))
	}
	s.Lines = s.Lines[:len(s.Lines)-1]
}

// attached waits for a picture or a file of a post, and says what it is called.
func (g *Stage) attached(who *Person, p chat.Post, kind event.MessageType, r chat.Recipe) string {
	g.t.Helper()
	var c *event.MessageEventContent
	who.Await(fmt.Sprintf("%s of %s", r.Name, p.ID), func(e *event.Event) bool {
		mark, _ := e.Content.Raw[postMark].(string)
		if c = e.Content.AsMessage(); c.NewContent != nil {
			c = c.NewContent
		}
		// what an edit leaves as it is stays where it is
		ours := e.Sender == g.Bot && (mark == string(p.ID) || p.Edit != "" && (kind != event.MsgImage || c.Body == r.Alt))
		return ours && c.MsgType == kind && c.GetFileName() == r.Name
	})
	if c.File == nil || c.URL != "" {
		g.t.Errorf("%s of %s is not encrypted", r.Name, p.ID)
	}
	if kind == event.MsgImage {
		return c.Body
	}
	return c.GetFileName()
}

// fileName is a file's name with that of its place for the room's id.
func (g *Stage) fileName(name string) string {
	for place, rid := range g.rooms {
		local, _, _ := strings.Cut(strings.ToLower(string(rid)), ":")
		if place[0] == '#' {
			name = strings.ReplaceAll(name, regexp.MustCompile("[^a-z0-9-]").ReplaceAllString(local, ""), place[1:])
		}
	}
	return name
}

func (g *Stage) placeName(rid id.RoomID) string {
	for name, r := range g.rooms {
		if r == rid {
			return name
		}
	}
	for name, p := range g.people { // a room that the bot made
		if slices.Contains(p.rooms(), rid) {
			return "@" + name
		}
	}
	return "#" + string(rid)
}

// rooms are those that somebody's client knows.
func (p *Person) rooms() (list []id.RoomID) {
	for _, e := range p.Events() {
		if !slices.Contains(list, e.RoomID) {
			list = append(list, e.RoomID)
		}
	}
	return list
}

var (
	pillForm = regexp.MustCompile(`<a href="https://matrix\.to/#/(@[^"]+)">([^<]*)</a>`)
	codeForm = regexp.MustCompile(`<code>!([^<]*)</code>`)
	tagForm  = regexp.MustCompile(`</?(?:pre|code|strong|em|p|a)[^>]*>`)
	pickForm = regexp.MustCompile(`\[\d+\] `)
)

// lines reads a message's HTML, and holds its plain text against it: both must
// say the same.
func (g *Stage) lines(c *event.MessageEventContent, _ bool) []string {
	g.t.Helper()
	if c.Format != event.FormatHTML || c.Mentions == nil {
		g.t.Errorf("no HTML, or no word on who is notified: %+v", c)
	}
	read := func(pill, code string) string {
		t := strings.ReplaceAll(c.FormattedBody, "<br>", "\n")
		t = regexp.MustCompile(`([^\n])<pre>`).ReplaceAllString(t, "$1\n<pre>")
		t = regexp.MustCompile(`</pre>(.)`).ReplaceAllString(t, "</pre>\n$1")
		t = pillForm.ReplaceAllString(t, pill)
		t = codeForm.ReplaceAllString(t, code)
		return strings.ReplaceAll(html.UnescapeString(tagForm.ReplaceAllString(t, "")), "\u00a0", " ")
	}
	if plain := read("$2", "!$1"); plain != strings.ReplaceAll(c.Body, "\u00a0", " ") {
		g.t.Errorf("HTML and plain text differ:\n%q\n%q", plain, c.Body)
	}
	for _, pill := range pillForm.FindAllStringSubmatch(c.FormattedBody, -1) {
		if c.RelatesTo.GetReplaceID() == "" && !c.Mentions.Has(id.UserID(pill[1])) && len(c.Mentions.UserIDs) > 0 {
			g.t.Errorf("%s is named as if notified", pill[1])
		}
	}
	text := read("\x01$1\x02", "/$1")
	text = regexp.MustCompile("\x01@([^:]+):[^\x02]*\x02").ReplaceAllString(text, "@$1")
	return strings.Split(text, "\n")
}

// choicesOf reads the line that says what can be answered.
func choicesOf(line string) (labels []string) {
	_, list, _ := strings.Cut(line, ": ")
	for _, part := range pickForm.Split(list, -1)[1:] {
		labels = append(labels, strings.TrimSuffix(part, " · "))
	}
	return labels
}

// Quiet waits a little and tells whether nothing new came to somebody meanwhile.
func (p *Person) Quiet(d time.Duration) bool {
	before := len(p.Events())
	time.Sleep(d)
	return len(p.Events()) == before
}
