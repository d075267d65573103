package args

import (
	"strings"

	"drumhead/engine/reason"
)

// Bot is the name by which people address the bot in a text; an adapter turns
// its platform's mention into it.
const Bot = "Drumhead"

// Names knows what can be named where a text was said, and whether the text
// is said to the bot anyway. It answers from memory.
type Names interface {
	// Of lists the names of a kind, nearest first; nil if there are none.
	Of(k Kind) []string
	// Bare tells whether a command needs no slash: what is said in private, or
	// by a choice.
	Bare() bool
}

// mostWords is the most words that one name is tried with.
const mostWords = 8

// Parse reads a text as one of the commands. Parameters are positional: the
// last one takes the rest, one of several words is recognised if its
// name is known, an optional one is left out if what stands there is none.
//
// No Spec and no error: the text is talk among people (see Addressed). Errors
// are *reason.Refusal and say what is wrong, with an example from the command's
// Spec; the Spec is given with them once it is known.
func Parse(specs []Spec, text string, names Names) (*Spec, Values, error) {
	if _, ours := Addressed(text, Bot); !ours && !names.Bare() {
		return nil, nil, nil
	}
	text, err := Check(text)
	if err != nil {
		return nil, nil, err
	}
	rest, _ := Addressed(text, Bot)
	s := scan{rest}
	if s.empty() {
		return nil, nil, reason.Refuse(example, "args.refuse.empty")
	}
	spec, err := find(specs, &s)
	if err != nil {
		return nil, nil, err
	}
	v, err := fill(spec, &s, names)
	if err != nil {
		return &spec, nil, err
	}
	return &spec, v, nil
}

// find takes the words of a command off the front and returns its Spec.
func find(specs []Spec, s *scan) (Spec, error) {
	first := Key(s.word())
	var group []string
	for _, spec := range specs {
		if spec.Name == first {
			return spec, nil
		}
		if head, sub, ok := strings.Cut(spec.Name, " "); ok && head == first {
			group = append(group, sub)
		}
	}
	if group == nil {
		return Spec{}, unknown(specs, first, Key(s.peek()))
	}
	if s.empty() {
		return Spec{}, reason.Refuse(exampleOf(specs, first+" "+group[0]), "args.refuse.group", "group", first, "subs", group)
	}
	sub := Key(s.word())
	for _, spec := range specs {
		if spec.Name == first+" "+sub {
			return spec, nil
		}
	}
	near := nearest(sub, group)
	if near == "" {
		return Spec{}, reason.Refuse(exampleOf(specs, first+" "+group[0]), "args.refuse.sub", "group", first, "word", reason.Name(sub), "subs", group)
	}
	return Spec{}, reason.Refuse(exampleOf(specs, first+" "+near), "args.refuse.subnear", "group", first, "word", reason.Name(sub), "nearest", near)
}

// fill reads the parameters.
func fill(spec Spec, s *scan, names Names) (Values, error) {
	v := Values{}
	for i, p := range spec.Params {
		last := i == len(spec.Params)-1
		if s.empty() {
			if p.Optional || last && spec.Files {
				continue
			}
			return nil, reason.Refuse(spec.Example, "args.refuse.missing", "what", p.Help, "command", spec.Name)
		}
		next := Words
		if !last {
			next = spec.Params[i+1].Kind
		}
		got, ok := p.take(s, names, last, next)
		switch {
		case ok:
			v[p.Name] = got
		case p.Optional && !last:
		default:
			return nil, reason.Refuse(spec.Example, "args.refuse."+p.Kind.wants(), "text", reason.Name(clip(s.peek())), "what", p.Help, "command", spec.Name)
		}
	}
	if !s.empty() {
		return nil, reason.Refuse(spec.Example, "args.refuse.extra", "text", reason.Name(clip(s.all())), "command", spec.Name)
	}
	return v, nil
}

