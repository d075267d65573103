package rules

import (
	"slices"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
)

// Chart gives a need from two numbers: by their difference (first less second,
// the last row that is not above it) or by comparing them.
type Chart struct {
	ID     string
	Words  string
	By     string // "difference" or "comparison"
	First  Source
	Second Source
	Rows   []ChartRow
}

// ChartRow is a row of a chart: From for a difference, Is for a comparison.
type ChartRow struct {
	From int
	Is   string
	Need attack.Need
}

// The comparisons, in the order in which they are tried: the first that holds
// is the row. Twice: twice the second or more. Half: half the second or less.
var comparisons = []string{"twice", "half", "more", "equal", "less"}

func (l *loader) chart(r row) {
	c := Chart{ID: r.id, Words: r.words(), By: r.OneOf("by", []string{"difference", "comparison"})}
	c.First = l.sourceOf(r.Table, "first", Number)
	c.Second = l.sourceOf(r.Table, "second", Number)
	for _, t := range r.Rows("rows") {
		line := ChartRow{}
		if c.By == "comparison" {
			line.Is = t.OneOf("is", comparisons)
		} else {
			line.From = t.Number("from", -MostNumber, MostNumber)
		}
		line.Need = l.need(t, "need")
		if n := len(c.Rows); c.By == "difference" && n > 0 && line.From <= c.Rows[n-1].From {
			t.Fault("from", reason.New("pack.chart.falling", "from", line.From))
		}
		c.Rows = append(c.Rows, line)
		t.Close()
	}
	l.chartWhole(r, c)
	l.pack.Charts = append(l.pack.Charts, c)
}

// chartWhole notes values for which a chart has no row. "twice" and "half" may
// be left out: then "more" and "less" hold for them.
func (l *loader) chartWhole(r row, c Chart) {
	if len(c.Rows) == 0 {
		r.Fault("rows", reason.New("pack.chart.empty", "chart", c.ID))
		return
	}
	if c.By != "comparison" {
		return
	}
	for _, is := range []string{"more", "equal", "less"} {
		if !slices.ContainsFunc(c.Rows, func(line ChartRow) bool { return line.Is == is }) {
			r.Fault("rows", reason.New("pack.chart.row", "chart", c.ID, "is", is))
		}
	}
}

// Need is the need for two numbers. Below the first row of a difference the
// first row counts.
func (c *Chart) Need(first, second int) attack.Need {
	if c.By == "comparison" {
		return c.compared(first, second)
	}
	need := c.Rows[0].Need
	for _, line := range c.Rows {
		if line.From <= first-second {
			need = line.Need
		}
	}
	return need
}

func (c *Chart) compared(first, second int) attack.Need {
	holds := map[string]bool{
		"twice": first >= 2*second && first > second,
		"half":  2*first <= second && first < second,
		"more":  first > second,
		"equal": first == second,
		"less":  first < second,
	}
	for _, is := range comparisons {
		for _, line := range c.Rows {
			if line.Is == is && holds[is] {
				return line.Need
			}
		}
	}
	return c.Rows[0].Need // cannot be: more, equal and less are all there
}
