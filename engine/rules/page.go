package rules

import (
	"strconv"
	"strings"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// Section is a part of a pack's rules in plain words. Title names it; ID is by
// what one may ask for it.
type Section struct {
	ID    string
	Title reason.Reason
	Lines []reason.Reason
}

// Page is the rules of the pack in plain words, made of the same values that
// play it.
func (p *Pack) Page() []Section {
	all := []Section{
		p.section("turn", p.turnLines()),
		p.section("movement", p.movementLines()),
	}
	for i := range p.Sequences {
		seq := &p.Sequences[i]
		all = append(all, Section{seq.Order, reason.New("page.title.sequence", "name", reason.Name(seq.ID), "order", seq.Order), p.sequenceLines(seq)})
	}
	for i := range p.Charts {
		c := &p.Charts[i]
		all = append(all, Section{c.ID, reason.New("page.title.chart", "name", reason.Name(c.Words)), p.chartLines(c)})
	}
	for i := range p.Tables {
		t := &p.Tables[i]
		all = append(all, Section{t.ID, reason.New("page.title.table", "name", reason.Name(t.Words)), p.tableLines(t)})
	}
	all = append(all,
		p.section("effects", p.effectLines()), p.section("statuses", p.statusLines()), p.section("keywords", p.keywordLines()),
		p.section("powers", p.powerLines()), p.section("weapons", p.weaponLines()), p.section("muster", p.musterLines()))
	for i := range p.Armies {
		a := &p.Armies[i]
		all = append(all, Section{a.ID, reason.New("page.title.army", "name", reason.Name(a.Title)), p.armyLines(a)})
	}
	all = append(all, p.section("scenarios", p.scenarioLines()), p.section("standing", p.standingLines()))
	return keepFull(all)
}

func (p *Pack) section(id string, lines []reason.Reason) Section {
	return Section{id, reason.New("page.title." + id), lines}
}

// keepFull leaves out sections without a line.
func keepFull(all []Section) []Section {
	var full []Section
	for _, s := range all {
		if len(s.Lines) > 0 {
			full = append(full, s)
		}
	}
	return full
}

func (p *Pack) turnLines() []reason.Reason {
	var lines []reason.Reason
	for i, phase := range p.Phases {
		lines = append(lines, reason.New("page.phase", "n", i+1, "name", reason.Name(phase.ID), "orders", phase.Allows))
	}
	if p.RerollsEachTurn > 0 {
		lines = append(lines, reason.New("page.rerolls", "n", p.RerollsEachTurn))
	}
	return lines
}

func (p *Pack) movementLines() []reason.Reason {
	m := p.Movement
	lines := []reason.Reason{reason.New("page.pace", "name", reason.Name(p.wordsFor(m.Pace)))}
	if m.RunAdds != (attack.Amount{}) {
		lines = append(lines, reason.New("page.run", "adds", m.RunAdds.String()))
	}
	for _, s := range []struct{ verb, status string }{{"run", m.RunStatus}, {"fall_back", m.FallBackStatus}} {
		if status := p.Status(s.status); status != nil {
			lines = append(lines, reason.New("page.after_"+s.verb, "status", reason.Name(status.Words)))
		}
	}
	lines = append(lines, reason.New("page.spacing", "n", m.Spacing))
	if m.Cohesion > 0 {
		lines = append(lines, reason.New("page.cohesion", "n", m.Cohesion))
	}
	lines = append(lines, reason.New("page.strikes."+slug(p.Melee.Strikes), "name", reason.Name(p.wordsFor(p.Melee.By))))
	if p.Melee.CloseUp > 0 {
		lines = append(lines, reason.New("page.close_up", "n", p.Melee.CloseUp))
	}
	return lines
}

// slug is a word of a closed set as ids of sentences have it.
func slug(word string) string {
	if word == "" {
		return "none"
	}
	return strings.ReplaceAll(word, " ", "_")
}

// joined is reasons as one, by a sentence with the slots first and next.
func joined(id string, all []reason.Reason) reason.Reason {
	one := all[0]
	for _, next := range all[1:] {
		one = reason.New(id, "first", one, "next", next)
	}
	return one
}

// stepNamed is what people call a step.
func (p *Pack) stepNamed(id string) reason.Name {
	if s := p.Step(id); s != nil {
		return reason.Name(s.Words)
	}
	return reason.Name(id)
}

// effectNamed is what people call an effect.
func (p *Pack) effectNamed(id string) reason.Name {
	if e := p.Effect(id); e != nil {
		return reason.Name(e.Words)
	}
	return reason.Name(id)
}

// statusNamed is what people call a status.
func (p *Pack) statusNamed(id string) reason.Name {
	if s := p.Status(id); s != nil {
		return reason.Name(s.Words)
	}
	return reason.Name(id)
}

func (p *Pack) effectNames(ids []string) []reason.Name {
	var names []reason.Name
	for _, id := range ids {
		names = append(names, p.effectNamed(id))
	}
	return names
}

// value puts where a value comes from into words.
func (p *Pack) value(s Source) reason.Reason {
	switch {
	case s.IsPlain:
		return reason.New("page.value.plain", "n", s.Plain)
	case s.Fixed != attack.Need{}:
		return reason.New("page.value.need", "need", s.Fixed.String())
	case s.Chart != "":
		return reason.New("page.value.chart", "name", reason.Name(p.Chart(s.Chart).Words))
	case s.Measure != "" && s.Less > 0:
		return reason.New("page.value.gap_less", "less", s.Less)
	case s.Measure != "":
		return reason.New("page.value.gap")
	case s.Sum != "":
		return reason.New("page.value.sum", "name", reason.Name(p.wordsFor(s.Sum)), "of", string(s.Of))
	case s.Count != "":
		return reason.New("page.value.count", "what", s.Count)
	case s.Total != "":
		return reason.New("page.value.total", "step", p.stepNamed(s.Total))
	case s.Of == OfWeapon, s.Of == OfPower:
		return reason.New("page.value.of_"+string(s.Of), "name", reason.Name(s.From))
	}
	return reason.New("page.value.of_"+slug(string(s.Of)), "name", reason.Name(p.wordsFor(s.From)))
}

// added is dice and what is added to them.
func (p *Pack) added(dice attack.Amount, all []Source) reason.Reason {
	words := []reason.Reason{reason.New("page.value.amount", "amount", dice.String())}
	for _, s := range all {
		words = append(words, p.value(s))
	}
	return joined("page.plus", words)
}

// then puts consequences into words.
func (p *Pack) then(all []Consequence) []reason.Reason {
	var words []reason.Reason
	for _, c := range all {
		what := reason.New("page.then."+slug(c.Do),
			"who", reason.New("page.who."+slug(c.Who)), "amount", c.Amount.String(),
			"name", p.lossNamed(c), "each", c.Each, "inches", c.Inches,
			"status", p.statusNamed(c.Status), "step", p.stepNamed(c.What), "what", c.What, "table", p.tableNamed(c.Table))
		if c.Within > 0 {
			what = reason.New("page.then.near", "what", what, "within", c.Within)
		}
		words = append(words, what)
	}
	return words
}

// lossNamed is what a consequence takes off.
func (p *Pack) lossNamed(c Consequence) reason.Name {
	if c.Do == "cross off" {
		return reason.Name(p.WoundsCalled())
	}
	return reason.Name(p.wordsFor(c.Characteristic))
}

func (p *Pack) tableNamed(id string) reason.Name {
	if t := p.Table(id); t != nil {
		return reason.Name(t.Words)
	}
	return reason.Name(id)
}

// conditionWords puts facts that must all hold into words.
func conditionWords(all []Condition) reason.Reason {
	var words []reason.Reason
	for _, c := range all {
		words = append(words, c.Words)
	}
	return joined("page.and", words)
}

func (p *Pack) chartLines(c *Chart) []reason.Reason {
	lines := []reason.Reason{reason.New("page.chart."+c.By, "first", p.value(c.First), "second", p.value(c.Second))}
	if c.By == ByDifference && c.Second.IsPlain && c.Second.Plain == 0 {
		lines[0] = reason.New("page.chart.value", "first", p.value(c.First))
	}
	for i, row := range c.Rows {
		switch {
		case c.By == ByComparison:
			lines = append(lines, reason.New("page.chart.is_"+row.Is, "need", shown(row.Need)))
		case i == 0 && len(c.Rows) > 1:
			lines = append(lines, reason.New("page.chart.below", "n", strconv.Itoa(c.Rows[1].From), "need", shown(row.Need)))
		default:
			lines = append(lines, reason.New("page.chart.from", "n", strconv.Itoa(row.From), "need", shown(row.Need)))
		}
	}
	if c.By == ByRatio {
		var columns []string
		for _, odds := range c.Columns {
			columns = append(columns, odds.String())
		}
		lines = append(lines, reason.New("page.chart.columns", "columns", columns))
	}
	return lines
}

// shown is a need, or that no die shows it.
func shown(need attack.Need) reason.Reason {
	if need.Face > mostFace {
		return reason.New("page.value.never")
	}
	return reason.New("page.value.need", "need", need.String())
}

func (p *Pack) tableLines(t *Table) []reason.Reason {
	lines := []reason.Reason{reason.New("page.table.dice", "dice", t.Dice.String())}
	for _, row := range t.Rows {
		on := strconv.Itoa(row.From)
		if row.To > row.From {
			on += "-" + strconv.Itoa(row.To)
		}
		if t.Columns == "" {
			lines = append(lines, reason.New("page.table.row", "on", on, "words", reason.Name(row.Words), "then", p.then(row.Then)))
			continue
		}
		lines = append(lines, reason.New("page.table.cells", "on", on, "cells", p.cellWords(t, row)))
	}
	if t.Columns == "" {
		return lines
	}
	for i := range p.Results {
		r := &p.Results[i]
		lines = append(lines, reason.New("page.table.result", "id", reason.Name(r.ID), "words", reason.Name(r.Words)))
	}
	return lines
}

// cellWords puts a row of results into words: each with the columns in which it
// stands.
func (p *Pack) cellWords(t *Table, row TableRow) []reason.Reason {
	columns := p.Chart(t.Columns).Columns
	var words []reason.Reason
	for from := 0; from < len(row.Cells); {
		to := from
		for to+1 < len(row.Cells) && row.Cells[to+1] == row.Cells[from] {
			to++
		}
		id := "page.table.run"
		if to == from {
			id = "page.table.cell"
		}
		words = append(words, reason.New(id, "cell", reason.Name(row.Cells[from]), "from", columns[from].String(), "to", columns[to].String()))
		from = to + 1
	}
	return words
}
