package commands

import (
	"drumhead/commands/chat"
	"drumhead/engine/battle"
	"drumhead/engine/reason"
)

// tabled tells what only some games know: pools, tables, opposed rolls, tests
// that are passed or not, and what comes of them.
func (t tale) tabled(e battle.Event) chat.Line {
	switch e := e.(type) {
	case *battle.Volleyed:
		return t.volleyed(e)
	case *battle.Looked:
		return t.looked(e)
	case *battle.Contested:
		return t.contested(e)
	case *battle.Tried:
		id := "battle.told.tried_fails"
		if e.Passed {
			id = "battle.told.tried"
		}
		return t.say(id, "step", reason.Name(t.after.Pack.Step(e.Step).Words), "unit", t.after.unit(e.Unit), "dice", t.summed(e.Dice, e.Total), "total", e.Total, "need", e.Need)
	case *battle.Mended:
		return t.say("battle.told.mended", "unit", t.after.unit(e.Unit), "dice", fallen{good: e.Dice}.text(false), "n", e.Passed, "part", t.part(e.Line))
	case *battle.Blown:
		return t.blown(e)
	case *battle.Weakened:
		return t.say("battle.told.weakened", "unit", t.after.unit(e.Unit), "n", e.By, "name", reason.Name(t.after.called(e.Characteristic)))
	case *battle.Retreated:
		if e.Blocked {
			return t.say("battle.told.cornered", "unit", t.after.unit(e.Unit))
		}
		return t.say("battle.told.retreated", "unit", t.after.unit(e.Unit), "n", reason.Inches(e.Tenths))
	case *battle.Drifted:
		return t.say("battle.told.drifted", "unit", t.after.unit(e.Unit), "n", reason.Inches(e.Tenths))
	case *battle.Followed:
		return t.say("battle.told.followed", "unit", t.after.unit(e.Unit), "at", reason.Name(t.after.Objective(e.At)))
	case *battle.Lifted:
		return t.say("battle.told.lifted", "unit", t.after.unit(e.Unit), "status", reason.Name(t.after.statusWords(e.Status)))
	case *battle.Scattered:
		return t.say("battle.told.scattered", "unit", t.after.unit(e.Unit), "n", e.Fled, "left", e.Left)
	case *battle.Met:
		return t.say("battle.told.met", "unit", t.after.unit(e.Unit), "at", t.target(e.Line, e.Unit, e.At))
	}
	return nil
}

// blown tells a roll for what may carry a unit away.
func (t tale) blown(e *battle.Blown) chat.Line {
	step := t.after.Pack.Step(t.after.Pack.SequenceOf(string(battle.Run)).Steps[0])
	if len(e.Dice) == 1 {
		return t.say("battle.told.blown_one", "step", reason.Name(step.Words), "unit", t.after.unit(e.Unit), "total", e.Total)
	}
	return t.say("battle.told.blown", "step", reason.Name(step.Words), "unit", t.after.unit(e.Unit), "dice", plus(e.Dice), "total", e.Total)
}

// out tells whether a unit is one that is not counted in models: a ship, a brigade.
func (t tale) out(u battle.Unit) bool {
	return u.Size == 1 && t.after.Pack.WoundsCalled() != "wounds"
}

// called is what the pack calls a characteristic.
func (f field) called(id string) string {
	if c := f.Pack.Characteristic(id); c != nil {
		return c.Words
	}
	return id
}

func (f field) statusWords(id string) string {
	if s := f.Pack.Status(id); s != nil {
		return s.Words
	}
	return id
}

