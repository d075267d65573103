// Package words is the one catalogue of sentences. Everything that the bot says
// in its own words stands in en/*.toml, one file a family of commands, as
//
//	[battle.refuse]
//	range = "{unit} reach {reach} in, {target} is {gap} in away."
//
// and is asked for by its id, "battle.refuse.range". A slot {name} is filled
// with a value; {n#hit|hits} is the first word where slot n is one and the
// second elsewhere; {name~} is a value with a capital first letter. "{{" and "}}" are
// braces. What strangers wrote goes into a slot as a span of its own kind, so
// that no adapter can take it for the bot's words.
package words

import (
	"embed"
	"fmt"
	"io/fs"
	"sort"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"drumhead/commands/chat"
	"drumhead/engine/reason"

	"github.com/pelletier/go-toml/v2"
)

//go:embed en/*.toml
var english embed.FS

// Catalog maps ids to sentences. It is read-only once loaded and may be shared.
type Catalog struct{ sentences map[string][]piece }

// piece is a stretch of plain text, or a slot.
type piece struct {
	text    string // plain text; empty for a slot
	slot    string
	one     string // with many: the word for exactly one
	many    string
	capital bool
}

// English loads the catalogue that the program carries. It fails only where a
// test fails too: two sentences of one id, a brace left open.
func English() (*Catalog, error) { return Load(english) }

// Load reads every en/*.toml of a file system into one catalogue.
func Load(files fs.FS) (*Catalog, error) {
	c := &Catalog{sentences: map[string][]piece{}}
	names, err := fs.Glob(files, "en/*.toml")
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		b, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, err
		}
		var tree map[string]any
		if err := toml.Unmarshal(b, &tree); err != nil {
			return nil, fmt.Errorf("words: %s: %w", name, err)
		}
		if err := c.take("", tree); err != nil {
			return nil, fmt.Errorf("words: %s: %w", name, err)
		}
	}
	return c, nil
}

func (c *Catalog) take(prefix string, tree map[string]any) error {
	for key, v := range tree {
		id := strings.TrimPrefix(prefix+"."+key, ".")
		switch v := v.(type) {
		case map[string]any:
			if err := c.take(id, v); err != nil {
				return err
			}
		case string:
			if _, twice := c.sentences[id]; twice {
				return fmt.Errorf("sentence %s stands there twice", id)
			}
			pieces, err := split(v)
			if err != nil {
				return fmt.Errorf("sentence %s: %w", id, err)
			}
			c.sentences[id] = pieces
		default:
			return fmt.Errorf("sentence %s: a text was expected", id)
		}
	}
	return nil
}

// split cuts a template into plain text and slots.
func split(s string) ([]piece, error) {
	var out []piece
	var plain strings.Builder
	for len(s) > 0 {
		switch {
		case strings.HasPrefix(s, "{{"), strings.HasPrefix(s, "}}"):
			plain.WriteByte(s[0])
			s = s[2:]
		case s[0] == '{':
			end := strings.IndexByte(s, '}')
			if end < 0 {
				return nil, fmt.Errorf("a brace is left open")
			}
			if plain.Len() > 0 {
				out = append(out, piece{text: plain.String()})
				plain.Reset()
			}
			p := piece{slot: s[1:end]}
			if name, forms, ok := strings.Cut(p.slot, "#"); ok {
				p.slot = name
				if p.one, p.many, ok = strings.Cut(forms, "|"); !ok {
					return nil, fmt.Errorf("slot {%s}: two words were expected, as {n#hit|hits}", s[1:end])
				}
			}
			if strings.HasSuffix(p.slot, "~") {
				p.slot, p.capital = strings.TrimSuffix(p.slot, "~"), true
			}
			out = append(out, p)
			s = s[end+1:]
		default:
			_, n := utf8.DecodeRuneInString(s)
			plain.WriteString(s[:n])
			s = s[n:]
		}
	}
	if plain.Len() > 0 {
		out = append(out, piece{text: plain.String()})
	}
	return out, nil
}

// IDs lists every sentence, sorted.
func (c *Catalog) IDs() []string {
	ids := make([]string, 0, len(c.sentences))
	for id := range c.sentences {
		ids = append(ids, id)
	}
	sort.Strings(ids)
	return ids
}

// Has tells whether there is a sentence of that id.
func (c *Catalog) Has(id string) bool { _, ok := c.sentences[id]; return ok }

// Slots lists the slots of a sentence, each once, in order.
func (c *Catalog) Slots(id string) []string {
	var out []string
	seen := map[string]bool{}
	for _, p := range c.sentences[id] {
		if p.slot != "" && !seen[p.slot] {
			seen[p.slot] = true
			out = append(out, p.slot)
		}
	}
	return out
}

// Speaker says sentences of a catalogue. Who turns a pseudonym of the ledger at
// hand into the span of a person; nil shows the pseudonym itself.
type Speaker struct {
	Catalog *Catalog
	Who     func(pseudonym string) chat.Span
}

