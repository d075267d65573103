package battle

import (
	"strconv"
	"strings"
	"unicode/utf8"

	"drumhead/engine/reason"
)

// aheadExample is a line of standing orders that this game knows.
func (s State) aheadExample() string {
	switch {
	case s.Pack == nil || s.Pack.Does(string(Cast)) != "" && s.Pack.RerollsEachTurn > 0:
		return "/battle ahead counter any cast; re-roll one lost save of 5+"
	case s.Pack.Does(string(Cast)) != "":
		return "/battle ahead counter any cast"
	}
	return "/battle ahead casualties from the back"
}

// ParseAhead reads standing orders as people type them, one a line, also ended
// by a semicolon:
//
//	counter any cast · counter at least 7 · never counter
//	re-roll one lost Rider save of 5+ or better · never re-roll
//	casualties from the back · casualties plainest first, keep Captain
func ParseAhead(s State, side int, text string) ([]Standing, error) {
	if n := utf8.RuneCountInString(text); n > MaxSheet {
		return nil, refuse("battle.refuse.sheet", "characters", n, "most", MaxSheet)
	}
	var out []Standing
	for i, w := range lines(text) {
		r := &reader{state: s, side: side, written: w, left: tokens(w)}
		o, why := r.standing()
		if why == nil {
			why = s.idle(o)
		}
		if why == nil && len(r.left) > 0 {
			why = reason.Refuse(s.aheadExample(), "battle.refuse.clause", "said", reason.Name(strings.Join(r.left, " ")))
		}
		if why != nil {
			why.Line = i + 1
			if !strings.HasPrefix(why.Example, "/") {
				why.Example = s.aheadExample() // a line of a sheet is none of these
			}
			return nil, why
		}
		out = append(out, o)
	}
	if len(out) == 0 || len(out) > MaxLines {
		return nil, reason.Refuse(s.aheadExample(), "battle.refuse.ahead_empty", "most", MaxLines)
	}
	return out, nil
}

// idle refuses an order that can never act in this game.
func (s State) idle(o Standing) *reason.Refusal {
	switch {
	case s.Pack == nil:
	case o.Reroll != nil && (s.Pack.RerollsEachTurn == 0 || s.Pack.Standing.Reroll == "never"):
		return reason.Refuse("/battle status", "battle.refuse.no_reroll", "pack", reason.Name(s.Pack.Title))
	case o.Counter != nil && s.Pack.Does(string(Cast)) == "":
		return reason.Refuse("/battle status", "battle.refuse.no_counter", "pack", reason.Name(s.Pack.Title))
	}
	return nil
}

func (r *reader) standing() (Standing, *reason.Refusal) {
	switch {
	case r.any("never counter", "do not counter", "don't counter", "no counter"):
		return Standing{Counter: &CounterOrder{Never: true}}, nil
	case r.any("counter"):
		return r.counterOrder()
	case r.any("never re roll", "never reroll", "no re roll", "no reroll"):
		return Standing{Reroll: &RerollOrder{Never: true}}, nil
	case r.any("re roll", "reroll"):
		return r.rerollOrder()
	case r.any("casualties", "who falls"):
		return r.fallsOrder()
	}
	return Standing{}, reason.Refuse(r.state.aheadExample(), "battle.refuse.ahead_what", "said", reason.Name(strings.Join(r.left, " ")))
}

// counterOrder reads: any cast, always, never, at least N.
func (r *reader) counterOrder() (Standing, *reason.Refusal) {
	c := &CounterOrder{}
	switch {
	case r.any("never", "nothing"):
		c.Never = true
	case r.any("any cast", "any power", "every cast", "any", "always", "everything"):
	default:
		r.any("casts of", "a cast of", "from", "at least")
		n, ok := r.number()
		if !ok || n < 2 || n > mostCastNeed {
			return Standing{}, reason.Refuse("/battle ahead counter at least 7", "battle.refuse.counter", "said", reason.Name(strings.Join(r.left, " ")))
		}
		r.any("or more", "or better", "up")
		c.AtLeast = n
	}
	return Standing{Counter: c}, nil
}

// mostCastNeed bounds the casting roll that a standing order may speak of.
const mostCastNeed = 100

// number reads a whole number, also "5+".
func (r *reader) number() (int, bool) {
	if len(r.left) == 0 {
		return 0, false
	}
	n, err := strconv.Atoi(strings.TrimSuffix(r.left[0], "+"))
	if err != nil || strings.HasPrefix(r.left[0], "+") {
		return 0, false
	}
	r.left = r.left[1:]
	return n, true
}

// rerollOrder reads: one lost [UNIT] save [of N+ [or better]].
func (r *reader) rerollOrder() (Standing, *reason.Refusal) {
	o := &RerollOrder{}
	r.any("one", "the first", "a")
	r.any("lost", "failed")
	if !r.any("save", "saves") {
		id, why := r.unit()
		if why != nil {
			return Standing{}, why
		}
		o.Unit = id
		r.any("'s")
		if !r.any("save", "saves") {
			return Standing{}, reason.Refuse(r.state.aheadExample(), "battle.refuse.reroll", "said", reason.Name(strings.Join(r.left, " ")))
		}
	}
	if r.any("of", "at", "on") {
		n, ok := r.number()
		if !ok || n < 2 || n > 6 {
			return Standing{}, reason.Refuse(r.state.aheadExample(), "battle.refuse.reroll", "said", reason.Name(strings.Join(r.left, " ")))
		}
		r.any("or better")
		o.Need = n
	}
	r.any("a turn", "once a turn")
	return Standing{Reroll: o}, nil
}

// fallsOrder reads: from the back, plainest first, keep UNIT.
func (r *reader) fallsOrder() (Standing, *reason.Refusal) {
	f := &FallsOrder{}
	if !r.any("from the back", "plainest first") && (len(r.left) == 0 || r.left[0] != "keep") {
		return Standing{}, reason.Refuse("/battle ahead casualties from the back", "battle.refuse.falls", "said", reason.Name(strings.Join(r.left, " ")))
	}
	r.any(",")
	if r.any("keep the", "keep") {
		if f.Part = r.part(); f.Part != "" {
			return Standing{Falls: f}, nil
		}
		id, why := r.unit()
		if why != nil {
			return Standing{}, why
		}
		f.Keep = id
	}
	return Standing{Falls: f}, nil
}

// part reads models that stand in a unit of one's own unlike the rest, "" if none
// are called so.
func (r *reader) part() string {
	var list []called
	for _, u := range r.state.Units {
		if u.Side != r.side {
			continue
		}
		for _, other := range r.state.kind(u.Kind).Others {
			list = append(list, calledBy(other.ID, other.Title))
		}
	}
	found, n := longest(list, r.left)
	if n == 0 || len(found) == 0 {
		return ""
	}
	r.left = r.left[n:]
	return found[0].id
}
