package battle

import "drumhead/engine/reason"

// Option is what a unit may do in its player's turn as things stand, or why not.
type Option struct {
	Order Verb
	Power string   // of cast
	At    []string // targets that may be named, for orders that have one
	Why   *reason.Refusal
}

// Options lists what a unit may do, in the order of a turn. Out of its player's
// turn it is what it could do if the turn began now. Distances are left open.
func (s State) Options(unit string) []Option {
	u, ok := s.Unit(unit)
	if !ok || !u.Stands() {
		return nil
	}
	v := now(s.own())
	if v.Side != u.Side {
		v.Side, v.Phase = u.Side, 0
	}
	var out []Option
	for _, verb := range v.thinkable(u) {
		out = append(out, v.option(Line{Order: verb, Unit: unit}))
	}
	for _, power := range s.kind(u.Kind).Powers {
		o := v.option(Line{Order: Cast, Unit: unit, Power: power})
		o.Power = power
		out = append(out, o)
	}
	return out
}

// thinkable lists the orders that a unit like this is ever given as it stands.
func (v view) thinkable(u Unit) []Verb {
	if u.InMelee() {
		return []Verb{FallBack, Fight}
	}
	out := []Verb{Move, Run}
	if len(v.shooting(u)) > 0 {
		out = append(out, Shoot)
	}
	return append(out, Charge)
}

// option tries a line at everything that it could be aimed at.
func (v view) option(l Line) Option {
	o := Option{Order: l.Order}
	if l.Order != Shoot && l.Order != Charge && l.Order != Cast {
		o.Why = v.legal(l)
		return o
	}
	for _, t := range v.Units {
		if !t.Stands() || t.ID == l.Unit && l.Order != Cast {
			continue
		}
		tried := l.with(Aim{At: t.ID})
		if l.Order == Charge || v.Pack.Measures(string(l.Order)) {
			tried.Tenths = 10 // near enough for any dice
		}
		if why := v.legal(tried); why == nil {
			o.At = append(o.At, t.ID)
		} else if o.Why == nil || t.Side != v.Side {
			o.Why = why
		}
	}
	if len(o.At) > 0 {
		o.Why = nil
	}
	return o
}
