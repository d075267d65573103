package rules

import (
	"slices"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// kindOfModel is one kind of model of a unit: its own, or one of its others, or
// somebody who has joined it.
type kindOfModel struct {
	title   string
	profile Profile
	weapons []string
	models  int
	falls   int   // -1 before the unit's own, 0 with them, 1 after
	part    int   // of the unit; -1 for who has joined it
	joined  Group // who has joined it
}

// Parts is how many models stand of each part of a unit: its own models first,
// then its others as the pack has them. A group that does not say has lost those
// that fall first.
func (p *Pack) Parts(g Group) []int {
	u := p.Unit(g.Unit)
	if u == nil || len(u.Others) == 0 {
		return []int{g.Models}
	}
	if len(g.Parts) == 1+len(u.Others) {
		return slices.Clone(g.Parts)
	}
	size := max(g.Size, g.Models)
	parts := []int{size}
	for _, other := range u.Others {
		parts = append(parts, other.Number)
		parts[0] -= other.Number
	}
	return p.fall(g, parts, size-g.Models)
}

// fall takes so many models off the parts of a unit, in the order in which they
// fall.
func (p *Pack) fall(g Group, parts []int, n int) []int {
	parts = slices.Clone(parts)
	g.Parts = parts
	for _, k := range p.order(g) {
		if k.part >= 0 {
			off := min(n, k.models)
			parts[k.part] -= off
			n -= off
		}
	}
	return parts
}

// After is how many models of each part of a unit stand after so many fell or
// fled.
func (p *Pack) After(g Group, gone int) []int { return p.fall(g, p.Parts(g), gone) }

// Front is the part of a unit whose model is hurt next.
func (p *Pack) Front(g Group) int {
	for _, k := range p.order(g) {
		if k.models > 0 && k.part >= 0 {
			return k.part
		}
	}
	return 0
}

// order lists the kinds of model of a unit in the order in which they fall: the
// model that has lost wounds, then those that the pack has fall first, the unit's
// own, those that fall last, whom the owner keeps, and who has joined it.
func (p *Pack) order(g Group) []kindOfModel {
	u := p.Unit(g.Unit)
	parts := g.Parts
	if parts == nil {
		parts = p.Parts(g)
	}
	all := []kindOfModel{{title: u.Title, profile: u.Profile, weapons: u.Weapons, models: parts[0]}}
	for i, other := range u.Others {
		k := kindOfModel{title: other.Title, profile: other.Profile, weapons: other.Weapons, models: parts[1+i], falls: 1, part: 1 + i}
		if len(k.weapons) == 0 {
			k.weapons = u.Weapons
		}
		if other.Falls == FallsFirst {
			k.falls = -1
		}
		if other.ID == g.Keep {
			k.falls = 2
		}
		all = append(all, k)
	}
	if g.Hurt > 0 {
		for i := range all {
			if k := &all[i]; k.part == g.Worn && k.models > 1 {
				worn := *k
				worn.models, worn.falls = 1, -3
				k.models--
				all = append(all, worn)
			} else if k.part == g.Worn {
				k.falls = -3
			}
		}
	}
	for _, joined := range g.With {
		if ju := p.Unit(joined.Unit); ju != nil {
			k := kindOfModel{title: ju.Title, profile: ju.Profile, models: joined.Models, falls: 3, part: -1, joined: joined}
			if p.falls(joined) == FallsFirst {
				k.falls = -2
			}
			all = append(all, k)
		}
	}
	slices.SortStableFunc(all, func(a, b kindOfModel) int { return a.falls - b.falls })
	return all
}

// Ladder is the wounds of a unit in the order in which its models fall, without
// saves: for damage that none stops.
func (p *Pack) Ladder(g Group) attack.Ladder {
	crossed := p.crossed()
	if !p.mixed(g) {
		return attack.Ladder{Segments: []attack.Segment{{Models: g.Models, Wounds: p.Wounds(g)}}, Rung: g.Hurt}
	}
	l := attack.Ladder{Rung: g.Hurt}
	for _, k := range p.order(g) {
		if k.models > 0 && k.part >= 0 {
			l.Segments = append(l.Segments, attack.Segment{Models: k.models, Wounds: max(1, k.profile[crossed].Number)})
		}
	}
	return l
}

// PartTitle is what people call the models of a part of a unit; the unit's title
// for its own models.
func (p *Pack) PartTitle(unit string, part int) string {
	u := p.Unit(unit)
	switch {
	case u == nil:
		return unit
	case part > 0 && part <= len(u.Others):
		return u.Others[part-1].Title
	}
	return u.Title
}

// Share is what wounds came to for one unit: wounds crossed off, models fallen,
// what the next has lost.
type Share struct{ Crossed, Fell, Hurt int }

// Shares spreads wounds over a unit and who has joined it, in the order in which
// they fall: the unit's own share, and one for each who joined.
func (p *Pack) Shares(g Group, crossed int) (own Share, joined []Share) {
	ladder := p.Ladder(Group{Unit: g.Unit, Size: g.Size, Models: g.Models, Hurt: g.Hurt, Worn: g.Worn, Statuses: g.Statuses,
		Parts: g.Parts, Keep: g.Keep, Lost: g.Lost})
	joined = make([]Share, len(g.With))
	take := func(most int) int {
		n := min(crossed, most)
		crossed -= n
		return n
	}
	join := func(first bool) {
		for i, one := range g.With {
			if first != (p.falls(one) == FallsFirst) {
				continue
			}
			l := p.Ladder(one)
			n := take(l.Top() - l.Rung)
			joined[i] = Share{n, l.Fallen(l.Rung+n) - l.Fallen(l.Rung), l.Hurt(l.Rung + n)}
		}
	}
	join(true)
	n := take(ladder.Top() - ladder.Rung)
	own = Share{n, ladder.Fallen(ladder.Rung+n) - ladder.Fallen(ladder.Rung), ladder.Hurt(ladder.Rung + n)}
	join(false)
	return own, joined
}

// falls is when an effect of a unit has it fall, "" if none says.
func (p *Pack) falls(g Group) string {
	for _, e := range (&scene{pack: p, attacker: g}).effects(Self) {
		if f, ok := e.does.(falls); ok {
			return f.which
		}
	}
	return ""
}

// mixed tells whether models of unlike profiles stand in the group.
func (p *Pack) mixed(g Group) bool {
	u := p.Unit(g.Unit)
	return u != nil && len(u.Others)+len(g.With) > 0
}

// profiled is a value of a side's profile before anything changes it. Of a unit
// with unlike models it is that of most of them, of equally many the higher;
// while one kind of model is looked at it is that kind's.
func (s *scene) profiled(side Side, id string) (Value, bool) {
	g := s.group(side)
	u := s.unit(side)
	switch {
	case side == Target && s.part != nil:
		v, has := (*s.part)[id]
		return v, has
	case side != Target && s.facts.Part > 0 && s.facts.Part <= len(u.Others):
		v, has := u.Others[s.facts.Part-1].Profile[id]
		return v, has
	case side != Target || !s.pack.mixed(g):
		v, has := u.Profile[id]
		return v, has
	}
	return s.common(g, id)
}

// common is the value that most models of a group have.
func (s *scene) common(g Group, id string) (best Value, has bool) {
	kinds := s.pack.order(g)
	votes := func(v Value) int {
		n := 0
		for _, k := range kinds {
			if w, ok := k.profile[id]; ok && same(v, w) {
				n += k.models
			}
		}
		return n
	}
	most := 0
	for _, k := range kinds {
		v, ok := k.profile[id]
		if !ok || k.models == 0 {
			continue
		}
		if n := votes(v); n > most || n == most && v.Number > best.Number {
			best, has, most = v, true, n
		}
	}
	return best, has
}

func same(a, b Value) bool {
	return a.Number == b.Number && a.Need == b.Need && a.Amount == b.Amount
}

// segments are the runs of like models of the target on the ladder of damage,
// in the order in which they fall, with the reasons of each save.
func (w *work) segments() (all []attack.Segment, why []reason.Reason) {
	if !w.pack.mixed(w.target) {
		w.rung = w.target.Hurt
		return w.segment(w.target.Models, 0, nil, nil)
	}
	own := false
	for _, k := range w.pack.order(w.target) {
		if k.models == 0 {
			continue
		}
		profile, hurt := k.profile, 0
		switch {
		case k.part < 0:
			hurt = k.joined.Hurt
		case !own:
			hurt, own = w.target.Hurt, true
		}
		if len(all) == 0 { // the ladder's rung says so
			w.rung, hurt = hurt, 0
		}
		name := reason.New("why.part", "name", reason.Name(k.title))
		more, reasons := w.segment(k.models, hurt, &profile, &name)
		all, why = append(all, more...), append(why, reasons...)
	}
	if len(all) == 0 { // who counts the models has lost count
		return w.segment(w.target.Models, 0, nil, nil)
	}
	return all, why
}

// segment is a run of models of one profile; hurt is what the first of them has
// lost, where the ladder's rung does not say so.
func (w *work) segment(models, hurt int, profile *Profile, name *reason.Reason) ([]attack.Segment, []reason.Reason) {
	w.part = profile
	defer func() { w.part = nil }()
	s := attack.Segment{Models: models}
	var why []reason.Reason
	for _, step := range w.perModel(name) {
		s.Save = step.each()
		why = append(why, step.reasons(s.Save)...)
	}
	wounds, _, _ := w.trait(Target, w.sequence.Damage.Wounds)
	s.Wounds = max(1, wounds.Number)
	w.lastSaves(&s)
	w.otherSave(&s)
	if w.sure {
		s.Save, s.Other, s.Last = attack.Each{}, attack.Each{}, attack.Each{}
	}
	if hurt == 0 || models == 0 {
		return []attack.Segment{s}, why
	}
	first := s
	first.Models, first.Wounds = 1, max(1, s.Wounds-hurt)
	if models == 1 {
		return []attack.Segment{first}, why
	}
	s.Models--
	return []attack.Segment{first, s}, why
}
