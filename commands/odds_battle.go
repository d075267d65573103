package commands

import (
	"cmp"
	"errors"
	"slices"
	"strings"

	"drumhead/commands/chat"
	"drumhead/engine/attack"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
)

// oddsOfLines reckons lines of a sheet in the battle here, for either side: also
// what the other might do.
func (a *ask) oddsOfLines(text string) (*answer, error) {
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	side := f.side()
	if side == battle.Nobody {
		side = f.Side
	}
	all, err := f.prospects(side, text)
	if err != nil {
		theirs, failed := f.prospects(battle.Other(side), text)
		if failed != nil {
			return nil, f.oddsRefused(err, text)
		}
		all = theirs
	}
	p := a.post()
	var last *chances
	aimed := map[string]bool{}
	for _, one := range all {
		lines, c := f.prospect(one, aimed[one.At])
		aimed[one.At] = true
		p.Lines = append(p.Lines, lines...)
		if c != nil {
			last = c
		}
	}
	p.Lines = append(p.Lines, f.assumptions(all)...)
	if last != nil {
		p.Pictures, p.Law = last.picture(), fromZero(last.law)
	} else if one := all[len(all)-1]; one.What == battle.ALook {
		p.Law = inOrder(one.Results)
	} else if one.What != battle.AnAttack {
		p.Law = []float64{1 - one.In, one.In}
	}
	return only(p)
}

// oddsRefused tells a refusal of lines: of a single one no number is said.
func (f field) oddsRefused(err error, text string) error {
	r, ok := err.(*reason.Refusal)
	if ok && len(written(text)) < 2 {
		one := *r
		one.Line = 0
		err = &one
	}
	return oddsTyped(f.named(err))
}

// oddsTyped makes the example of a refused line one that can be typed.
func oddsTyped(err error) error {
	r, ok := err.(*reason.Refusal)
	if !ok || r.Example == "" {
		return err
	}
	one := *r
	line := strings.TrimPrefix(r.Example, "/order ")
	switch {
	case strings.HasPrefix(line, "/"):
	case spokenChance.MatchString(line):
		one.Example = "/odds " + line
	default:
		one.Example = "" // no die decides it
	}
	one.Line = 0
	return &one
}

// prospects reads and reckons lines; "Mortar at Riders" is a shot, or a strike by
// who cannot shoot.
func (f field) prospects(side int, text string) ([]battle.Prospect, error) {
	if !spokenVerb.MatchString(text) {
		all, err := f.prospects(side, "shoot "+text)
		if err == nil {
			return all, nil
		}
		if strike, failed := f.prospects(side, "fight "+text); failed == nil {
			return strike, nil
		}
		return nil, err
	}
	lines, err := battle.ParseSheet(f.State, side, text)
	if err != nil {
		return nil, err
	}
	return battle.Prospects(f.State, side, lines)
}

// prospect tells what one line promises; of a later one at the same target what all
// of them do together.
func (f field) prospect(p battle.Prospect, later bool) ([]chat.Line, *chances) {
	slots := []any{"unit", f.unit(p.Unit), "at", f.unit(p.At), "chance", percent(p.In), "stands", percent(p.Stands)}
	var lines []chat.Line
	switch p.What {
	case battle.ALook:
		all := f.unitNamesOf(append([]string{p.Unit}, p.Also...))
		lines = append(lines, f.say("odds.look", "units", all, "at", f.unit(p.At), "column", p.Column))
		lines = append(lines, f.results(p.Results)...)
		lines = append(lines, f.losses(p.Looked, p.Stakes)...)
	case battle.AContest:
		lines = append(lines, f.say("odds.contest", slots...))
	case battle.ACharge:
		lines = append(lines, f.say("odds.charge", slots...))
	case battle.ACast:
		id := "odds.cast"
		if p.Opposed {
			id = "odds.cast_opposed"
		}
		lines = append(lines, f.say(id, append(slots, "power", reason.Name(f.Pack.Power(p.Power).Title))...))
		if p.Mishap > 0 {
			lines = append(lines, f.say("odds.mishap", "chance", oneIn(p.Mishap)))
		}
	}
	if !p.Strikes {
		return lines, nil
	}
	c := f.fallen(p.At, p.Before, p.Solved)
	if p.What != battle.AnAttack {
		c.head = f.say("odds.then", "unit", f.unit(p.At))
	} else {
		id := "odds.attack"
		if later {
			id = "odds.also"
		}
		c.head = f.say(id, "unit", f.unit(p.Unit), "at", f.unit(p.At), "weapons", f.weaponTitles(p))
		if len(p.Weapons) == 0 {
			c.head = f.say("odds.bare", "unit", f.unit(p.Unit), "at", f.unit(p.At))
		}
	}
	lines = append(lines, c.lines()...)
	lines = append(lines, f.destroyed(p.At, p.Before, p.Solved))
	if p.Second {
		lines = append(lines, f.say("odds.second", "unit", f.unit(p.Unit), "at", f.unit(p.At)))
	}
	if p.Marks {
		lines = append(lines, f.say("odds.marks"))
	}
	return lines, &c
}

