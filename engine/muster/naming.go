package muster

import (
	"strings"

	"drumhead/engine/rules"
	"drumhead/engine/rules/source"
)

// meaning is what a name said may mean: one unit, several, or, with Units
// empty, perhaps the nearest.
type meaning struct {
	units []*rules.Unit
	near  *rules.Unit
}

// one is the unit if the name means exactly one.
func (m meaning) one() *rules.Unit {
	if len(m.units) == 1 {
		return m.units[0]
	}
	return nil
}

// mean finds the units that a name fits: those called exactly so, else those of
// which some name begins so.
func mean(p *rules.Pack, said string) meaning {
	name := fold(said)
	if name == "" {
		return meaning{}
	}
	var exact, begin []*rules.Unit
	var forms []string
	of := map[string]*rules.Unit{}
	for i := range p.Units {
		u := &p.Units[i]
		is, begins := false, false
		for _, form := range callings(u) {
			is = is || form == name
			begins = begins || strings.HasPrefix(form, name)
			if of[form] == nil {
				forms, of[form] = append(forms, form), u
			}
		}
		if is {
			exact = append(exact, u)
		}
		if begins {
			begin = append(begin, u)
		}
	}
	switch {
	case len(exact) > 0:
		return meaning{units: exact}
	case len(begin) > 0:
		return meaning{units: begin}
	}
	return meaning{near: of[source.Nearest(name, forms)]}
}

// callings are all the names of a unit, folded: id, short name, title, the
// title without its first words, the title up to its comma.
func callings(u *rules.Unit) []string {
	head, _, _ := strings.Cut(u.Title, ",")
	forms := []string{fold(u.Title), fold(u.Short), fold(u.ID), fold(head)}
	words := strings.Fields(head)
	for i := 1; i < len(words); i++ {
		forms = append(forms, fold(strings.Join(words[i:], " ")))
	}
	return forms
}