// volleyed tells how many hit, how many of those were cancelled, and what that
// crossed off.
func (t tale) volleyed(e *battle.Volleyed) chat.Line {
	end := t.end(e.Crossed, e.Fell, e.Left)
	if more := e.Crossed - e.Points; more > 0 && e.Fell == 0 {
		end = t.say("battle.told.end.marked", "n", e.Points, "more", more, "name", reason.Name(t.after.Pack.WoundsCalled()))
	}
	missed := "" // "_miss" where nothing hit
	if e.Hits == 0 {
		missed = "_miss"
	}
	if e.How == battle.Charge {
		return t.say("battle.told.rammed"+missed, "unit", t.after.unit(e.Unit), "at", t.target(e.Line, e.Unit, e.At),
			"hits", e.Hits, "of", e.Mine, "stopped", min(e.Hits, e.Stopped), "end", end, "part", t.part(e.Line))
	}
	weapon := reason.Name(e.Weapon)
	if w := t.after.Pack.Weapon(e.Weapon); w != nil {
		weapon = reason.Name(w.Title)
	}
	return t.say("battle.told.volley"+missed, "unit", t.after.unit(e.Unit), "at", t.target(e.Line, e.Unit, e.At), "weapon", weapon,
		"hits", e.Hits, "of", e.Mine, "stopped", min(e.Hits, e.Stopped), "end", end, "part", t.part(e.Line))
}

// looked tells a roll on a table: the odds and the column of an assault, the mark
// of a hull, and what the table says.
func (t tale) looked(e *battle.Looked) chat.Line {
	table := t.after.Pack.Table(e.Table)
	words := reason.Name(table.Rows[e.Row].Words)
	if r := t.after.Pack.Result(t.cell(e)); r != nil {
		words = reason.Name(r.Words)
	}
	switch {
	case e.Mark > 0:
		return t.say("battle.told.marked", "unit", t.after.unit(e.Unit), "mark", e.Mark, "words", words, "dice", plus(e.Dice), "total", e.Total)
	case e.At == "":
		return t.say("battle.told.looked", "unit", t.after.unit(e.Unit), "table", reason.Name(table.Words), "words", words, "dice", plus(e.Dice), "total", e.Total)
	}
	units := append([]string{e.Unit}, e.Also...)
	if table.Columns == "" {
		return t.say("battle.told.looked_at", "units", t.after.unitNamesOf(units), "at", t.target(e.Line, e.Unit, e.At),
			"table", reason.Name(table.Words), "dice", plus(e.Dice), "words", words, "part", t.part(e.Line))
	}
	return t.say("battle.told.assault", "units", t.after.unitNamesOf(units), "at", t.target(e.Line, e.Unit, e.At), "first", e.First, "second", e.Second,
		"odds", t.column(e), "dice", plus(e.Dice), "words", words, "part", t.part(e.Line))
}

// cell is the result of a table with columns, "" of one without.
func (t tale) cell(e *battle.Looked) string {
	if cells := t.after.Pack.Table(e.Table).Rows[e.Row].Cells; e.Column < len(cells) {
		return cells[e.Column]
	}
	return ""
}

// column is the column of a table as the pack writes it.
func (t tale) column(e *battle.Looked) string {
	if chart := t.after.Pack.Chart(t.after.Pack.Table(e.Table).Columns); chart != nil && e.Column < len(chart.Columns) {
		return chart.Columns[e.Column].String()
	}
	return ""
}

// summed shows what a total is made of: its dice, and what counts besides them.
func (t tale) summed(dice []int, total int) any {
	for _, d := range dice {
		total -= d
	}
	switch {
	case total > 0:
		return t.say("battle.told.and", "dice", plus(dice), "n", total)
	case total < 0:
		return t.say("battle.told.less", "dice", plus(dice), "n", -total)
	}
	return plus(dice)
}

func (t tale) contested(e *battle.Contested) chat.Line {
	id := map[int]string{1: "battle.told.contest_won", 0: "battle.told.contest_tied", -1: "battle.told.contest_lost"}[e.Won]
	again := chat.Line(nil)
	if e.Bouts > 1 {
		again = t.say("battle.told.bouts", "n", e.Bouts-1)
	}
	return t.say(id, "unit", t.after.unit(e.Unit), "at", t.target(e.Line, e.Unit, e.At), "dice", t.summed(e.Dice, e.Mine), "mine", e.Mine,
		"other", t.summed(e.Other, e.Theirs), "theirs", e.Theirs, "again", again, "part", t.part(e.Line))
}

