package rules

import (
	"slices"
	"strconv"
	"strings"

	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// Chart settles something from two numbers: a need, by their difference or by
// comparing them, or the column of a table, by their ratio.
type Chart struct {
	ID      string
	Words   string
	By      string // ByDifference, ByComparison or ByRatio
	First   Source
	Second  Source
	Rows    []ChartRow
	Columns []Odds // of a ratio, rising
}

// How a chart finds its row or column. Difference: first less second, the last
// row that is not above it. Ratio: the last column that is not above the odds;
// below the first column the first counts.
const (
	ByDifference = "difference"
	ByComparison = "comparison"
	ByRatio      = "ratio"
)

// ChartsBy is the closed set of them.
var ChartsBy = []string{ByDifference, ByComparison, ByRatio}

// ChartRow is a row of a chart: From for a difference, Is for a comparison.
type ChartRow struct {
	From int
	Is   string
	Need attack.Need
}

// Odds is so much to so much, as "3:2".
type Odds struct{ For, Against int }

// String writes the odds as a pack does.
func (o Odds) String() string { return strconv.Itoa(o.For) + ":" + strconv.Itoa(o.Against) }

// above tells whether the odds are better than others.
func (o Odds) above(p Odds) bool { return o.For*p.Against > p.For*o.Against }

// Comparisons are in the order in which they are tried: the first that holds
// is the row. Twice: twice the second or more. Half: half the second or less.
var Comparisons = []string{"twice", "half", "more", "equal", "less"}

func (l *loader) chart(r row) {
	c := Chart{ID: r.id, Words: r.words(), By: r.OneOf("by", ChartsBy)}
	c.First = l.sourceOf(r.Table, "first", Number, Inches)
	c.Second = l.sourceOf(r.Table, "second", Number, Inches)
	if c.By == ByRatio {
		l.columns(r, &c)
		l.pack.Charts = append(l.pack.Charts, c)
		return
	}
	for _, t := range r.Rows("rows") {
		line := ChartRow{}
		if c.By == ByComparison {
			line.Is = t.OneOf("is", Comparisons)
		} else {
			line.From = t.Number("from", -MostNumber, MostNumber)
		}
		line.Need = l.needTo(t, "need", mostFace+1)
		if n := len(c.Rows); c.By == ByDifference && n > 0 && line.From <= c.Rows[n-1].From {
			t.Fault("from", reason.New("pack.chart.falling", "from", line.From))
		}
		if line.Is != "" && slices.ContainsFunc(c.Rows, func(before ChartRow) bool { return before.Is == line.Is }) {
			t.Fault("is", reason.New("pack.repeated", "kind", "row", "id", line.Is))
		}
		c.Rows = append(c.Rows, line)
		t.Close()
	}
	l.chartWhole(r, c)
	l.pack.Charts = append(l.pack.Charts, c)
}

// columns reads the columns of a ratio: odds such as "3:2", rising.
func (l *loader) columns(r row, c *Chart) {
	written, places := r.Names("columns")
	for i, text := range written {
		odds, ok := l.odds(r.Table, places[i], text)
		if !ok {
			continue
		}
		if n := len(c.Columns); n > 0 && !odds.above(c.Columns[n-1]) {
			r.FaultAt(places[i], reason.New("pack.chart.columns", "odds", text))
		}
		c.Columns = append(c.Columns, odds)
	}
	if len(written) == 0 {
		r.Fault("columns", reason.New("pack.chart.no_columns", "chart", c.ID))
	}
	r.OneOf("below", []string{"first column"})
}

// mostOdds is the highest number in odds.
const mostOdds = 100

func (l *loader) odds(t *source.Table, at source.Place, text string) (Odds, bool) {
	first, second, cut := strings.Cut(text, ":")
	a, err1 := strconv.Atoi(first)
	b, err2 := strconv.Atoi(second)
	if !cut || err1 != nil || err2 != nil || a < 1 || b < 1 || a > mostOdds || b > mostOdds || (Odds{a, b}).String() != text {
		t.FaultAt(at, reason.New("pack.chart.odds", "written", text))
		return Odds{}, false
	}
	return Odds{a, b}, true
}

// chartWhole notes values for which a chart has no row. "twice" and "half" may
// be left out: then "more" and "less" hold for them.
func (l *loader) chartWhole(r row, c Chart) {
	if len(c.Rows) == 0 {
		r.Fault("rows", reason.New("pack.chart.empty", "chart", c.ID))
		return
	}
	if c.By != ByComparison {
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
	if c.By == ByComparison {
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
	for _, is := range Comparisons {
		for _, line := range c.Rows {
			if line.Is == is && holds[is] {
				return line.Need
			}
		}
	}
	return c.Rows[0].Need // cannot be: more, equal and less are all there
}

// Column is the place, from 0, of the last column that is not above the odds of
// first to second. Against nothing the last column counts.
func (c *Chart) Column(first, second int) int {
	column := 0
	for i, odds := range c.Columns {
		if first*odds.Against >= odds.For*second {
			column = i
		}
	}
	return column
}
