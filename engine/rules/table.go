package rules

import (
	"slices"
	"strconv"
	"strings"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Table gives a result for what dice show: one of its rows, and in that row, for
// a table with columns, the cell of the column that its chart finds.
type Table struct {
	ID      string
	Words   string
	Dice    attack.Amount
	Columns string // the chart by ratio that finds the column, "" for none
	Rows    []TableRow
}

// TableRow holds from one total to another.
type TableRow struct {
	From, To int
	Words    string
	Then     []Consequence
	Cells    []string // results, one a column
}

// Result is a named list of consequences.
type Result struct {
	ID    string
	Words string
	Then  []Consequence
}

func (l *loader) result(r row) {
	l.pack.Results = append(l.pack.Results, Result{ID: r.id, Words: r.words(), Then: l.consequences(r.Table, "then")})
}

func (l *loader) table(r row) {
	table := Table{ID: r.id, Words: r.words(), Dice: l.dice(r), Columns: l.nameOr(r.Table, "columns", "chart")}
	chart := l.pack.Chart(table.Columns)
	if chart != nil && chart.By != ByRatio {
		r.Fault("columns", reason.New("pack.table.chart", "table", r.id, "chart", chart.ID))
		chart = nil
	}
	for i, t := range r.Rows("rows") {
		if i == MostTable {
			t.Fault("on", reason.New("pack.many", "kind", "rows", "most", MostTable))
			return
		}
		line := l.tableRow(t, chart)
		if table.Columns == "" {
			line.Then = l.consequences(t, "then")
			line.Words = t.TextOr("words", MostWords, "")
		}
		l.onceOnly(t, table, line)
		table.Rows = append(table.Rows, line)
		t.Close()
	}
	l.tableWhole(r, table)
	l.pack.Tables = append(l.pack.Tables, table)
}

// dice reads the dice of a table.
func (l *loader) dice(r row) attack.Amount {
	dice := l.amount(r.Table, "dice")
	if (dice.Dice == 0 || dice.Most() > MostTable) && r.Has("dice") {
		r.Fault("dice", reason.New("pack.table.dice", "table", r.id, "most", MostTable))
		return attack.Amount{}
	}
	return dice
}

// MostTable is the highest total that a table's dice may show, and so the most
// rows that it can have.
const MostTable = 200

// tableRow reads on = "3-4" or "7", and the cells.
func (l *loader) tableRow(t *source.Table, chart *Chart) TableRow {
	var line TableRow
	written := t.Text("on", MostID)
	low, high, span := strings.Cut(written, "-")
	if !span {
		high = low
	}
	var err1, err2 error
	line.From, err1 = strconv.Atoi(low)
	line.To, err2 = strconv.Atoi(high)
	if written != "" && (err1 != nil || err2 != nil || line.From > line.To || line.To > MostNumber) {
		t.Fault("on", reason.New("pack.table.on", "written", written))
		line.From, line.To = 0, -1
	}
	if chart == nil {
		return line
	}
	line.Cells = l.cells(t)
	if written, _ := t.Names("cells"); len(written) != len(chart.Columns) {
		t.Fault("cells", reason.New("pack.table.cells", "number", len(written), "chart", chart.ID, "columns", len(chart.Columns)))
	}
	return line
}

// cells reads the results of a row; one may stand there more than once.
func (l *loader) cells(t *source.Table) []string {
	words, places := t.Names("cells")
	for i, word := range words {
		l.knows(places[i], "result", word)
	}
	return words
}

// onceOnly notes totals that stand in a row before, and those that the dice
// never show.
func (l *loader) onceOnly(t *source.Table, table Table, line TableRow) {
	least, most := table.Dice.Least(), table.Dice.Most()
	for n := line.From; n <= line.To && table.Dice.Dice > 0; n++ {
		if n < least || n > most {
			t.Fault("on", reason.New("pack.table.beyond", "n", n, "least", least, "most", most))
			return
		}
		if slices.ContainsFunc(table.Rows, func(before TableRow) bool { return before.From <= n && n <= before.To }) {
			t.Fault("on", reason.New("pack.table.twice", "n", n))
			return
		}
	}
}

// tableWhole notes totals without a row.
func (l *loader) tableWhole(r row, table Table) {
	for n := table.Dice.Least(); n <= table.Dice.Most() && table.Dice.Dice > 0; n++ {
		if !slices.ContainsFunc(table.Rows, func(line TableRow) bool { return line.From <= n && n <= line.To }) {
			r.Fault("rows", reason.New("pack.table.hole", "table", table.ID, "n", n, "least", table.Dice.Least(), "most", table.Dice.Most()))
			return
		}
	}
}

// circles notes tables that look one another up without end.
func (l *loader) circles() {
	for i, table := range l.pack.Tables {
		if way := l.pack.back(table.ID, table.ID, nil); way != nil {
			l.rows["table"][i].Fault("rows", reason.New("pack.table.circle", "way", strings.Join(append([]string{table.ID}, way...), " -> ")))
			return
		}
	}
}

// back is a way from a table to another through what is looked up, nil for none.
func (p *Pack) back(from, to string, seen []string) []string {
	for _, next := range p.looksUp(from) {
		if next == to {
			return []string{next}
		}
		if slices.Contains(seen, next) {
			continue
		}
		if way := p.back(next, to, append(seen, from, next)); way != nil {
			return append([]string{next}, way...)
		}
	}
	return nil
}

// looksUp are the tables that a table's consequences look up.
func (p *Pack) looksUp(id string) []string {
	t := p.Table(id)
	if t == nil {
		return nil
	}
	var next []string
	for _, line := range t.Rows {
		all := slices.Clone(line.Then)
		for _, cell := range line.Cells {
			if r := p.Result(cell); r != nil {
				all = append(all, r.Then...)
			}
		}
		for _, c := range all {
			if c.Do == "look up" {
				next = append(next, c.Table)
			}
		}
	}
	return next
}

// Row finds the row, from 0, of a total that the dice can show.
func (t *Table) Row(total int) int {
	for i, line := range t.Rows {
		if line.From <= total && total <= line.To {
			return i
		}
	}
	return 0
}

// roll is the table as the algebra rolls it: each total gives its row.
func (t *Table) roll() attack.Table {
	out := attack.Table{Dice: attack.Total{Terms: []attack.Term{{Dice: t.Dice.Dice, Sides: t.Dice.Sides}}, Plus: t.Dice.Plus}}
	for n := t.Dice.Least(); n <= t.Dice.Most(); n++ {
		out.Rows = append(out.Rows, attack.Row{From: n, Result: t.Row(n)})
	}
	return out
}
