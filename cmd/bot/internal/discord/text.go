package discord

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"drumhead/commands/chat"
)

// mostText is what one message holds, in code points and after escaping
// (documentation, "Create Message").
const mostText = 2000

const fence = "```"

// text is the lines of a post as Discord's text. Lines that stand in columns go
// into a code block, where they stay aligned. Who is notified and stands in no
// line is named at the end, because Discord notifies nobody who is not named.
func text(p chat.Post) string {
	var out []string
	inside := false
	for _, line := range p.Lines {
		if columns := inColumns(line); columns != inside {
			out, inside = append(out, fence), columns
		}
		if inside {
			out = append(out, bare(line, inCode))
		} else {
			out = append(out, marked(line))
		}
	}
	if inside {
		out = append(out, fence)
	}
	if names := unnamed(p); names != nil {
		out = append(out, strings.Join(names, " "))
	}
	return strings.Join(out, "\n")
}

// fits tells whether a text goes into one message.
func fits(text string) bool { return utf8.RuneCountInString(text) <= mostText }

// asFile is a post as a text file, for one that is too long: nothing is
// escaped, and times are in UTC.
func asFile(p chat.Post) string {
	var out []string
	for _, line := range p.Lines {
		out = append(out, bare(line, inFile))
	}
	return strings.Join(out, "\n") + "\n"
}

// marked is a line in Discord's markup.
func marked(line chat.Line) string {
	var b strings.Builder
	for _, s := range line {
		switch s.Kind {
		case chat.Who:
			if id, ok := userID(s.Person); ok {
				b.WriteString(mention(id))
			} else {
				b.WriteString(escape(harmless(s.Text)))
			}
		case chat.When:
			fmt.Fprintf(&b, "<t:%d:f>", s.Time.Unix())
		case chat.Number:
			b.WriteString(escape(fmt.Sprintf("#%d%s", s.Entry, s.Text)))
		case chat.Command, chat.Code:
			b.WriteString(code(s.Text))
		case chat.Said:
			b.WriteString(escape(harmless(s.Text)))
		default:
			b.WriteString(escape(s.Text))
		}
	}
	return b.String()
}

// kind of text without markup.
type kind int

const (
	inCode kind = iota
	inFile
)

// bare is a line without markup: in a code block, or in a file.
func bare(line chat.Line, k kind) string {
	var b strings.Builder
	for _, s := range line {
		switch s.Kind {
		case chat.When:
			b.WriteString(s.Time.UTC().Format("2006-01-02 15:04 UTC"))
		case chat.Number:
			fmt.Fprintf(&b, "#%d%s", s.Entry, plain(s.Text))
		case chat.Said, chat.Who:
			b.WriteString(harmless(s.Text))
		default:
			b.WriteString(plain(s.Text))
		}
	}
	if k == inCode {
		return quoted(b.String())
	}
	return b.String()
}

// inColumns tells whether parts of a line stand below those of its neighbours:
// two spaces side by side after the first word.
func inColumns(line chat.Line) bool {
	return strings.Contains(strings.TrimLeft(bare(line, inFile), " "), "  ")
}

func mention(id string) string { return "<@" + id + ">" }

// unnamed are the mentions of those notified who stand in no line as a mention.
func unnamed(p chat.Post) []string {
	var out []string
	for _, who := range p.Notify {
		id, ok := userID(who)
		if ok && !slices.ContainsFunc(p.Lines, func(l chat.Line) bool {
			return !inColumns(l) && slices.ContainsFunc(l, func(s chat.Span) bool { return s.Kind == chat.Who && s.Person == who })
		}) {
			out = append(out, mention(id))
		}
	}
	return out
}

// userID is Discord's id of a person of ours.
func userID(p chat.Person) (string, bool) { return snowflakeOf(string(p)) }

func snowflakeOf(ours string) (string, bool) {
	id, ok := strings.CutPrefix(ours, Name+":")
	return id, ok && id != "" && strings.Trim(id, "0123456789") == "" && created(id) != time.Time{}
}