// suffering is why a unit suffers, where it is no power.
func (t tale) suffering(e *battle.Suffered) chat.Line {
	switch e.Why {
	case battle.Mishap, battle.Blast, battle.ByContest, battle.Cornered, battle.Beside:
		return t.say("battle.told.suffer_" + e.Why)
	case battle.ByTest:
		if step := t.after.Pack.Step(e.Of); step != nil {
			return t.say("battle.told.suffer_named", "power", reason.Name(step.Words))
		}
		return t.say("battle.told.suffer_table")
	case battle.ByStatus:
		return t.say("battle.told.suffer_named", "power", reason.Name(t.after.statusWords(e.Of)))
	case battle.ByTable:
		if table := t.after.Pack.Table(e.Of); table != nil {
			return t.say("battle.told.suffer_named", "power", reason.Name(table.Words))
		}
		return t.say("battle.told.suffer_table")
	}
	if p := t.after.Pack.Power(e.Why); p != nil {
		return t.say("battle.told.suffer_named", "power", reason.Name(p.Title))
	}
	return t.say("battle.told.suffer_power")
}

// told explains a roll of a game with pools or tables: its line, and why.
func (x explainer) tabled(t battle.Told) []chat.Line {
	lines := []chat.Line{x.head(t)}
	for _, why := range t.Why {
		lines = append(lines, x.say("battle.why.line", "why", why))
	}
	switch t.What {
	case battle.AVolley:
		mine, theirs := t.Pools.Pools.Mine, t.Pools.Pools.Theirs
		lines = append(lines,
			x.say("battle.why.pool", "unit", x.unit(t.Unit), "dice", facesOf(t.Volley.Pools.Mine.Step.Passes, mine.Faces()), "n", mine.On),
			x.say("battle.why.pool", "unit", x.unit(t.At), "dice", facesOf(t.Volley.Pools.Theirs.Step.Passes, theirs.Faces()), "n", theirs.On))
		lines = append(lines, x.beforeVolley(t)...)
	case battle.AMending:
		lines = append(lines, x.say("battle.why.pool", "unit", x.unit(t.Unit), "dice", facesOf(t.Pool.Step.Passes, t.Rolled.Faces()), "n", t.Rolled.On))
	case battle.AContest:
		if w, err := t.Opposed.Solve(); err == nil {
			lines = append(lines, x.say("battle.why.before_contest", "mine", percent(w.Mine), "theirs", percent(w.Theirs)))
		}
	case battle.ALook:
		if e := t.Event.(*battle.Looked); e.At != "" {
			if results, err := battle.Results(t.Looked); err == nil {
				lines = append(lines, x.say("battle.why.before_look", "chance", percent(exactly(results, t.Sum.Total))))
			}
		}
	case battle.ATest:
		if chance, err := t.Total.Made(); err == nil {
			lines = append(lines, x.say("battle.why.before_test", "chance", outOf(chance, t.Total)))
		}
	}
	return lines
}

// beforeVolley is how likely a volley was to cross off as much as it did, or more;
// of one that crossed off nothing, how likely just that was.
func (x explainer) beforeVolley(t battle.Told) []chat.Line {
	law, err := t.Volley.Law()
	if err != nil {
		return nil
	}
	if crossed := t.Event.(*battle.Volleyed).Crossed; crossed > 0 {
		return []chat.Line{x.say("battle.why.before_volley", "chance", percent(law.AtLeast(crossed)))}
	}
	return []chat.Line{x.say("battle.why.before_volley_none", "chance", percent(law.Exactly(0)))}
}

// facesOf shows dice, those that passed first.
func facesOf(passes func(int) bool, faces []int) string {
	var f fallen
	for _, face := range faces {
		if passes(face) {
			f.good = append(f.good, face)
		} else {
			f.rest = append(f.rest, face)
		}
	}
	return f.text(false)
}
