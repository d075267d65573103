package attack

import (
	"drumhead/engine/dice"
	"drumhead/engine/odds"
)

// Table is the step in which a total picks a row, and the row names a result.
// Which column holds is a fact, settled before; so a Table is one column.
type Table struct {
	Dice Total
	Rows []Row // by From, rising; below the first it counts, above the last the last
}

// Row is a row of a table: it holds from a total on, up to the next row.
type Row struct {
	From   int
	Result int // of the pack's results, 0 or more
}

// TableRolled is a table as it was rolled.
type TableRolled struct {
	Sum    Sum `json:"sum"`
	Result int `json:"result"`
}

// Most is the most dice that the table can draw.
func (t Table) Most() int { return t.Dice.Most() }

// Roll rolls the dice and finds the row.
func (t Table) Roll(d dice.Drawer) TableRolled {
	sum := t.Dice.Roll(d)
	return TableRolled{Sum: sum, Result: t.Find(sum.Total)}
}

// Find is the result of a total.
func (t Table) Find(total int) int {
	result := t.Rows[0].Result
	for _, row := range t.Rows {
		if total >= row.From {
			result = row.Result
		}
	}
	return result
}

// Law is the law of the result.
func (t Table) Law() (odds.Law, error) {
	sum, err := t.Dice.Law()
	if err != nil {
		return odds.Law{}, err
	}
	most := 0
	for _, row := range t.Rows {
		most = max(most, row.Result)
	}
	law := odds.Law{Chance: make([]float64, most+1)}
	for i, p := range sum.Chance {
		law.Chance[t.Find(sum.Least+i)] += p
	}
	return law, nil
}