func (f field) weaponTitles(p battle.Prospect) []reason.Name {
	var out []reason.Name
	for _, w := range p.Weapons {
		out = append(out, reason.Name(w.Title))
	}
	return out
}

// fallen is the law of the models that fall, or of wounds where only one stands.
func (f field) fallen(unit string, before int, solved attack.Solved) chances {
	if u, _ := f.Unit(unit); u.Left > 1 {
		return chances{ask: f.ask, what: "odds.what.models", law: solved.Fell(before)}
	}
	if wounds := f.Pack.WoundsCalled(); wounds != "wounds" {
		return chances{ask: f.ask, what: "odds.what.crossed", law: solved.Crossed(before)}
	}
	return chances{ask: f.ask, what: "odds.what.wounds", law: solved.Crossed(before)}
}

// destroyed says how likely nobody is left, and how many points that takes off.
func (f field) destroyed(unit string, before int, solved attack.Solved) chat.Line {
	return f.say("odds.gone", "unit", f.unit(unit), "chance", percent(solved.Destroyed()), "points", decimal(f.removed(unit, before, solved)))
}

// removed is how many points an attack takes off the table on average.
func (f field) removed(unit string, before int, solved attack.Solved) float64 {
	u, _ := f.Unit(unit)
	kind := f.Pack.Unit(u.Kind)
	if each := kind.Each(f.Pack); each > 0 {
		return solved.Fell(before).Mean() * float64(each)
	}
	return solved.Destroyed() * float64(kind.Points(u.Size, f.Pack))
}

// assumptions says what was taken for granted because nobody said it.
func (f field) assumptions(all []battle.Prospect) []chat.Line {
	var unsaid []reason.Name
	for _, p := range all {
		if p.Unsaid && !slices.Contains(unsaid, f.unit(p.Unit)) {
			unsaid = append(unsaid, f.unit(p.Unit))
		}
	}
	if len(unsaid) == 0 {
		return nil
	}
	return []chat.Line{f.say("battle.told.assumed", "units", unsaid)}
}

// target is one enemy that a unit could aim at, for comparing.
type target struct {
	prospect battle.Prospect
	points   float64
}

