package source

import (
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2/unstable"

	"drumhead/engine/reason"
)

// kind says what a value of the file is.
type kind int

const (
	text kind = iota
	number
	truth
	list
	table
	other // a fraction, a date: nothing of ours is written so
)

// value is one value of the file and where it stands.
type value struct {
	kind   kind
	at     Place
	text   string // as written, for number and other too
	number int64
	truth  bool
	list   []*value
	table  *Table
}

// grower builds the tree from go-toml's expressions. Only this file knows the
// unstable package, which may change.
type grower struct {
	log    *log
	lines  lines
	parser unstable.Parser
	root   *Table
}

// grow builds the tree of a text whose grammar go-toml has accepted already;
// therefore keys stand once and tables and values do not get in one another's
// way.
func grow(log *log, data []byte) (*Table, error) {
	g := &grower{log: log, lines: newLines(data)}
	g.root = g.newTable(Place{1, 1})
	here := g.root
	g.parser.Reset(data)
	for g.parser.NextExpression() {
		node := g.parser.Expression()
		switch node.Kind {
		case unstable.Table:
			here = g.walk(g.root, g.path(node.Key()))
		case unstable.ArrayTable:
			here = g.addRow(g.path(node.Key()))
		case unstable.KeyValue:
			g.keep(here, node, 0)
		}
	}
	return g.root, log.faults()
}

func (g *grower) newTable(at Place) *Table {
	return &Table{log: g.log, at: at, values: map[string]*value{}, asked: map[string]bool{}}
}

// step is one part of a dotted key.
type step struct {
	name string
	at   Place
}

func (g *grower) path(it unstable.Iterator) []step {
	var path []step
	for it.Next() {
		node := it.Node()
		path = append(path, step{string(node.Data), g.lines.place(int(node.Raw.Offset))})
	}
	return path
}

// walk goes down a path and makes the tables that are not there yet. A list of
// tables is entered at its last one.
func (g *grower) walk(from *Table, path []step) *Table {
	for _, s := range path {
		v := from.values[s.name]
		switch {
		case v == nil:
			v = &value{kind: table, at: s.at, table: g.newTable(s.at)}
			from.put(s.name, v)
		case v.kind == list:
			v = v.list[len(v.list)-1]
		}
		from = v.table
	}
	return from
}

// addRow opens a further [[table]].
func (g *grower) addRow(path []step) *Table {
	last := path[len(path)-1]
	parent := g.walk(g.root, path[:len(path)-1])
	rows := parent.values[last.name]
	if rows == nil {
		rows = &value{kind: list, at: last.at}
		parent.put(last.name, rows)
	}
	row := &value{kind: table, at: last.at, table: g.newTable(last.at)}
	rows.list = append(rows.list, row)
	return row.table
}

// keep stores one key = value line, whose key may be dotted.
func (g *grower) keep(in *Table, node *unstable.Node, depth int) {
	path := g.path(node.Key())
	last := path[len(path)-1]
	in = g.walk(in, path[:len(path)-1])
	in.put(last.name, g.value(node.Value(), last.at, depth+1))
}

// value reads one value; at is where its key or its list stands, for nodes
// that have no place of their own.
func (g *grower) value(node *unstable.Node, at Place, depth int) *value {
	v := &value{kind: other, at: at, text: string(node.Data)}
	if depth > MostDepth {
		g.log.note(at, reason.New("file.deep", "most", MostDepth))
		return v
	}
	switch node.Kind {
	case unstable.String:
		v.kind = text
	case unstable.Bool:
		v.kind, v.truth = truth, v.text == "true"
	case unstable.Integer:
		v.number, v.kind = whole(v.text)
	case unstable.Array:
		v.kind = list
		for it := node.Children(); it.Next(); {
			v.list = append(v.list, g.value(it.Node(), g.placeOf(it.Node(), at), depth+1))
		}
	case unstable.InlineTable:
		v.kind, v.table = table, g.newTable(at)
		for it := node.Children(); it.Next(); {
			g.keep(v.table, it.Node(), depth)
		}
	}
	return v
}

// placeOf is where a value in a list stands. An inline table has the place of
// its first key.
func (g *grower) placeOf(node *unstable.Node, otherwise Place) Place {
	if node.Kind == unstable.InlineTable {
		for it := node.Children(); it.Next(); {
			for key := it.Node().Key(); key.Next(); {
				return g.lines.place(int(key.Node().Raw.Offset))
			}
		}
	}
	if node.Raw.Length == 0 {
		return otherwise
	}
	return g.lines.place(int(node.Raw.Offset))
}

// whole reads a TOML integer; go-toml has checked its form and its range.
func whole(written string) (int64, kind) {
	n, err := strconv.ParseInt(strings.ReplaceAll(written, "_", ""), 0, 64)
	if err != nil {
		return 0, other
	}
	return n, number
}

// lines finds the line and column of an offset.
type lines struct {
	text   []byte
	starts []int
}

func newLines(text []byte) lines {
	l := lines{text: text, starts: []int{0}}
	for i, b := range text {
		if b == '\n' {
			l.starts = append(l.starts, i+1)
		}
	}
	return l
}

func (l lines) place(offset int) Place {
	offset = min(offset, len(l.text))
	line := sort.Search(len(l.starts), func(i int) bool { return l.starts[i] > offset })
	return Place{line, utf8.RuneCount(l.text[l.starts[line-1]:offset]) + 1}
}
