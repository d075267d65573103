package discordtest

import (
	"strconv"
	"strings"
	"time"
	"unicode"

	"drumhead/commands/chatscript"
)

// Shown is what people were shown since it was last asked.
func (g *Stage) Shown() []chatscript.Shown {
	all := g.Server.Seen()
	var out []chatscript.Shown
	for _, m := range all[g.seen:] {
		out = append(out, g.shown(m))
	}
	g.seen = len(all)
	return out
}

// textFile holds a text that was too long for a message.
const textFile = "post.txt"

// shown is a message in the form of a script.
func (g *Stage) shown(m Seen) chatscript.Shown {
	out := chatscript.Shown{Place: g.placeName(m.Channel), Only: g.name(m.Only), Edit: m.Edit}
	if out.Place == "" {
		out.Place, out.Only = chatscript.Direct, g.name(g.Server.Channel(m.Channel).Person)
	}
	notified := map[string]bool{}
	mentions, _ := m.Body["allowed_mentions"].(map[string]any)
	users, _ := mentions["users"].([]any)
	for _, u := range users {
		if id, ok := u.(string); ok {
			notified[id] = true
		}
	}
	lines := strings.Split(m.Content(), "\n")
	if last := mentionsOnly(lines[len(lines)-1]); last != nil && notified[last[0]] {
		lines = lines[:len(lines)-1]
		for _, id := range last {
			out.Notify = append(out.Notify, g.name(id))
		}
	}
	code := false
	for _, l := range lines {
		switch {
		case l == "```":
			code = !code
		case code:
			out.Lines = append(out.Lines, l)
		default:
			out.Lines = append(out.Lines, g.client(l, notified))
		}
	}
	buttons(m.Message, func(label, _ string) bool {
		out.Choices = append(out.Choices, label)
		return false
	})
	for _, a := range m.Attachments {
		switch {
		case a.Description != "":
			out.Pictures = append(out.Pictures, a.Description)
		case a.Name == textFile:
			out.Lines = strings.Split(strings.TrimSuffix(string(a.Bytes), "\n"), "\n")
		default:
			out.Files = append(out.Files, g.fileName(a.Name, m.Channel))
		}
	}
	return out
}

// fileName is the name of a file with the name of its channel in place of the
// channel's id, which a script does not know.
func (g *Stage) fileName(name, channel string) string {
	g.mu.Lock()
	defer g.mu.Unlock()
	for place, id := range g.places {
		name = strings.ReplaceAll(name, id, strings.TrimPrefix(place, "#"))
	}
	return name
}

func (g *Stage) placeName(channel string) string {
	if parent := g.Server.Channel(channel).Parent; parent != "" {
		channel = parent // what stands in a thread is said in its place
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	for name, id := range g.places {
		if id == channel {
			return name
		}
	}
	return ""
}

// name is the name of a person by id.
func (g *Stage) name(id string) string {
	g.mu.Lock()
	defer g.mu.Unlock()
	for name, have := range g.people {
		if have == id {
			return name
		}
	}
	return ""
}

// mentionsOnly are the ids of a line of nothing but mentions, nil for another.
func mentionsOnly(line string) []string {
	var ids []string
	for _, w := range strings.Fields(line) {
		id, ok := strings.CutPrefix(w, "<@")
		if !ok || !strings.HasSuffix(id, ">") {
			return nil
		}
		ids = append(ids, strings.TrimSuffix(id, ">"))
	}
	return ids
}

// client is a line of text outside code as a client shows it: mentions as names,
// times in somebody's zone, escapes without their backslash. A sign that would be
// markup and is not escaped fails the test.
func (g *Stage) client(line string, notified map[string]bool) string {
	var b strings.Builder
	for line != "" {
		switch {
		case line[0] == '\\' && len(line) > 1:
			b.WriteByte(line[1])
			line = line[2:]
		case strings.HasPrefix(line, "<@"):
			id, rest, _ := strings.Cut(line[2:], ">")
			b.WriteString(g.mention(id, notified))
			line = rest
		case strings.HasPrefix(line, "<t:"):
			at, rest, _ := strings.Cut(line[3:], ":f>")
			b.WriteString(g.time(at))
			line = rest
		case line[0] == '`':
			text, rest, _ := strings.Cut(line[1:], "`")
			b.WriteString(text)
			line = rest
		default:
			r := []rune(line)[0]
			if r < unicode.MaxASCII && (unicode.IsPunct(r) || unicode.IsSymbol(r)) && !strings.ContainsRune("',&/%", r) {
				g.tb.Errorf("markup came through: %q in %q", r, line)
			}
			b.WriteRune(r)
			line = line[len(string(r)):]
		}
	}
	return b.String()
}

func (g *Stage) mention(id string, notified map[string]bool) string {
	name := g.name(id)
	switch {
	case name == "":
		return "<@" + id + ">"
	case notified[id]:
		return "@" + name
	}
	return strings.ToUpper(name[:1]) + name[1:]
}

// time is a time in the zone of the person whom the post is for, which a script
// writes and each reader's own client shows.
func (g *Stage) time(unix string) string {
	n, err := strconv.ParseInt(unix, 10, 64)
	if err != nil {
		g.tb.Errorf("%q is no time", unix)
	}
	g.mu.Lock()
	zone := g.zones[n]
	g.mu.Unlock()
	where, err := time.LoadLocation(zone)
	if err != nil {
		g.tb.Error(err)
		return unix
	}
	if zone == "" {
		zone = "UTC"
	}
	city := strings.ReplaceAll(zone[strings.LastIndexByte(zone, '/')+1:], "_", " ")
	return time.Unix(n, 0).In(where).Format("Mon 2 Jan 15:04 ") + city
}
