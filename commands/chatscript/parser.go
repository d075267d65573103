package chatscript

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"time"
	"unicode/utf8"
)

// Limits of a script.
const (
	MaxLine = 64 << 10                  // bytes of one line
	MaxStep = 64 << 10                  // bytes of a message or a post of several lines; see goesOn
	MaxWait = 10 * 365 * 24 * time.Hour // of one wait
)

// Error is what is wrong with a line of a script.
type Error struct {
	Line     int
	What     string // what is wrong
	Expected string // and one example
}

func (e *Error) Error() string {
	return fmt.Sprintf("line %d: %s; expected %s", e.Line, e.What, e.Expected)
}

// Parser reads a script line by line, so that a conversation can be read while
// it happens. A step is complete when a line comes that does not go on with it
// (an empty line is one), or at End.
type Parser struct {
	place string
	bare  bool
	line  int
	now   *Step
}

// NewParser makes a parser. Place is that of messages which name none. With
// bare, a line of no other form is a message without a name; else it is an error.
func NewParser(place string, bare bool) *Parser { return &Parser{place: place, bare: bare} }

// Line takes the next line, without its end. It returns the step that this line
// ended, or nil. After an error the line counts as a comment.
func (p *Parser) Line(text string) (*Step, error) {
	p.line++
	text = strings.TrimSuffix(text, "\r")
	if len(text) > MaxLine {
		text = ""
		return p.begin(text, nil), &Error{p.line, "the line is too long", fmt.Sprintf("at most %d bytes", MaxLine)}
	}
	if p.now != nil && p.goesOn(text) {
		return nil, nil
	}
	act, err := p.read(text)
	return p.begin(text, act), err
}

// End returns the step that the end of the script completes, or nil.
func (p *Parser) End() *Step {
	done := p.now
	p.now = nil
	if done != nil {
		finish(done)
	}
	return done
}

func (p *Parser) begin(text string, act Act) *Step {
	done := p.End()
	p.now = &Step{Line: p.line, Source: []string{text}, Act: act}
	return done
}

// goesOn adds a line to the step at hand, if it belongs to it. Of a message beyond
// MaxStep no more is kept: it is too long for any desk already.
func (p *Parser) goesOn(text string) bool {
	switch a := p.now.Act.(type) {
	case Message:
		if strings.TrimSpace(text) == "" || text[0] != ' ' && text[0] != '\t' {
			return false
		}
		rest, ok := strings.CutPrefix(text, "    ")
		if !ok {
			rest = strings.TrimLeft(text, " \t")
		}
		if len(a.Text) > MaxStep {
			return true
		}
		if a.Text != "" {
			a.Text += "\n"
		}
		a.Text += rest
		p.now.Act = a
	case Post:
		rest, ok := strings.CutPrefix(text, "|")
		if !ok {
			return false
		}
		if len(p.now.Source) > MaxStep {
			return true
		}
		a.Lines = append(a.Lines, strings.TrimPrefix(rest, " "))
		p.now.Act = a
	default:
		return false
	}
	p.now.Source = append(p.now.Source, text)
	return true
}

const nameForm = `[\p{L}\p{N}_][\p{L}\p{N}_.-]{0,31}`
const placeForm = `#[\p{L}\p{N}_-]{1,32}|@dm`

var (
	namedForm = regexp.MustCompile(`^(` + nameForm + `)(?:[ \t]+(` + placeForm + `))?:(?:[ \t]+(.*))?$`)
	thereForm = regexp.MustCompile(`^(` + placeForm + `):(?:[ \t]+(.*))?$`)
	postForm  = regexp.MustCompile(`^>[ \t]*(` + placeForm + `)(?:[ \t]+only[ \t]+(` + nameForm + `))?([ \t]+edit)?[ \t]*$`)
)

const exampleMessage = "NAME PLACE: TEXT, as in ann #fen: /roll 12d6 4+"

