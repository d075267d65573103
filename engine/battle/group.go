package battle

import (
	"slices"
	"strconv"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// group is a unit as the rules see it.
func (s State) group(u Unit) rules.Group {
	g := rules.Group{Unit: u.Kind, Size: u.Size, Models: u.Left, Hurt: u.Hurt, Worn: u.Worn, Grade: u.Grade, Statuses: u.Statuses,
		Parts: u.Parts, Lost: u.Lost, HurtNow: u.Turn.Wounded || u.Turn.Lost > 0}
	for _, with := range s.joined(u.ID) {
		g.With = append(g.With, s.group(with))
	}
	return g
}

// facts is what is known about an attack before any die.
func facts(u, t Unit, a Aim) rules.Facts {
	return rules.Facts{
		Distance: reason.Inches(a.Tenths), HalfRange: a.Half, Cover: a.Cover,
		Moved: u.Turn.Moved, Charged: u.Turn.Charged, TargetCharged: t.Turn.Charged,
		Attacking: a.Models, Arc: a.Arc, Across: a.Across,
	}
}

// pace is how far a unit moves, in tenths of an inch.
func (s State) pace(u Unit) int { return int(s.Pack.Pace(s.group(u))) }

// ladder is a unit's wounds, for damage that no save stops.
func (s State) ladder(u Unit) attack.Ladder { return s.Pack.Ladder(s.group(u)) }

// hands are models of one part of a unit that use a weapon.
type hands struct{ part, models int }

// hands lists who of a unit uses a weapon, part by part: most is how many of them
// see and reach the target, 0 for all.
func (s State) hands(u Unit, w *rules.Weapon, most int) []hands {
	kind, all := s.kind(u.Kind), []hands(nil)
	for part, n := range s.Pack.Parts(s.group(u)) {
		if most > 0 {
			n = min(n, most-sumOf(all))
		}
		if n > 0 && slices.Contains(kind.WeaponsOf(part), w.ID) {
			all = append(all, hands{part, n})
		}
	}
	return all
}

func sumOf(all []hands) int {
	sum := 0
	for _, h := range all {
		sum += h.models
	}
	return sum
}

// shooting lists the unit's weapons that shoot, in the order of its profile.
func (s State) shooting(u Unit) []*rules.Weapon {
	return s.armed(u, func(w *rules.Weapon) bool { return !w.Melee() })
}

// blade is the unit's weapon for melee, nil if it has none.
func (s State) blade(u Unit) *rules.Weapon { return s.bladeOf(u, 0) }

// bladeOf is the weapon for melee of a part of a unit.
func (s State) bladeOf(u Unit, part int) *rules.Weapon {
	if unit := s.kind(u.Kind); part > 0 {
		for _, id := range unit.WeaponsOf(part) {
			if w := s.Pack.Weapon(id); w != nil && w.Melee() {
				return w
			}
		}
		return nil
	}
	if all := s.armed(u, (*rules.Weapon).Melee); len(all) > 0 {
		return all[0]
	}
	return nil
}

func (s State) armed(u Unit, kind func(*rules.Weapon) bool) []*rules.Weapon {
	var out []*rules.Weapon
	unit := s.kind(u.Kind)
	for part := range 1 + len(unit.Others) {
		for _, id := range unit.WeaponsOf(part) {
			if w := s.Pack.Weapon(id); w != nil && kind(w) && !slices.Contains(out, w) {
				out = append(out, w)
			}
		}
	}
	return out
}

// weapons lists what the unit shoots with at an aim: the weapon that was named;
// or everything in range, if it may; or its missiles in range; or, if none of
// them reaches, one sidearm or thrown weapon that does. A distance that nobody
// said is in range; a weapon whose bearers all fell is not there.
func (s State) weapons(u Unit, a Aim) []*rules.Weapon {
	var missiles, light []*rules.Weapon
	for _, w := range s.shooting(u) {
		switch {
		case a.Weapon != "" && a.Weapon != w.ID, !w.Reaches(reason.Inches(a.Tenths)), u.Stands() && len(s.hands(u, w, 0)) == 0:
		case w.Light():
			light = append(light, w)
		default:
			missiles = append(missiles, w)
		}
	}
	switch {
	case s.shootsAll(u):
		return slices.Concat(missiles, light)
	case len(missiles) > 0:
		return missiles
	case len(light) > 0:
		return light[:1]
	}
	return nil
}

func (s State) shootsAll(u Unit) bool { return s.Pack.May(s.group(u), "shoot every weapon") }

// thin takes models off the parts of a unit that has any.
func (s *State) thin(u *Unit, gone int) {
	if len(s.kind(u.Kind).Others) > 0 {
		u.Parts = s.Pack.After(s.group(*u), gone)
		g := s.group(*u)
		g.Parts, g.Hurt = u.Parts, 0
		if gone > 0 || u.Hurt == 0 {
			u.Worn = s.Pack.Front(g)
		}
	}
}

// titles is the names of weapons.
func (s State) titles(weapons []*rules.Weapon) []reason.Name {
	var out []reason.Name
	for _, w := range weapons {
		out = append(out, reason.Name(w.Title))
	}
	return out
}

// powers is the names of the powers that a unit knows.
func (s State) powers(u Unit) []reason.Name {
	var out []reason.Name
	for _, id := range s.kind(u.Kind).Powers {
		out = append(out, s.powerTitle(id))
	}
	return out
}

// inches writes a length of so many tenths as a line of a sheet has it.
func inches(tenths int) string {
	text := strconv.Itoa(tenths / 10)
	if tenths%10 != 0 {
		text += "." + strconv.Itoa(tenths%10)
	}
	return text + " in"
}

// mostOf is the highest value that a total can show.
func mostOf(t attack.Total) int {
	most := t.Plus
	for _, term := range t.Terms {
		most += term.Dice * term.Sides
	}
	return most
}
