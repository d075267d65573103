package battle

import (
	"slices"
	"strings"

	"drumhead/engine/reason"
)

// unit reads a unit of one's own.
func (r *reader) unit() (string, *reason.Refusal) {
	own, foes := r.state.units(r.side), r.state.units(Other(r.side))
	found, n := longest(own, r.left)
	found = r.state.upright(found)
	switch {
	case len(found) == 1:
		r.left = r.left[n:]
		return found[0].id, nil
	case len(found) > 1:
		return "", r.several(found, n)
	}
	if theirs, n := longest(foes, r.left); len(theirs) > 0 && n > 0 {
		u, _ := r.state.Unit(theirs[0].id)
		v := now(r.state)
		v.Side = r.side
		return "", v.theirs(u)
	}
	return "", r.unknown("battle.refuse.unit", own)
}

// target reads an enemy. A friend that is named is read too: the rules say no.
func (r *reader) target() (string, *reason.Refusal) {
	foes := r.state.units(Other(r.side))
	r.any("the")
	found, n := longest(foes, r.left)
	found = r.state.upright(found)
	switch {
	case len(found) == 1:
		r.left = r.left[n:]
		return found[0].id, nil
	case len(found) > 1:
		return "", r.several(found, n)
	}
	if own, n := longest(r.state.units(r.side), r.left); len(own) == 1 {
		r.left = r.left[n:]
		return own[0].id, nil
	}
	return "", r.unknown("battle.refuse.target", foes)
}

// anyone reads a unit out of a list, the first side in it before the second.
func (r *reader) anyone(list []called) (string, *reason.Refusal) {
	r.any("the")
	found, n := longest(list, r.left)
	found = r.state.upright(found)
	if len(found) > 1 {
		first, _ := r.state.Unit(found[0].id)
		found = slices.DeleteFunc(found, func(c called) bool {
			u, _ := r.state.Unit(c.id)
			return u.Side != first.Side
		})
	}
	switch len(found) {
	case 0:
		return "", r.unknown("battle.refuse.unit", list)
	case 1:
		r.left = r.left[n:]
		return found[0].id, nil
	}
	return "", r.several(found, n)
}

// place reads an objective.
func (r *reader) place() (string, *reason.Refusal) {
	found, n := longest(r.state.places(), r.left)
	switch len(found) {
	case 0:
		return "", refuse("battle.refuse.objective", "said", reason.Name(r.said()), "objectives", r.state.objectiveNames())
	case 1:
		r.left = r.left[n:]
		return found[0].id, nil
	}
	return "", r.several(found, n)
}

// weapon reads a weapon of a unit that shoots.
func (r *reader) weapon(unit string) (string, *reason.Refusal) {
	u, _ := r.state.Unit(unit)
	var list []called
	for _, w := range r.state.shooting(u) {
		list = append(list, calledBy(w.ID, w.Title))
	}
	found, n := longest(list, r.left)
	if len(found) != 1 {
		return "", refuse("battle.refuse.weapon", "unit", r.state.name(unit), "said", reason.Name(r.said()), "weapons", r.state.titles(r.state.shooting(u)))
	}
	r.left = r.left[n:]
	return found[0].id, nil
}

// several refuses words that fit more than one thing, and shows the line with
// the first of them.
func (r *reader) several(found []called, n int) *reason.Refusal {
	said := strings.Join(r.left[:n], " ")
	return reason.Refuse(instead(r.written, said, found[0].shown), "battle.refuse.several", "said", reason.Name(said), "fits", namesOf(found))
}

// instead is a line with other words for those said, "" if they do not stand
// there as whole words.
func instead(written, said, words string) string {
	low := strings.ToLower(written)
	if said == "" || len(low) != len(written) {
		return ""
	}
	letter := func(i int) bool { return i >= 0 && i < len(low) && (low[i] >= 'a' && low[i] <= 'z' || low[i] >= 0x80) }
	for from := 0; ; {
		i := strings.Index(low[from:], said)
		if i < 0 {
			return ""
		}
		i += from
		if !letter(i-1) && !letter(i+len(said)) {
			return written[:i] + words + written[i+len(said):]
		}
		from = i + 1
	}
}

// unknown refuses words that name nothing, with the nearest name or all of them.
func (r *reader) unknown(id string, list []called) *reason.Refusal {
	said := r.said()
	word, _, _ := strings.Cut(said, " ")
	near := nearest(list, word)
	why := refuse(id, "unit", reason.Name(said), "said", reason.Name(said))
	if len(near) > 0 {
		why = refuse(id+"_near", "unit", reason.Name(said), "said", reason.Name(said), "nearest", namesOf(near))
		why.Example = instead(r.written, word, near[0].shown)
	}
	why.Reason.Args = append(why.Reason.Args, reason.Arg{Name: "yours", Value: namesOf(list)}, reason.Arg{Name: "enemies", Value: namesOf(list)})
	return why
}

// stops are words that end a name.
var stops = []string{",", ":", "—", "at", "to", "on", "into", "else", "if", "near", "by", "with"}

// said is the words up to where a name must end.
func (r *reader) said() string {
	n := 0
	for n < len(r.left) && n < mostWords && !slices.Contains(stops, r.left[n]) && strings.Trim(r.left[n], "0123456789.") != "" {
		n++
	}
	return strings.Join(r.left[:n], " ")
}

func namesOf(list []called) []reason.Name {
	var out []reason.Name
	for _, c := range list {
		out = append(out, reason.Name(c.shown))
	}
	return out
}
