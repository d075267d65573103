package args

import (
	"strings"
	"unicode"

	"drumhead/commands/chat"
)

// MaxSuggestions is the most ways to go on that are offered at once.
const MaxSuggestions = 25

// Complete offers ways to go on with a text half typed: command words first,
// then names for the parameter that is being typed, nearest first. The text of
// a suggestion replaces all that was typed.
func Complete(specs []Spec, text string, names Names) []chat.Suggestion {
	lead := ""
	rest := strings.TrimLeftFunc(text, unicode.IsSpace)
	if after, ok := strings.CutPrefix(rest, "/"); ok {
		lead, rest = "/", after
	}
	s := scan{rest}
	first := Key(s.word())
	if s.rest == "" {
		return completeHead(specs, lead, first)
	}
	if spec, ok := lookup(specs, first); ok {
		return completeParam(spec, text, &s, names)
	}
	sub := Key(s.word())
	if s.rest == "" {
		return completeSub(specs, lead, first, sub)
	}
	if spec, ok := lookup(specs, first+" "+sub); ok {
		return completeParam(spec, text, &s, names)
	}
	return nil
}

func lookup(specs []Spec, name string) (Spec, bool) {
	for _, s := range specs {
		if s.Name == name {
			return s, true
		}
	}
	return Spec{}, false
}

func completeHead(specs []Spec, lead, typed string) []chat.Suggestion {
	var out []chat.Suggestion
	seen := map[string]bool{}
	for _, s := range specs {
		head, _, grouped := strings.Cut(s.Name, " ")
		if seen[head] || !strings.HasPrefix(head, typed) {
			continue
		}
		seen[head] = true
		help := s.Help
		if grouped {
			help = ""
		}
		out = append(out, chat.Suggestion{Text: lead + head + " ", Help: help})
	}
	return most(out)
}

func completeSub(specs []Spec, lead, head, typed string) []chat.Suggestion {
	var out []chat.Suggestion
	for _, s := range specs {
		if h, sub, ok := strings.Cut(s.Name, " "); ok && h == head && strings.HasPrefix(sub, typed) {
			out = append(out, chat.Suggestion{Text: lead + s.Name + " ", Help: s.Help})
		}
	}
	return most(out)
}

// completeParam completes the parameter at the end of the text.
func completeParam(spec Spec, text string, s *scan, names Names) []chat.Suggestion {
	for i, p := range spec.Params {
		last := i == len(spec.Params)-1
		s.skip()
		typed := s.rest
		if p.Kind == Sheet || p.Kind == Force {
			return completeLine(text, typed, names)
		}
		next := Words
		if !last {
			next = spec.Params[i+1].Kind
		}
		// A name may still grow by a word, so it is tried before it is taken.
		if out := grow(p, text, typed, names); len(out) > 0 || last {
			return out
		}
		if _, ok := p.take(s, names, last, next); !ok && !p.Optional || s.rest == "" {
			return nil // what is typed of it cannot be known to end here
		}
	}
	return nil
}

// grow offers the names of a parameter that begin with all that is typed of it.
func grow(p Param, text, typed string, names Names) []chat.Suggestion {
	key := Key(strings.TrimPrefix(typed, "@"))
	var out []chat.Suggestion
	for _, name := range names.Of(p.Kind) {
		if strings.HasPrefix(Key(name), key) && !(Key(name) == key && strings.HasSuffix(typed, " ")) {
			out = append(out, chat.Suggestion{Text: strings.TrimSuffix(text, typed) + name, Help: p.Help})
		}
	}
	return most(out)
}

// completeLine completes the last words of a sheet or a force: longest stretch
// first, so that names of several words go on.
func completeLine(text, typed string, names Names) []chat.Suggestion {
	line := typed[strings.LastIndexAny(typed, "\n;")+1:]
	have := append(append([]string{}, names.Of(Sheet)...), names.Of(Unit)...)
	for {
		line = strings.TrimLeftFunc(line, unicode.IsSpace)
		var out []chat.Suggestion
		for _, name := range have {
			if strings.HasPrefix(Key(name), Key(line)) && Key(name) != Key(line) {
				out = append(out, chat.Suggestion{Text: strings.TrimSuffix(text, line) + name})
			}
		}
		if len(out) > 0 || line == "" {
			return most(out)
		}
		cut := strings.IndexFunc(line, unicode.IsSpace)
		if cut < 0 {
			return nil
		}
		line = line[cut:]
	}
}

// most are as many as are offered, each once: both sides may have units of one name.
func most(all []chat.Suggestion) []chat.Suggestion {
	var out []chat.Suggestion
	seen := map[string]bool{}
	for _, s := range all {
		if !seen[s.Text] {
			seen[s.Text] = true
			out = append(out, s)
		}
	}
	if len(out) > MaxSuggestions {
		return out[:MaxSuggestions]
	}
	return out
}
