package matrix

import (
	"fmt"
	"html"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"drumhead/commands/chat"
)

// page is a post as Matrix shows it: plain, and the same as HTML of a few tags.
type page struct {
	Plain    string
	HTML     string
	Mentions []string // users who are notified
}

// pen writes posts. It knows how a command begins here, whom an id means, and
// the few words that are the platform's.
type pen struct {
	prefix string
	name   func(user string) string
	say    func(id string, slots ...any) string
}

// page writes a post. Lines that stand in columns become a block of code, where
// they stay aligned.
func (w pen) page(p chat.Post) page {
	var plain, rich []string
	inside := false
	for _, line := range p.Lines {
		bare, marked := w.line(p, line)
		if columns := inColumns(bare); columns {
			if marked = html.EscapeString(bare); !inside {
				marked = "<pre><code>" + marked
			}
			inside = true
		} else if inside {
			rich[len(rich)-1] += "</code></pre>"
			inside = false
		}
		plain, rich = append(plain, bare), append(rich, marked)
	}
	if inside {
		rich[len(rich)-1] += "</code></pre>"
	}
	if names := w.unnamed(p); names != nil {
		var bare, marked []string
		for _, u := range names {
			bare, marked = append(bare, harmless(w.name(u))), append(marked, w.pill(u, w.name(u)))
		}
		plain, rich = append(plain, strings.Join(bare, " ")), append(rich, strings.Join(marked, " "))
	}
	if c := w.choices(p); c != "" {
		plain, rich = append(plain, c), append(rich, html.EscapeString(c))
	}
	return page{strings.Join(plain, "\n"), joinHTML(rich), w.mentions(p)}
}

// joinHTML puts a break between lines, but none beside a block of code, and a
// line end inside it.
func joinHTML(lines []string) string {
	var b strings.Builder
	inside := false
	for i, l := range lines {
		opens := strings.HasPrefix(l, "<pre>")
		if i > 0 {
			switch {
			case inside:
				b.WriteString("\n")
			case opens && lines[i-1] != "" || strings.HasSuffix(lines[i-1], "</pre>") && l != "":
			default:
				b.WriteString("<br>")
			}
		}
		b.WriteString(l)
		inside = (inside || opens) && !strings.HasSuffix(l, "</pre>")
	}
	return b.String()
}

// inColumns tells whether parts of a line stand below those of its neighbours:
// two spaces side by side after the first word.
func inColumns(bare string) bool { return strings.Contains(strings.TrimLeft(bare, " "), "  ") }

// line writes one line, plain and as HTML.
func (w pen) line(p chat.Post, line chat.Line) (bare, marked string) {
	var b, m strings.Builder
	put := func(plain, rich string) {
		b.WriteString(plain)
		m.WriteString(rich)
	}
	for _, s := range line {
		switch s.Kind {
		case chat.Who:
			w.who(p, s, put)
		case chat.When:
			t := when(s)
			put(t, html.EscapeString(t))
		case chat.Number:
			t := fmt.Sprintf("#%d%s", s.Entry, harmless(s.Text))
			put(t, html.EscapeString(t))
		case chat.Command:
			t := w.command(s.Text)
			put(t, code(t))
		case chat.Code:
			t := harmless(s.Text)
			put(t, code(t))
		case chat.Plain:
			w.own(harmless(s.Text), put)
		default:
			t := harmless(s.Text)
			put(t, html.EscapeString(t))
		}
	}
	marked = m.String()
	if trimmed := strings.TrimLeft(marked, " "); trimmed != marked { // HTML forgets spaces
		marked = strings.Repeat("\u00a0", len(marked)-len(trimmed)) + trimmed
	}
	return b.String(), marked
}

func code(t string) string {
	if t == "" {
		return ""
	}
	return "<code>" + html.EscapeString(t) + "</code>"
}

// commandForm is a command within a sentence of the bot's own.
var commandForm = regexp.MustCompile(`(^|[\s("])(/[a-z]+)\b`)

// own writes words of the bot's own. The commands in them stand as they are typed
// here: what begins with a slash many clients keep for themselves.
func (w pen) own(t string, put func(plain, rich string)) {
	from := 0
	for _, at := range commandForm.FindAllStringSubmatchIndex(t, -1) {
		before, command := t[from:at[4]], w.command(t[at[4]:at[5]])
		put(before+command, html.EscapeString(before)+code(command))
		from = at[1]
	}
	put(t[from:], html.EscapeString(t[from:]))
}

// command is something to type, as it is typed here.
func (w pen) command(text string) string {
	t := harmless(text)
	if after, ok := strings.CutPrefix(t, "/"); ok {
		return w.prefix + after
	}
	return t
}

// who names a person: as a mention if they are notified, in plain words if not,
// because a mention alone makes some clients ring.
func (w pen) who(p chat.Post, s chat.Span, put func(plain, rich string)) {
	user, known := readPerson(s.Person)
	name := harmless(s.Text)
	if name == "" && known {
		name = harmless(w.name(user))
	}
	if known && slices.Contains(p.Notify, s.Person) {
		put(name, w.pill(user, name))
		return
	}
	put(name, html.EscapeString(name))
}

func (w pen) pill(user, name string) string {
	return `<a href="https://matrix.to/#/` + html.EscapeString(url.PathEscape(user)) + `">` + html.EscapeString(harmless(name)) + `</a>`
}

// mentions are the users who are notified.
func (w pen) mentions(p chat.Post) (users []string) {
	for _, who := range p.Notify {
		if u, ok := readPerson(who); ok && !slices.Contains(users, u) {
			users = append(users, u)
		}
	}
	return users
}

// unnamed are those notified who stand in no line as a mention.
func (w pen) unnamed(p chat.Post) (users []string) {
	for _, who := range p.Notify {
		u, ok := readPerson(who)
		if ok && !slices.ContainsFunc(p.Lines, func(l chat.Line) bool {
			bare, _ := w.line(p, l)
			return !inColumns(bare) && slices.ContainsFunc(l, func(s chat.Span) bool { return s.Kind == chat.Who && s.Person == who })
		}) {
			users = append(users, u)
		}
	}
	return users
}

// mostLabel is how long a choice's label is, in characters.
const mostLabel = 80

func label(c chat.Choice) string {
	if l := strings.TrimSpace(cutTo(harmless(c.Label), mostLabel)); l != "" {
		return l
	}
	return strconv.Itoa(c.Number)
}

// choices is the line that says what can be answered, "" if nothing can.
func (w pen) choices(p chat.Post) string {
	var list []string
	for _, c := range p.Choices {
		list = append(list, fmt.Sprintf("[%d] %s", c.Number, label(c)))
	}
	if list == nil {
		return ""
	}
	return w.say("matrix.pick", "choices", strings.Join(list, " · "))
}

// when is a time in the zone of the person whom it is for, named by its city.
func when(s chat.Span) string {
	zone, city := time.UTC, "UTC"
	if z, err := time.LoadLocation(s.Zone); err == nil && s.Zone != "" {
		zone, city = z, s.Zone[strings.LastIndexByte(s.Zone, '/')+1:]
	}
	return s.Time.In(zone).Format("Mon 2 Jan 15:04 ") + strings.ReplaceAll(city, "_", " ")
}
