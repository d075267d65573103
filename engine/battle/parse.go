package battle

import (
	"slices"
	"strings"
	"unicode/utf8"

	"drumhead/engine/reason"
)

// ParseSheet reads a side's sheet as people type it: one order a line, also
// ended by a semicolon, units by any unambiguous beginning of their names, what
// lies between as clauses behind the target. A refusal names the line.
//
//	move Pikes 5 north
//	move Crossbows to Bridge
//	cast Veil on Pikes, near Crossbows and Mortar
//	shoot Crossbows at Riders, 20 in, in cover, else Guns
//	split Barge: swivel at Riders 12 in, fire pot at Guns 5 in
//	charge Pikes at Guns, 7.4 in, if Riders are in
//	fight Pikes; hold Mortar at Well; done
func ParseSheet(s State, side int, text string) ([]Line, error) {
	if n := utf8.RuneCountInString(text); n > MaxSheet {
		return nil, refuse("battle.refuse.sheet", "characters", n, "most", MaxSheet)
	}
	written := lines(text)
	if len(written) > MaxLines {
		return nil, refuse("battle.refuse.lines", "lines", len(written), "most", MaxLines)
	}
	if len(written) == 0 {
		return nil, reason.Refuse("done", "battle.refuse.empty")
	}
	var out []Line
	for i, w := range written {
		r := &reader{state: s, side: side, written: w, left: tokens(w)}
		l, why := r.line()
		if why != nil {
			why.Line = i + 1
			return nil, why
		}
		out = append(out, l)
	}
	return out, nil
}

// reader reads one line.
type reader struct {
	state   State
	side    int
	written string   // as typed
	left    []string // tokens not read yet
}

// take reads the words if they come next.
func (r *reader) take(words ...string) bool {
	if len(r.left) < len(words) || !slices.Equal(r.left[:len(words)], words) {
		return false
	}
	r.left = r.left[len(words):]
	return true
}

// any reads the first of several phrases that comes next.
func (r *reader) any(phrases ...string) bool {
	for _, p := range phrases {
		if r.take(strings.Fields(p)...) {
			return true
		}
	}
	return false
}

// next tells whether one of the words comes next, and reads nothing.
func (r *reader) next(words ...string) bool {
	return len(r.left) > 0 && slices.Contains(words, r.left[0])
}

// verbWords is how people say the verbs.
var verbWords = []struct {
	words string
	verb  Verb
}{
	{"fall back", FallBack}, {"fallback", FallBack}, {"move", Move}, {"run", Run}, {"hold", Hold},
	{"cast", Cast}, {"shoot", Shoot}, {"split fire", Split}, {"split", Split},
	{"charge", Charge}, {"fight", Fight}, {"done", Done},
}

func (r *reader) line() (Line, *reason.Refusal) {
	var l Line
	for _, v := range verbWords {
		if r.any(v.words) {
			l.Order = v.verb
			break
		}
	}
	var why *reason.Refusal
	switch l.Order {
	case "":
		return l, r.noVerb()
	case Done:
	case Move, Run, FallBack, Hold:
		why = r.going(&l)
	case Shoot, Charge, Fight:
		why = r.aiming(&l)
	case Split:
		why = r.splitting(&l)
	case Cast:
		why = r.casting(&l)
	}
	if why == nil {
		why = r.clauses(&l)
	}
	return l, why
}

// noVerb refuses a line that begins with no order.
func (r *reader) noVerb() *reason.Refusal {
	said := r.left[:min(1, len(r.left))]
	var list []called
	for _, v := range verbs {
		list = append(list, calledBy(string(v), string(v)))
	}
	word := strings.Join(said, "")
	why := reason.Refuse("hold "+r.mine(), "battle.refuse.verb", "said", reason.Name(word), "orders", shown(list), "nearest", shown(nearest(list, word)))
	return why
}

// mine is the name of a unit of one's own, for examples.
func (r *reader) mine() string {
	if own := r.state.standing(r.side); len(own) > 0 {
		return r.state.Short(own[0].ID)
	}
	return "UNIT"
}

// ways are the directions that people say. They are kept as they were said.
var ways = []string{
	"north east", "north west", "south east", "south west", "northeast", "northwest", "southeast", "southwest",
	"north", "east", "south", "west", "forward", "forwards", "back", "backward", "left", "right",
}

// going reads move, run, fall back and hold: UNIT [N in] [way] [to OBJECTIVE].
func (r *reader) going(l *Line) *reason.Refusal {
	var why *reason.Refusal
	if l.Unit, why = r.unit(); why != nil {
		return why
	}
	for len(r.left) > 0 {
		r.take(",")
		rest := r.left
		switch tenths, ok := r.inches(l.Order != Hold); {
		case ok && l.Tenths != 0 && l.Tenths != tenths: // two distances: neither is meant
			r.left = rest
			return nil
		case ok:
			l.Tenths = tenths
		case l.At == "" && l.Joins == "" && r.any("to the", "to", "at the", "at", "toward", "towards", "on the", "on"):
			if len(r.left) > 0 && strings.Trim(r.left[0], "0123456789.") == "" {
				return reason.Refuse("move "+r.mine()+" 5 north", "battle.refuse.coordinates", "said", reason.Name(r.left[0]))
			}
			if !r.placed() && r.way(l) {
				continue
			}
			if l.Joins = r.friend(l); l.Joins != "" {
				continue
			}
			if l.At, why = r.place(); why != nil {
				return why
			}
		case r.way(l):
		default:
			return nil
		}
	}
	return nil
}

