package terminal

import (
	"fmt"
	"strings"
	"time"
	"unicode"

	"drumhead/commands/chat"
	"drumhead/commands/chatscript"

	"golang.org/x/text/width"
)

// text turns a line's spans into text that can do no harm on a screen.
func (t *Terminal) text(p chat.Post, line chat.Line) string {
	var b strings.Builder
	for _, s := range line {
		switch s.Kind {
		case chat.Who:
			b.WriteString(harmless(t.who(p, s)))
		case chat.When:
			b.WriteString(t.when(s))
		case chat.Number:
			fmt.Fprintf(&b, "#%d%s", s.Entry, harmless(s.Text))
		default:
			b.WriteString(harmless(s.Text))
		}
	}
	return b.String()
}

// who is a person's name, with an @ before the short one if they are notified.
func (t *Terminal) who(p chat.Post, s chat.Span) string {
	for _, n := range p.Notify {
		if n == s.Person {
			return "@" + personName(s.Person)
		}
	}
	if s.Text != "" {
		return s.Text
	}
	if name := t.names[s.Person]; name != "" {
		return name
	}
	return capital(personName(s.Person))
}

// when is a time in the zone of the person whom it is for, named by its city.
func (t *Terminal) when(s chat.Span) string {
	zone, city := t.Zone, t.Zone.String()
	if s.Zone != "" {
		if z, err := time.LoadLocation(s.Zone); err == nil {
			zone, city = z, s.Zone
		}
	}
	city = strings.ReplaceAll(city[strings.LastIndexByte(city, '/')+1:], "_", " ")
	return s.Time.In(zone).Format("Mon 2 Jan 15:04 ") + city
}

// unnamed lists those notified who stand in no line, by their short names.
func unnamed(p chat.Post) []string {
	var out []string
next:
	for _, n := range p.Notify {
		for _, line := range p.Lines {
			for _, s := range line {
				if s.Kind == chat.Who && s.Person == n {
					continue next
				}
			}
		}
		out = append(out, personName(n))
	}
	return out
}

// shown is a post in the form of a chat script.
func (t *Terminal) shown(p chat.Post) chatscript.Shown {
	s := chatscript.Shown{Place: placeName(p.To), Only: onlyName(p.To), Edit: p.Edit != "", Notify: unnamed(p)}
	for _, line := range p.Lines {
		s.Lines = append(s.Lines, t.text(p, line))
	}
	for _, c := range p.Choices {
		s.Choices = append(s.Choices, harmless(c.Label))
	}
	for _, r := range p.Pictures {
		s.Pictures = append(s.Pictures, harmless(r.Alt))
	}
	for _, r := range p.Files {
		s.Files = append(s.Files, chat.FileName(r.Name))
	}
	return s
}

// page is a post as a person reads it: where, for whom, the lines, the choices
// by number, and where its pictures and files lie.
func (t *Terminal) page(p chat.Post, m made) string {
	var b strings.Builder
	s := t.shown(p)
	b.WriteString(s.Place)
	switch {
	case s.Only != "" && s.Only == personName(person(t.As)):
		b.WriteString(" " + t.Say("terminal.onlyyou"))
	case s.Only != "":
		b.WriteString(" " + t.Say("terminal.only", "name", s.Only))
	}
	if s.Edit {
		b.WriteString(" " + t.Say("terminal.edit"))
	}
	b.WriteString("\n")
	for _, line := range s.Lines {
		t.put(&b, line)
	}
	var row []string
	for _, name := range s.Notify {
		row = append(row, "@"+name)
	}
	for i, label := range s.Choices {
		row = append(row, fmt.Sprintf("[%d] %s", p.Choices[i].Number, label))
	}
	if row != nil {
		t.put(&b, strings.Join(row, "\u00a0 ")) // wrapped between choices, never taken for columns
	}
	for _, f := range append(m.pictures, m.files...) {
		t.put(&b, f.line(t))
	}
	b.WriteString("\n")
	return b.String()
}

const indent = "  "

// put writes one line, wrapped at the terminal's width.
func (t *Terminal) put(b *strings.Builder, line string) {
	room := 0
	if t.Width != nil {
		room = t.Width()
	}
	for i, part := range wrap(line, room-2*len(indent)) {
		if i > 0 {
			b.WriteString(indent)
		}
		b.WriteString(strings.TrimRight(indent+strings.ReplaceAll(part, "\u00a0", " "), " ") + "\n")
	}
}

// leastRoom is the narrowest that text is wrapped at.
const leastRoom = 20

// wrap breaks a line at its spaces so that no part is wider than room columns.
// A line with columns in it, that is with two spaces side by side after its
// first word, is never broken; nor is any line if room is too small.
func wrap(line string, room int) []string {
	trimmed := strings.TrimLeft(line, " ")
	if room < leastRoom || columns(line) <= room || strings.Contains(trimmed, "  ") {
		return []string{line}
	}
	lead := line[:len(line)-len(trimmed)]
	var out []string
	now := lead
	for _, word := range strings.Split(trimmed, " ") {
		switch {
		case now == lead && out == nil, now == "":
			now += word
		case columns(now)+1+columns(word) <= room:
			now += " " + word
		default:
			out = append(out, now)
			now = word
		}
	}
	return append(out, now)
}

// columns is how wide a text is on a screen: two for the wide letters of East
// Asia (Unicode UAX #11), none for marks above another letter.
func columns(s string) int {
	n := 0
	for _, r := range s {
		switch k := width.LookupRune(r).Kind(); {
		case unicode.Is(unicode.Mn, r), unicode.Is(unicode.Me, r), unicode.Is(unicode.Cf, r):
		case k == width.EastAsianWide, k == width.EastAsianFullwidth:
			n += 2
		default:
			n++
		}
	}
	return n
}

// harmless shows what could command a screen, or turn text round so that it
// reads as another, by its number: control characters, marks of direction,
// separators of lines, private tags. It leaves all else as it is.
func harmless(s string) string {
	if strings.IndexFunc(s, harms) < 0 {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\n', r == '\t', r == '\r':
			b.WriteByte(' ')
		case harms(r):
			fmt.Fprintf(&b, "<%U>", r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

func harms(r rune) bool {
	switch {
	case unicode.IsControl(r), unicode.Is(unicode.Bidi_Control, r),
		r == '\u2028', r == '\u2029', r == '\ufeff',
		r >= '\ufff9' && r <= '\ufffb', r >= 0xE0000 && r <= 0xE007F:
		return true
	}
	return false
}
