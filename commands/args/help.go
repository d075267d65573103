package args

import "strings"

// Usage is one line that shows how a command is typed: what must be there in
// capitals, what may be left out in brackets.
func (s Spec) Usage() string {
	var b strings.Builder
	b.WriteString("/" + s.Name)
	for i, p := range s.Params {
		name := strings.ToUpper(p.Name)
		if p.Optional || s.Files && i == len(s.Params)-1 {
			name = "[" + name + "]"
		}
		b.WriteString(" " + name)
	}
	return b.String()
}

// Topic is what the help of one command says, as values.
type Topic struct {
	Usage   string
	Help    string
	Params  []Param
	Example string
	Alone   bool // only who asks sees the answer
	File    bool // a file may come instead of the last parameter
}

// Help gives the values of one command's help.
func Help(s Spec) Topic {
	return Topic{Usage: s.Usage(), Help: s.Help, Params: s.Params, Example: s.Example, Alone: s.Mode != Public, File: s.Files}
}

// Find lists the commands that a word means: the command of that name, or all
// of a group, or all whose last word it is. Case and a slash do not matter.
func Find(specs []Spec, word string) []Spec {
	key := strings.TrimPrefix(Key(word), "/")
	var is, group, sub []Spec
	for _, s := range specs {
		head, last, _ := strings.Cut(s.Name, " ")
		switch key {
		case s.Name:
			is = append(is, s)
		case head:
			group = append(group, s)
		case last:
			sub = append(sub, s)
		}
	}
	for _, found := range [][]Spec{is, group, sub} {
		if found != nil {
			return found
		}
	}
	return nil
}

// Field is one field of a form.
type Field struct {
	Name     string
	Label    string
	Optional bool
	Lines    bool // holds several lines
	Kind     Kind
}

// Form describes a command as the fields of a form, in order.
func Form(s Spec) []Field {
	fields := make([]Field, 0, len(s.Params))
	for i, p := range s.Params {
		fields = append(fields, Field{
			Name: p.Name, Label: p.Help, Kind: p.Kind, Lines: p.Kind.Several(),
			Optional: p.Optional || s.Files && i == len(s.Params)-1,
		})
	}
	return fields
}

// Several tells whether a parameter of this kind is typed on several lines.
func (k Kind) Several() bool { return k == Sheet || k == Force }

// OnPost is the text of the command that a label picks on the post of an entry,
// such as "412" or "412.3".
func OnPost(specs []Spec, label, entry string) (text string, ok bool) {
	for _, s := range specs {
		if s.OnPost != "" && strings.EqualFold(s.OnPost, label) {
			return "/" + s.Name + " " + entry, true
		}
	}
	return "", false
}

// Open tells whether a text is a command that still waits for its several
// lines: a sheet or a force of which nothing was said yet.
func Open(specs []Spec, text string) bool {
	text, err := Check(text)
	if err != nil {
		return false
	}
	s := scan{strings.TrimPrefix(strings.TrimSpace(text), "/")}
	spec, err := find(specs, &s)
	if err != nil || len(spec.Params) == 0 {
		return false
	}
	return spec.Params[len(spec.Params)-1].Kind.Several() && s.empty()
}