// read reads the first line of a step.
func (p *Parser) read(text string) (Act, error) {
	bad := func(what, expected string) (Act, error) { return nil, &Error{p.line, what, expected} }
	if !utf8.ValidString(text) {
		return bad("that is not UTF-8", exampleMessage)
	}
	if m := thereForm.FindStringSubmatch(text); m != nil && p.bare {
		return Message{Place: m[1], Text: m[2]}, nil
	}
	switch {
	case strings.TrimSpace(text) == "" || text[0] == '#':
		return nil, nil
	case strings.HasPrefix(text, "! "):
		return p.direction(strings.Fields(text[2:]))
	case text[0] == '>':
		m := postForm.FindStringSubmatch(text)
		if m == nil {
			return bad(fmt.Sprintf("%q begins no post", text), "> PLACE, > PLACE only NAME or > PLACE edit, as in > #fen only ann")
		}
		return Post{Place: m[1], Only: m[2], Edit: m[3] != ""}, nil
	case text[0] == '|':
		return bad("a post's line without a post above it", "a line > PLACE first, as in > #fen")
	}
	if m := namedForm.FindStringSubmatch(text); m != nil {
		place := m[2]
		if place == "" {
			place = p.place
		}
		return Message{Name: m[1], Place: place, Text: m[3]}, nil
	}
	if p.bare {
		return Message{Place: p.place, Text: strings.TrimLeft(text, " \t")}, nil
	}
	return bad(fmt.Sprintf("%q is nobody's", clip(text)), exampleMessage)
}

func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// direction reads the words after "! ".
func (p *Parser) direction(w []string) (Act, error) {
	words := strings.Join(w, " ")
	switch {
	case words == "crash", words == "resend", words == "restored":
		return Direction{Verb: Verb(words)}, nil
	case words == "fail append", words == "lose post":
		return Direction{Verb: Verb(w[0])}, nil
	case words == "wait until timer":
		return Direction{Verb: Wait}, nil
	case len(w) == 2 && w[0] == "organiser" && regexp.MustCompile("^"+nameForm+"$").MatchString(w[1]):
		return Direction{Verb: Organiser, Name: w[1]}, nil
	case len(w) == 2 && w[0] == "wait":
		d, err := duration(w[1])
		if err == nil {
			return Direction{Verb: Wait, For: d}, nil
		}
	}
	return nil, &Error{p.line, fmt.Sprintf("%q is no direction", clip(words)),
		"wait 48h, wait until timer, crash, restored, resend, fail append, lose post or organiser NAME, as in ! wait 48h"}
}

// duration reads "90m", "48h", "1h30m" or "7d": more than nothing, at most MaxWait.
func duration(s string) (time.Duration, error) {
	if days, ok := strings.CutSuffix(s, "d"); ok {
		s = days + "h"
		d, err := duration(s)
		if err != nil || d > MaxWait/24 {
			return 0, errors.New("no number of days")
		}
		return 24 * d, nil
	}
	d, err := time.ParseDuration(s)
	if err != nil || d <= 0 || d > MaxWait {
		return 0, errors.New("no length of time")
	}
	return d, nil
}

var (
	fileForm = regexp.MustCompile(`\s*\(file ([^()\n]+)\)\s*$`)
	tapForm  = regexp.MustCompile(`^\[([^\[\]\n]+)\]\s*`)
	onForm   = regexp.MustCompile(`^on #(\d+(?:\.\d+)?)$`)
)

// finish takes files and taps out of a message's text, once it is whole.
func finish(s *Step) {
	m, ok := s.Act.(Message)
	if !ok {
		return
	}
	for f := fileForm.FindStringSubmatchIndex(m.Text); f != nil; f = fileForm.FindStringSubmatchIndex(m.Text) {
		m.Files = append([]string{strings.TrimSpace(m.Text[f[2]:f[3]])}, m.Files...)
		m.Text = m.Text[:f[0]]
	}
	for t := tapForm.FindStringSubmatch(m.Text); t != nil; t = tapForm.FindStringSubmatch(m.Text) {
		m.Taps = append(m.Taps, strings.TrimSpace(t[1]))
		m.Text = m.Text[len(t[0]):]
	}
	if on := onForm.FindStringSubmatch(m.Text); on != nil && m.Taps != nil {
		m.On, m.Text = on[1], ""
	}
	s.Act = m
}

// Read reads a whole script. Errors are *Error, the first that is found.
func Read(name string, r io.Reader) (*Script, error) {
	script, p := &Script{Name: name}, NewParser(Table, false)
	in := bufio.NewScanner(r)
	in.Buffer(make([]byte, 0, 4096), MaxLine+2)
	add := func(s *Step) {
		if s != nil {
			script.Steps = append(script.Steps, *s)
		}
	}
	for in.Scan() {
		step, err := p.Line(in.Text())
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		add(step)
	}
	if err := in.Err(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	add(p.End())
	return script, nil
}
