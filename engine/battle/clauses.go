package battle

import (
	"strconv"
	"strings"

	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// clauses reads what stands behind a target: facts, near, else, if.
func (r *reader) clauses(l *Line) *reason.Refusal {
	aim := &l.Aim
	for len(r.left) > 0 {
		var why *reason.Refusal
		switch {
		case r.any(",", "—", "and", "then"):
		case r.any("else", "or else", "otherwise"):
			var next Aim
			if next, why = r.alternative(); why == nil {
				l.Else = append(l.Else, next)
				aim = &l.Else[len(l.Else)-1]
			}
		case l.If == nil && r.any("if", "when"):
			l.If, why = r.condition()
		case l.Order == Cast && l.Near == nil && r.any("near"):
			l.Near, why = r.nearby()
		case l.Order == Cast && r.any("by"):
			l.Unit, why = r.unit()
		case !r.fact(aim, l.Unit, &why) && why == nil:
			why = reason.Refuse(r.example(l), "battle.refuse.clause", "said", reason.Name(strings.Join(r.left, " ")))
		}
		if why != nil {
			return why
		}
	}
	if len(l.Else) > MaxElse {
		return refuse("battle.refuse.else", "most", MaxElse)
	}
	return nil
}

// example is the line without what could not be read.
func (r *reader) example(l *Line) string {
	switch {
	case l.Order == Done:
		return string(Done)
	case l.At == "" || r.state.isObjective(l.At):
		return string(l.Order) + " " + r.state.Short(l.Unit)
	}
	return string(l.Order) + " " + r.state.Short(l.Unit) + " at " + r.state.Short(l.At) + ", 7.4 in"
}

// alternative reads what follows else: hold, or another target.
func (r *reader) alternative() (Aim, *reason.Refusal) {
	if r.any("hold") {
		return Aim{}, nil
	}
	r.any("at", "shoot", "charge")
	at, why := r.target()
	return Aim{At: at}, why
}

// condition reads UNIT is in, UNIT stands, UNIT fell.
func (r *reader) condition() (*Condition, *reason.Refusal) {
	unit, why := r.anyone(append(r.state.units(r.side), r.state.units(Other(r.side))...))
	if why != nil {
		return nil, why
	}
	r.any("is", "are", "has", "have", "still", "was")
	c := &Condition{Unit: unit}
	switch {
	case r.any("in melee", "in contact", "in combat", "in"):
		c.Is = IsIn
	case r.any("stands", "stand", "standing", "alive", "left", "there"):
		c.Is = IsStands
	case r.any("fell", "falls", "fall", "fallen", "gone", "dead", "broken"):
		c.Is = IsFell
	default:
		return nil, reason.Refuse("if "+r.state.Short(unit)+" are in", "battle.refuse.condition", "said", reason.Name(r.said()))
	}
	return c, nil
}

// nearby reads the units that a caster has near: A, B and C.
func (r *reader) nearby() ([]string, *reason.Refusal) {
	all := append(r.state.units(r.side), r.state.units(Other(r.side))...)
	var out []string
	for {
		id, why := r.anyone(all)
		if why != nil {
			return nil, why
		}
		out = add(out, id)
		rest := r.left
		for r.any(",", "and") {
		}
		if found, _ := longest(all, r.left); len(found) == 0 {
			r.left = rest
			return out, nil
		}
	}
}

// fact reads one thing that lies between: a distance, cover, sight, half range,
// an arc, how many models, which weapon. It gives false when none comes next, and
// when what comes next says otherwise than what was said before: of two distances
// neither is meant.
func (r *reader) fact(a *Aim, unit string, why **reason.Refusal) bool {
	before := len(r.left)
	for r.take(",") {
	}
	rest := r.left
	if tenths, ok := r.inches(false); ok {
		if a.Tenths != 0 && a.Tenths != tenths {
			r.left = rest
			return false
		}
		r.any("away", "apart", "range", "off")
		a.Tenths = tenths
		return true
	}
	switch {
	case r.any("in the open", "no cover", "in sight", "in range", "in full view"):
		return true
	case r.any("in cover", "behind cover", "cover"):
		a.Cover = true
		return true
	case r.any("in half range", "within half range", "at half range", "half range", "half"):
		a.Half = true
		return true
	case r.any("no sight", "out of sight", "not in sight", "hidden"):
		a.Hidden = true
		return true
	case r.any("no way back", "no way out", "cut off", "blocked"):
		a.Blocked = true
		return true
	}
	for _, between := range rules.Terrains {
		if (a.Across == "" || a.Across == between) && r.any("across "+between, "across the "+between, "over "+between) {
			a.Across = between
			return true
		}
	}
	for _, arc := range rules.Arcs {
		if (a.Arc == "" || a.Arc == arc) && r.any(arc, "in the "+arc, "from the "+arc, "at the "+arc) {
			a.Arc = arc
			return true
		}
	}
	if len(r.left) > 1 && r.left[0] == "with" && !r.counted(a) {
		if n, err := strconv.Atoi(r.left[1]); err == nil && n > 0 && (a.Models == 0 || a.Models == n) {
			r.left = r.left[2:]
			r.any("models", "model")
			a.Models = n
			return true
		}
		r.left = r.left[1:]
		a.Weapon, *why = r.weapon(unit)
		return *why == nil
	}
	if len(r.left) == before {
		return false
	}
	r.left = append([]string{","}, r.left...)
	return false
}

// counted tells whether another number of models comes next than was said before,
// or another weapon.
func (r *reader) counted(a *Aim) bool {
	n, err := strconv.Atoi(r.left[1])
	return err == nil && a.Models != 0 && a.Models != n || err != nil && a.Weapon != ""
}

// inches reads a length in tenths: 7.4 in, 20 inches; with bare, a number alone.
func (r *reader) inches(bare bool) (int, bool) {
	if len(r.left) == 0 {
		return 0, false
	}
	tenths, ok := tenthsOf(r.left[0])
	if !ok {
		return 0, false
	}
	unit := len(r.left) > 1 && (r.left[1] == "in" || r.left[1] == "inch" || r.left[1] == "inches")
	if unit && r.left[1] == "in" && len(r.left) > 2 && (r.left[2] == "cover" || r.left[2] == "the") {
		unit = len(r.left) > 3 && r.left[2] == "in" // "20 in cover" says 20 without a unit
	}
	if !unit && !bare && !r.alone() {
		return 0, false
	}
	r.left = r.left[1:]
	if unit {
		r.left = r.left[1:]
	}
	return tenths, true
}

// alone tells whether the number that comes next ends its clause or line.
func (r *reader) alone() bool {
	return len(r.left) == 1 || r.left[1] == "," || r.left[1] == "else" || r.left[1] == "if" || r.left[1] == "in"
}

// tenthsOf reads a number of inches with at most one decimal that counts.
func tenthsOf(word string) (int, bool) {
	whole, part, dot := strings.Cut(word, ".")
	n, err := strconv.Atoi(whole)
	if err != nil || n < 0 || n > MaxTenths/10*10 || strings.HasPrefix(word, "+") {
		return 0, false
	}
	tenths := 10 * n
	if !dot {
		return tenths, true
	}
	if len(part) == 0 || len(part) > 3 {
		return 0, false
	}
	p, err := strconv.Atoi(part[:1])
	if err != nil || strings.Trim(part, "0123456789") != "" {
		return 0, false
	}
	if len(part) > 1 && part[1] >= '5' {
		p++
	}
	return tenths + p, true
}

// ends tells whether the clauses that may close any line come next.
func (r *reader) ends() bool {
	for i := range r.left {
		if r.left[i] != "," {
			return r.left[i] == "if" || r.left[i] == "else"
		}
	}
	return true
}
