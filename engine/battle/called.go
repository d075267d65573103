package battle

import (
	"slices"
	"strings"
)

// called is something that people call by a name: a unit, an objective, a
// weapon, a power. names holds every name it has, each as its words.
type called struct {
	id    string
	shown string
	names [][]string
}

func calledBy(id, shown string, names ...string) called {
	c := called{id: id, shown: shown}
	for _, n := range append([]string{shown}, names...) {
		words := slices.DeleteFunc(tokens(n), func(t string) bool { return t == "," || t == ":" || t == "—" })
		c.names = append(c.names, words)
	}
	return c
}

// exactly tells whether the words are a whole name of it.
func (c called) exactly(words []string) bool {
	return slices.ContainsFunc(c.names, func(n []string) bool { return slices.Equal(n, words) })
}

// begins tells whether the words begin neighbouring words of a name of it.
func (c called) begins(words []string) bool {
	return slices.ContainsFunc(c.names, func(n []string) bool {
		for i := 0; i+len(words) <= len(n); i++ {
			if prefixes(n[i:], words) {
				return true
			}
		}
		return false
	})
}

func prefixes(name, words []string) bool {
	for j, w := range words {
		if !strings.HasPrefix(name[j], w) {
			return false
		}
	}
	return true
}

// matching lists what the words may mean: what is shown by just this name, else
// what is called exactly so, else what has a name that begins so.
func matching(list []called, words []string) []called {
	var own, exact, begins []called
	for _, c := range list {
		switch {
		case slices.Equal(c.names[0], words):
			own = append(own, c)
		case c.exactly(words):
			exact = append(exact, c)
		case c.begins(words):
			begins = append(begins, c)
		}
	}
	switch {
	case len(own) > 0:
		return own
	case len(exact) > 0:
		return exact
	}
	return begins
}

// mostWords is how many words of a name are looked at.
const mostWords = 8

// longest finds what the beginning of a text means, by as many of its words as
// still mean something, and how many tokens that were.
func longest(list []called, text []string) ([]called, int) {
	for n := min(mostWords, len(text)); n > 0; n-- {
		if text[n-1] == "," {
			continue
		}
		words := slices.DeleteFunc(slices.Clone(text[:n]), func(t string) bool { return t == "," })
		if found := matching(list, words); len(found) > 0 {
			return found, n
		}
	}
	return nil, 0
}

// mostSlips is how many letters may be wrong in a word that is asked about.
const mostSlips = 2

// nearest lists what has a word most like the one typed, if any is like it.
func nearest(list []called, word string) []called {
	best, found := mostSlips+1, []called(nil)
	for _, c := range list {
		d := mostSlips + 1
		for _, name := range c.names {
			for _, w := range name {
				d = min(d, near(word, w, mostSlips))
			}
		}
		switch {
		case d < best && d < len(word):
			best, found = d, []called{c}
		case d == best && d <= mostSlips:
			found = append(found, c)
		}
	}
	return found
}

// units lists a side's units by their names.
func (s State) units(side int) []called {
	var out []called
	for _, u := range s.Units {
		if u.Side == side {
			out = append(out, calledBy(u.ID, s.Short(u.ID), s.Name(u.ID), s.kind(u.Kind).Title, s.kind(u.Kind).Short))
		}
	}
	return out
}

// upright leaves out units that are off the table, if any of them stands.
func (s State) upright(list []called) []called {
	standing := slices.DeleteFunc(slices.Clone(list), func(c called) bool {
		u, _ := s.Unit(c.id)
		return !u.Stands()
	})
	if len(standing) > 0 {
		return standing
	}
	return list
}

func (s State) places() []called {
	var out []called
	for _, o := range s.objectives() {
		out = append(out, calledBy(o.ID, o.Title))
	}
	return out
}

func shown(list []called) []string {
	var out []string
	for _, c := range list {
		out = append(out, c.shown)
	}
	return out
}
