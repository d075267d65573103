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
	var line writer
	for _, p := range pieces {
		if p.slot == "" {
			line.plain(p.text)
			continue
		}
		v, ok := find(slots, p.slot)
		switch {
		case !ok:
			line.plain("[[" + p.slot + "]]")
		case p.many != "":
			word := p.many
			if n, isOne := number(v); isOne && n == 1 {
				word = p.one
			}
			line.plain(word)
		case p.capital:
			line.put(capital(s.value(v))...)
		default:
			s.write(&line, v)
		}
	}
	return line.done()
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
	var w writer
	s.write(&w, v)
	return w.done()
}

// write puts what fills a slot into a line.
func (s Speaker) write(w *writer, v any) {
	switch v := v.(type) {
	case string:
		w.plain(v)
	case int:
		w.text = strconv.AppendInt(w.text, int64(v), 10)
	case chat.Span:
		w.put(v)
	case chat.Line:
		w.put(v...)
	case reason.Name:
		w.put(chat.Span{Kind: chat.Said, Text: string(v)})
	case reason.Person:
		if s.Who == nil {
			w.plain(string(v))
		} else {
			w.put(s.Who(string(v)))
		}
	case reason.Inches:
		if v%10 == 0 {
			w.plain(strconv.Itoa(int(v / 10)))
		} else {
			w.plain(fmt.Sprintf("%d.%d", v/10, abs(int(v%10))))
		}
	case reason.Reason:
		w.put(s.Reason(v)...)
	case []reason.Reason:
		list(s, w, v, "; ")
	case []reason.Name:
		list(s, w, v, ", ")
	case []string:
		list(s, w, v, ", ")
	default:
		w.plain(fmt.Sprint(v)) // by its String method, if it has one
	}
}

func list[T any](s Speaker, w *writer, items []T, between string) {
	for i, it := range items {
		if i > 0 {
			w.plain(between)
		}
		s.write(w, it)
	}
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

// writer puts a line together. Plain spans that follow one another melt into one.
type writer struct {
	line chat.Line
	text []byte // the plain span that is not in the line yet
}

func (w *writer) plain(s string) { w.text = append(w.text, s...) }

func (w *writer) put(spans ...chat.Span) {
	for _, s := range spans {
		if s.Kind == chat.Plain {
			w.plain(s.Text)
			continue
		}
		w.line = append(w.done(), s)
	}
}

// done ends the plain span and gives the line so far.
func (w *writer) done() chat.Line {
	if len(w.text) > 0 {
		w.line = append(w.line, chat.Span{Kind: chat.Plain, Text: string(w.text)})
		w.text = w.text[:0]
	}
	return w.line
}

// Join is lines as one.
func Join(lines ...chat.Line) chat.Line {
	var w writer
	for _, l := range lines {
		w.put(l...)
	}
	return w.done()
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
