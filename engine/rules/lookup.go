package rules

import (
	"slices"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// Looked is a roll on a table, settled but for the dice.
type Looked struct {
	Table  *Table
	Roll   attack.Table // gives the row
	Column int          // from 0; 0 where the table has none
	First  int          // the odds, as they were added up
	Second int
	Shift  int // columns, as capped

	pack *Pack
}

// LookUp is a roll on a table that has no columns.
func (p *Pack) LookUp(table string) (Looked, bool) {
	t := p.Table(table)
	if t == nil || t.Columns != "" {
		return Looked{}, false
	}
	return Looked{Table: t, Roll: t.roll(), pack: p}, true
}

// Assault compiles what an order sets off that is a roll on a table: the first
// of the attackers gave it, the others join in. The reasons are the odds and each
// shift of the column.
func (p *Pack) Assault(order string, attackers []Group, target Group, facts Facts) (Looked, []reason.Reason, error) {
	if p.Does(order) != "table" || len(attackers) == 0 {
		return Looked{}, nil, reason.Refuse("", "rules.refuse.sequence", "order", order)
	}
	w := &work{scene: scene{pack: p, attacker: attackers[0], more: attackers[1:], target: target, facts: facts}, times: 1, sequence: p.SequenceOf(order)}
	if err := w.present(); err != nil {
		return Looked{}, nil, err
	}
	step := p.Step(w.sequence.Steps[0])
	t := p.Table(step.Lookup.Table)
	out := Looked{Table: t, Roll: t.roll(), pack: p}
	for _, e := range w.joint() {
		e.does.apply(w, e)
	}
	chart := p.Chart(t.Columns)
	if chart == nil {
		return out, nil, nil
	}
	out.First, _, _ = w.number(chart.First)
	out.Second, _, _ = w.number(chart.Second)
	out.Shift = min(max(w.shifted, step.ShiftLeast), step.ShiftMost)
	column := chart.Column(out.First, out.Second)
	out.Column = min(max(column+out.Shift, 0), len(chart.Columns)-1)
	why := []reason.Reason{reason.New("why.odds", "name", reason.Name(chart.Words), "first", out.First, "second", out.Second, "odds", chart.Columns[column].String())}
	why = append(why, w.shiftWhy...)
	if len(w.shiftWhy) > 0 {
		why = append(why, reason.New("why.shift.to", "odds", chart.Columns[out.Column].String()))
	}
	return out, why, nil
}

// joint are the effects of an assault by several units. What acts for any of the
// attackers acts once.
func (w *work) joint() []*Effect {
	all := w.acting()
	for _, g := range w.more {
		one := *w
		one.attacker, one.more = g, nil
		for _, e := range one.acting() {
			if !slices.Contains(all, e) {
				all = append(all, e)
			}
		}
	}
	return all
}

// Odds is the column of the table as the pack writes it, "" where there is none.
func (l Looked) Odds() string {
	if chart := l.pack.Chart(l.Table.Columns); chart != nil {
		return chart.Columns[l.Column].String()
	}
	return ""
}

// Result is what a row means: its words and what happens.
func (l Looked) Result(row int) (words string, then []Consequence) {
	line := l.Table.Rows[row]
	if l.Table.Columns == "" {
		return line.Words, line.Then
	}
	r := l.pack.Result(line.Cells[l.Column])
	return r.Words, r.Then
}

// Reaches tells whether anything happens to the target by a row.
func (l Looked) Reaches(row int) bool {
	_, then := l.Result(row)
	return slices.ContainsFunc(then, func(c Consequence) bool { return c.Who == string(Target) })
}

// Goes tells whether a row looks up a further table, so that more may come of it.
func (l Looked) Goes(row int) bool {
	_, then := l.Result(row)
	return slices.ContainsFunc(then, func(c Consequence) bool { return c.Do == "look up" })
}

// Costs are the amounts that a row crosses off who it is about, the attackers or the
// target. Who is cornered cannot give ground and suffers what that costs.
func (l Looked) Costs(row int, who Side, cornered []Consequence) []attack.Amount {
	var amounts []attack.Amount
	_, then := l.Result(row)
	for _, c := range then {
		switch {
		case c.Who != string(who):
		case c.Do == "cross off":
			amounts = append(amounts, c.Amount)
		case c.Do == "retreat":
			for _, cost := range cornered {
				if cost.Do == "cross off" {
					amounts = append(amounts, cost.Amount)
				}
			}
		}
	}
	return amounts
}

// Cornered is what happens to who has to give ground and cannot.
func (p *Pack) Cornered() []Consequence {
	for _, order := range []string{"charge", "fight", "shoot"} {
		if seq := p.SequenceOf(order); seq != nil && len(seq.Blocked) > 0 {
			return seq.Blocked
		}
	}
	return nil
}

// Contest compiles an opposed roll between two units.
func (p *Pack) Contest(order string, attackers, target Group, facts Facts) (attack.Opposed, *Step, []reason.Reason, error) {
	if p.Does(order) != "opposed" {
		return attack.Opposed{}, nil, nil, reason.Refuse("", "rules.refuse.sequence", "order", order)
	}
	s := &scene{pack: p, attacker: attackers, target: target, facts: facts}
	step := p.Step(p.SequenceOf(order).Steps[0])
	o := attack.Opposed{Mine: s.total(step), Tie: step.Opponent.Tie}
	o.Theirs.Plus = step.Opponent.Dice.Plus
	if d := step.Opponent.Dice; d.Dice > 0 {
		o.Theirs.Terms = []attack.Term{{Dice: d.Dice, Sides: d.Sides}}
	}
	for _, from := range step.Opponent.Plus {
		n, _, _ := s.number(from)
		o.Theirs.Plus += n
	}
	why := []reason.Reason{reason.New("why.contest", "step", reason.Name(step.Words), "mine", o.Mine.Plus, "theirs", o.Theirs.Plus)}
	return o, step, why, nil
}

// Upkeep is dice that a unit rolls for itself: how many, for what, and what each
// success does.
type Upkeep struct {
	Pool attack.Pool
	Then []Consequence
}

// Upkeep compiles the dice that a unit rolls for itself by an order.
func (p *Pack) Upkeep(order string, g Group) (Upkeep, []reason.Reason, error) {
	if p.Does(order) != "dice" {
		return Upkeep{}, nil, reason.Refuse("", "rules.refuse.sequence", "order", order)
	}
	w := &work{scene: scene{pack: p, attacker: g}, times: 1, sequence: p.SequenceOf(order)}
	step := p.Step(w.sequence.Steps[0])
	s, err := w.newStep(step, &step.Each)
	if err != nil {
		return Upkeep{}, nil, err
	}
	n, _, _ := w.number(step.Number)
	u := Upkeep{Pool: attack.Pool{Number: min(n, mostPool), Step: s.each()}, Then: step.Then}
	return u, append([]reason.Reason{reason.New("why.pool.mine", "number", u.Pool.Number)}, s.reasons(u.Pool.Step)...), nil
}