// oddsBest compares what a unit could aim at: points that it would take off on
// average, then the chance that nobody is left, then what is crossed off, then by
// name. What is said behind the name, a distance or cover, holds for every target.
func (a *ask) oddsBest(text string) (*answer, error) {
	name, facts, _ := strings.Cut(text, ",")
	f, err := a.battle()
	if err != nil {
		return nil, err
	}
	u, err := f.find(name)
	if err != nil {
		return nil, err
	}
	var all []target
	var refused error
	for _, t := range f.Units {
		if t.Side == u.Side || !t.Stands() {
			continue
		}
		one, err := f.aimed(u, t, facts)
		if err != nil {
			refused = err
			continue
		}
		all = append(all, target{one, f.removed(t.ID, one.Before, one.Solved)})
	}
	if len(all) == 0 {
		return nil, f.bestRefused(refused, u, name)
	}
	slices.SortStableFunc(all, func(x, y target) int {
		return cmp.Or(cmp.Compare(y.points, x.points), cmp.Compare(y.prospect.Solved.Destroyed(), x.prospect.Solved.Destroyed()),
			cmp.Compare(y.crossed(), x.crossed()), cmp.Compare(f.Short(x.prospect.At), f.Short(y.prospect.At)))
	})
	p := a.post(f.say("odds.best", "unit", f.unit(u.ID), "at", f.unit(all[0].prospect.At)))
	var compared []battle.Prospect
	for _, t := range all {
		p.Lines = append(p.Lines, f.targetLine(t))
		compared = append(compared, t.prospect)
	}
	if slices.ContainsFunc(all, f.outlives) {
		p.Lines = append(p.Lines, f.say("odds.whole"))
	}
	p.Lines = append(p.Lines, f.assumptions(compared)...)
	p.Law = fromZero(f.fallen(all[0].prospect.At, all[0].prospect.Before, all[0].prospect.Solved).law)
	return only(p)
}

// crossed is how much an attack crosses off on average: wounds, hull, steps.
func (t target) crossed() float64 { return t.prospect.Solved.Crossed(t.prospect.Before).Mean() }

// targetLine is one target among those compared.
func (f field) targetLine(t target) chat.Line {
	if wounds := f.Pack.WoundsCalled(); wounds != "wounds" {
		return f.say("odds.target_worn", "unit", f.unit(t.prospect.At), "points", decimal(t.points),
			"n", decimal(t.crossed()), "name", reason.Name(wounds), "chance", percent(t.prospect.Solved.Destroyed()))
	}
	return f.say("odds.target", "unit", f.unit(t.prospect.At), "points", decimal(t.points),
		"n", decimal(t.prospect.Solved.Fell(t.prospect.Before).Mean()), "chance", percent(t.prospect.Solved.Destroyed()))
}

// bestRefused is why nothing can be compared: where a distance is missing, one can
// be said for all.
func (f field) bestRefused(err error, u battle.Unit, name string) error {
	var r *reason.Refusal
	if errors.As(err, &r) && r.Reason.ID == "battle.refuse.gap_shot" {
		return refuse("/odds best "+f.Short(u.ID)+", 12 in", "odds.refuse.gap", "unit", f.unit(u.ID))
	}
	return f.oddsRefused(err, name)
}

// outlives tells whether the target can lose something that costs no points: a
// wound that its model outlives, or a model of a unit with one price.
func (f field) outlives(t target) bool {
	u, _ := f.Unit(t.prospect.At)
	kind := f.Pack.Unit(u.Kind)
	return kind.Each(f.Pack) == 0 || kind.Price > 0 || f.Pack.Wounds(rules.Group{Unit: kind.ID, Models: 1}) > 1
}

// aimed reckons a unit's shots at a target, or its strike if it cannot shoot or is
// in melee; facts are said as in a sheet: "12 in, in cover".
func (f field) aimed(u, t battle.Unit, facts string) (battle.Prospect, error) {
	verbs := []battle.Verb{battle.Shoot, battle.Fight}
	if u.InMelee() {
		verbs = verbs[1:]
	}
	var refused error
	for _, verb := range verbs {
		lines := []battle.Line{{Order: verb, Unit: u.ID, Aim: battle.Aim{At: t.ID}}}
		if facts != "" && verb == battle.Shoot {
			said, err := battle.ParseSheet(f.State, u.Side, "shoot "+f.Short(u.ID)+" at "+f.Short(t.ID)+","+facts)
			if err != nil {
				return battle.Prospect{}, err
			}
			lines[0].Aim = said[0].Aim
			lines[0].Aim.At = t.ID
		}
		all, err := battle.Prospects(f.State, u.Side, lines)
		if err == nil && all[0].Strikes {
			return all[0], nil
		}
		refused = cmp.Or(refused, err)
	}
	if refused == nil { // nothing of it is about wounds
		refused = refuse("", "odds.refuse.nothing")
	}
	return battle.Prospect{}, refused
}