// clip keeps what is quoted in an error short.
func clip(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// take takes one parameter off the front; false if what stands there is none.
func (p Param) take(s *scan, names Names, last bool, next Kind) (string, bool) {
	switch p.Kind {
	case Words:
		return s.all(), true
	case Force, Sheet:
		return spaces(s.all()), true
	case Sentence:
		return Fold(s.all()), true
	case Word:
		return Fold(s.word()), true
	case Number:
		return takeNumber(s)
	case Entry:
		return takeEntry(s)
	}
	if name, ok := s.quoted(); ok {
		return known(names.Of(p.Kind), name), true
	}
	if last {
		return known(names.Of(p.Kind), s.all()), true
	}
	return p.takeName(s, names, next)
}

// takeName takes a name that something follows: the longest run of words that
// is a known name or begins just one; else, if it must be there, all up to the
// number that comes next, or one word. One that may be left out and is not known
// is taken only before that number, or with an @.
func (p Param) takeName(s *scan, names Names, next Kind) (string, bool) {
	runs, have := s.runs(mostWords), names.Of(p.Kind)
	for _, fits := range []func([]string, string) (string, bool){exact, begins} {
		for i := len(runs) - 1; i >= 0; i-- {
			if name, ok := fits(have, runs[i].said); ok {
				s.rest = runs[i].rest
				return name, true
			}
		}
	}
	take := runs[0]
	if p.Optional && !strings.HasPrefix(take.said, "@") {
		if !named(take, next) {
			return "", false
		}
		s.rest = take.rest
		return plain(take.said), true
	}
	if next == Number || next == Entry {
		for _, r := range runs {
			if _, ok := takeNumber(&scan{r.rest}); ok {
				take = r
				break
			}
		}
	}
	s.rest = take.rest
	return plain(take.said), true
}

// named tells whether an unknown word that may be left out is meant as a name
// all the same: the number that comes next in the command comes right after it.
func named(r run, next Kind) bool {
	_, number := takeNumber(&scan{r.said})
	_, follows := takeNumber(&scan{r.rest})
	return next == Number && follows && !number
}

// plain is a name as somebody said it, in the spelling that is kept.
func plain(said string) string {
	return strings.TrimPrefix(strings.Join(strings.Fields(Fold(said)), " "), "@")
}

// known is the spelling of a name here, if just one name is or begins so.
func known(have []string, said string) string {
	if name, ok := exact(have, said); ok {
		return name
	}
	if name, ok := begins(have, said); ok {
		return name
	}
	return plain(said)
}

func exact(have []string, said string) (string, bool) {
	key := Key(plain(said))
	for _, name := range have {
		if Key(name) == key {
			return name, true
		}
	}
	return "", false
}

func begins(have []string, said string) (string, bool) {
	key, found := Key(plain(said)), ""
	if key == "" {
		return "", false
	}
	for _, name := range have {
		if strings.HasPrefix(Key(name), key) {
			if found != "" && found != name {
				return "", false
			}
			found = name
		}
	}
	return found, found != ""
}

// mostDigits bounds a whole number so that it fits an int everywhere.
const mostDigits = 9

func takeNumber(s *scan) (string, bool) {
	w := Fold(s.peek())
	if !digits(w) {
		return "", false
	}
	s.word()
	if w = strings.TrimLeft(w, "0"); w == "" {
		w = "0"
	}
	return w, true
}

func takeEntry(s *scan) (string, bool) {
	w := strings.TrimRight(strings.TrimPrefix(Fold(s.peek()), "#"), ".,")
	whole, part, dotted := strings.Cut(w, ".")
	if !digits(whole) || dotted && !digits(part) {
		return "", false
	}
	s.word()
	return w, true
}

func digits(w string) bool {
	if w == "" || len(w) > mostDigits {
		return false
	}
	for i := range len(w) {
		if w[i] < '0' || w[i] > '9' {
			return false
		}
	}
	return true
}

// wants names the refusal for a parameter that is not what it should be.
func (k Kind) wants() string {
	switch k {
	case Number:
		return "number"
	case Entry:
		return "entry"
	}
	return "name"
}
