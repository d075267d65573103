package battle

import (
	"fmt"
	"slices"

	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// Name is what people call a unit: the name that the desk gave it, else the
// pack's title, with a number where a side has several of the kind.
func (s State) Name(id string) string {
	if name, ok := s.Names[id]; ok {
		return name
	}
	u, ok := s.Unit(id)
	if !ok {
		return id
	}
	return s.numbered(u, s.kind(u.Kind).Title)
}

// Short is the pack's short name, numbered in the same way; a name that the
// desk gave stays whole.
func (s State) Short(id string) string {
	if name, ok := s.Names[id]; ok {
		return name
	}
	u, ok := s.Unit(id)
	if !ok {
		return id
	}
	return s.numbered(u, s.kind(u.Kind).Short)
}

// numbered adds which of its kind a unit is, on its side.
func (s State) numbered(u Unit, name string) string {
	n, before := 0, 0
	for _, other := range s.Units {
		if other.Side == u.Side && other.Kind == u.Kind {
			if n++; other.ID == u.ID {
				before = n
			}
		}
	}
	if n > 1 {
		return fmt.Sprintf("%s %d", name, before)
	}
	return name
}

// name is a unit's short name to be shown as it stands.
func (s State) name(id string) reason.Name { return reason.Name(s.Short(id)) }

// names is the short names of units.
func (s State) names(units []Unit) []reason.Name {
	out := []reason.Name{}
	for _, u := range units {
		out = append(out, s.name(u.ID))
	}
	return out
}

// kind is the pack's unit of an id; an empty one if the pack has none.
func (s State) kind(id string) *rules.Unit {
	if s.Pack != nil {
		if u := s.Pack.Unit(id); u != nil {
			return u
		}
	}
	return &rules.Unit{ID: id, Title: id, Short: id}
}

// Objectives is the scenario's objectives.
func (s State) Objectives() []rules.Objective { return s.objectives() }

func (s State) objectives() []rules.Objective {
	if s.Pack == nil {
		return nil
	}
	sc := s.Pack.Scenario(s.Terms.Scenario)
	if sc == nil {
		return nil
	}
	return sc.Objectives
}

// Objective is what people call an objective.
func (s State) Objective(id string) string {
	for _, o := range s.objectives() {
		if o.ID == id {
			return o.Title
		}
	}
	return id
}

func (s State) isObjective(id string) bool {
	return slices.ContainsFunc(s.objectives(), func(o rules.Objective) bool { return o.ID == id })
}

// powerTitle is what people call a power.
func (s State) powerTitle(id string) reason.Name {
	if p := s.Pack.Power(id); p != nil {
		return reason.Name(p.Title)
	}
	return reason.Name(id)
}

func scenarioTitles(p *rules.Pack) []reason.Name {
	var out []reason.Name
	for _, s := range p.Scenarios {
		out = append(out, reason.Name(s.Title))
	}
	return out
}