// friend reads a unit of one's own that a unit moves to, "" if none is named so.
func (r *reader) friend(l *Line) string {
	if l.Order != Move {
		return ""
	}
	if places, _ := longest(r.state.places(), r.left); len(places) > 0 {
		return ""
	}
	found, n := longest(r.state.units(r.side), r.left)
	if len(found) != 1 {
		return ""
	}
	r.left = r.left[n:]
	return found[0].id
}

// placed tells whether an objective comes next whose name begins like a way:
// North Buoy, and not north.
func (r *reader) placed() bool {
	found, n := longest(r.state.places(), r.left)
	return len(found) == 1 && n > 1
}

func (r *reader) way(l *Line) bool {
	for _, w := range ways {
		if r.any(w) {
			l.Way = w
			return true
		}
	}
	return false
}

// aiming reads shoot, charge and fight: UNIT [at TARGET].
func (r *reader) aiming(l *Line) *reason.Refusal {
	var why *reason.Refusal
	if l.Unit, why = r.unit(); why != nil {
		return why
	}
	for l.Order == Charge && r.any(", and", "and", ",") && !r.next("at", "into", "on", "against") {
		id, why := r.unit()
		if why != nil {
			return why
		}
		l.Also = add(l.Also, id)
	}
	r.take(",")
	if !r.any("at", "into", "on", "against", "with") {
		if l.Order == Fight {
			return nil
		}
		return reason.Refuse(string(l.Order)+" "+r.state.Short(l.Unit)+" at "+r.enemy(), "battle.refuse.no_target", "order", string(l.Order), "unit", r.state.name(l.Unit))
	}
	l.Aim.At, why = r.target()
	return why
}

func (r *reader) enemy() string {
	if foes := r.state.standing(Other(r.side)); len(foes) > 0 {
		return r.state.Short(foes[0].ID)
	}
	return "TARGET"
}

// splitting reads split: UNIT: WEAPON at TARGET …, WEAPON at TARGET ….
func (r *reader) splitting(l *Line) *reason.Refusal {
	var why *reason.Refusal
	if l.Unit, why = r.unit(); why != nil {
		return why
	}
	for len(r.left) > 0 && !r.ends() {
		if r.any(",", ":", "—", "and") {
			continue
		}
		var a Aim
		if a.Weapon, why = r.weapon(l.Unit); why != nil {
			return why
		}
		if !r.any("at", "into", "on") {
			return reason.Refuse("", "battle.refuse.no_target", "order", string(Split), "unit", r.state.name(l.Unit))
		}
		if a.At, why = r.target(); why != nil {
			return why
		}
		for r.fact(&a, l.Unit, &why) {
		}
		if why != nil {
			return why
		}
		l.Shares = append(l.Shares, a)
	}
	return nil
}

// casting reads cast: [CASTER] POWER on TARGET [near UNITS] [by CASTER].
func (r *reader) casting(l *Line) *reason.Refusal {
	var why *reason.Refusal
	powers := r.powers("")
	if found, n := longest(powers, r.left); n == 0 || len(found) == 0 {
		if l.Unit, why = r.unit(); why != nil {
			return r.noPower()
		}
	}
	found, n := longest(r.powers(l.Unit), r.left)
	if n == 0 {
		return r.noPower()
	}
	if len(found) > 1 {
		return r.several(found, n)
	}
	l.Power = found[0].id
	r.left = r.left[n:]
	r.take(",")
	if !r.any("on", "at", "against", "over") {
		return reason.Refuse("cast "+found[0].shown+" on "+r.mine(), "battle.refuse.no_target", "order", string(Cast), "unit", reason.Name(found[0].shown))
	}
	if l.At, why = r.anyone(r.receivers(l.Power)); why != nil {
		return why
	}
	if l.Unit == "" {
		l.Unit = r.knower(l.Power)
	}
	return nil
}

// noPower refuses words that name no power of one's own.
func (r *reader) noPower() *reason.Refusal {
	powers := r.powers("")
	if len(powers) == 0 {
		return refuse("battle.refuse.no_caster")
	}
	return reason.Refuse("cast "+powers[0].shown+" on "+r.mine(), "battle.refuse.no_power",
		"said", reason.Name(r.said()), "powers", shown(powers))
}

// powers lists what a side's casters know, or one of them.
func (r *reader) powers(unit string) []called {
	var out []called
	seen := map[string]bool{}
	for _, u := range r.state.Units {
		if u.Side != r.side || unit != "" && u.ID != unit {
			continue
		}
		for _, id := range r.state.kind(u.Kind).Powers {
			if p := r.state.Pack.Power(id); p != nil && !seen[id] {
				seen[id] = true
				out = append(out, calledBy(id, p.Title))
			}
		}
	}
	return out
}

// receivers lists whom a power may be cast at, those of the right side first.
func (r *reader) receivers(power string) []called {
	own, foes := r.state.units(r.side), r.state.units(Other(r.side))
	if p := r.state.Pack.Power(power); p != nil && p.Target == "enemy" {
		return append(foes, own...)
	}
	return append(own, foes...)
}

// knower is the first caster of a side that knows a power and has not cast it.
func (r *reader) knower(power string) string {
	first := ""
	for _, u := range r.state.standing(r.side) {
		if !slices.Contains(r.state.kind(u.Kind).Powers, power) {
			continue
		}
		if !slices.Contains(u.Turn.Cast, power) {
			return u.ID
		}
		if first == "" {
			first = u.ID
		}
	}
	if first == "" { // all fell: Check says so of the first that knew it
		for _, u := range r.state.Units {
			if u.Side == r.side && slices.Contains(r.state.kind(u.Kind).Powers, power) {
				return u.ID
			}
		}
	}
	return first
}