// Say fills a sentence: pairs of slot name and value. A value is a string, a
// number, a span, a line, a list of strings, or what engine/reason knows. A
// missing sentence or slot is shown in double brackets: ugly, never silent.
func (s Speaker) Say(id string, pairs ...any) chat.Line {
	if len(pairs)%2 != 0 {
		panic("words: " + id + ": odd number of pairs")
	}
	slots := make([]reason.Arg, 0, len(pairs)/2)
	for i := 0; i < len(pairs); i += 2 {
		slots = append(slots, reason.Arg{Name: pairs[i].(string), Value: pairs[i+1]})
	}
	return s.fill(id, slots)
}

// Reason puts a reason into words.
func (s Speaker) Reason(r reason.Reason) chat.Line { return s.fill(r.ID, r.Args) }

func (s Speaker) fill(id string, slots []reason.Arg) chat.Line {
	pieces, ok := s.Catalog.sentences[id]
	if !ok {
		return Text("[[" + id + "]]")
	}
	line := make(chat.Line, 0, len(pieces)+2)
	for _, p := range pieces {
		if p.slot == "" {
			line = put(line, chat.Span{Kind: chat.Plain, Text: p.text})
			continue
		}
		v, ok := find(slots, p.slot)
		switch {
		case !ok:
			line = put(line, chat.Span{Kind: chat.Plain, Text: "[[" + p.slot + "]]"})
		case p.many != "":
			word := p.many
			if n, isOne := number(v); isOne && n == 1 {
				word = p.one
			}
			line = put(line, chat.Span{Kind: chat.Plain, Text: word})
		default:
			spans := s.value(v)
			if p.capital {
				spans = capital(spans)
			}
			for _, span := range spans {
				line = put(line, span)
			}
		}
	}
	return line
}

func find(slots []reason.Arg, name string) (any, bool) {
	for _, a := range slots {
		if a.Name == name {
			return a.Value, true
		}
	}
	return nil, false
}

// value turns what fills a slot into spans.
func (s Speaker) value(v any) chat.Line {
	switch v := v.(type) {
	case chat.Span:
		return chat.Line{v}
	case chat.Line:
		return v
	case string:
		return Text(v)
	case reason.Name:
		return chat.Line{{Kind: chat.Said, Text: string(v)}}
	case reason.Person:
		if s.Who == nil {
			return Text(string(v))
		}
		return chat.Line{s.Who(string(v))}
	case reason.Inches:
		if v%10 == 0 {
			return Text(strconv.Itoa(int(v / 10)))
		}
		return Text(fmt.Sprintf("%d.%d", v/10, abs(int(v%10))))
	case reason.Reason:
		return s.Reason(v)
	case []reason.Reason:
		return list(v, "; ", func(r reason.Reason) chat.Line { return s.Reason(r) })
	case []reason.Name:
		return list(v, ", ", func(n reason.Name) chat.Line { return s.value(n) })
	case []string:
		return Text(strings.Join(v, ", "))
	case fmt.Stringer:
		return Text(v.String())
	}
	return Text(fmt.Sprint(v))
}

func list[T any](items []T, between string, say func(T) chat.Line) chat.Line {
	var line chat.Line
	for i, it := range items {
		if i > 0 {
			line = append(line, chat.Span{Kind: chat.Plain, Text: between})
		}
		line = append(line, say(it)...)
	}
	return line
}

func number(v any) (int, bool) {
	switch v := v.(type) {
	case int:
		return v, true
	case int64:
		return int(v), true
	case uint64:
		return int(v), true
	}
	return 0, false
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}

// capital makes the first letter of a line large, so that a name may begin one.
func capital(line chat.Line) chat.Line {
	if len(line) == 0 || line[0].Text == "" {
		return line
	}
	out := append(chat.Line{}, line...)
	r, n := utf8.DecodeRuneInString(out[0].Text)
	out[0].Text = string(unicode.ToUpper(r)) + out[0].Text[n:]
	return out
}

// put adds a span to a line; a plain one melts into a plain one before it.
func put(line chat.Line, s chat.Span) chat.Line {
	if last := len(line) - 1; s.Kind == chat.Plain && last >= 0 && line[last].Kind == chat.Plain {
		line[last].Text += s.Text
		return line
	}
	return append(line, s)
}

// Text is a line of plain text.
func Text(s string) chat.Line { return chat.Line{{Kind: chat.Plain, Text: s}} }

// Flat gives a line's bare text: for logs, tests and alt texts.
func Flat(line chat.Line) string {
	var b strings.Builder
	for _, s := range line {
		switch s.Kind {
		case chat.Number:
			fmt.Fprintf(&b, "#%d%s", s.Entry, s.Text)
		case chat.When:
			b.WriteString(s.Time.Format("Mon 2 Jan 15:04"))
		default:
			b.WriteString(s.Text)
		}
	}
	return b.String()
}

// Bare is a sentence without slots, as plain text.
func (c *Catalog) Bare(id string) string { return Flat(Speaker{Catalog: c}.Say(id)) }
