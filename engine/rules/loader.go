package rules

import (
	"drumhead/engine/attack"
	"drumhead/engine/reason"
	"drumhead/engine/rules/source"
)

// kinds are the lists of a pack whose rows have an id, in the order in which
// they are read. Each kind is the key of its [[tables]].
var kinds = []struct {
	kind string
	read func(*loader, row)
}{
	{"characteristic", (*loader).characteristic},
	{"effect", (*loader).effect},
	{"keyword", (*loader).keyword},
	{"status", (*loader).status},
	{"chart", (*loader).chart},
	{"result", (*loader).result},
	{"table", (*loader).table},
	{"step", (*loader).step},
	{"sequence", (*loader).sequence},
	{"phase", (*loader).phase},
	{"power", (*loader).power},
	{"weapon", (*loader).weapon},
	{"unit", (*loader).unit},
	{"army", (*loader).army},
	{"scenario", (*loader).scenario},
}

// loader reads one pack. The ids of all kinds are gathered first, so that a
// name may be used above the place where it is defined.
type loader struct {
	root *source.Table
	pack *Pack
	rows map[string][]row
	ids  map[string][]string
	used map[string]map[string]bool // names that something refers to, by kind
}

// row is one [[table]] with its id.
type row struct {
	*source.Table
	id string
}

func newLoader(root *source.Table) *loader {
	l := &loader{root: root, pack: &Pack{}, rows: map[string][]row{}, ids: map[string][]string{}, used: map[string]map[string]bool{}}
	for _, k := range kinds {
		l.used[k.kind] = map[string]bool{}
		l.gather(k.kind)
	}
	return l
}

// gather notes the ids of a kind, and those that stand twice.
func (l *loader) gather(kind string) {
	first := map[string]source.Place{}
	for i, t := range l.root.Rows(kind) {
		if i == MostRows {
			t.Fault("id", reason.New("pack.many", "kind", kind, "most", MostRows))
			return
		}
		id := l.id(t)
		if at, twice := first[id]; twice {
			t.Fault("id", reason.New("pack.twice", "kind", kind, "id", id, "line", at.Line))
		} else if id != "" {
			first[id] = t.At("id")
			l.ids[kind] = append(l.ids[kind], id)
		}
		l.rows[kind] = append(l.rows[kind], row{t, id})
	}
}

// id reads an id: printable ASCII, because ids go into the ledger.
func (l *loader) id(t *source.Table) string {
	id := t.Text("id", MostID)
	for _, r := range id {
		if r < ' ' || r > '~' || r == '"' || r == '\\' {
			t.Fault("id", reason.New("pack.id", "id", id))
			return ""
		}
	}
	return id
}

// read reads everything. Faults are noted in the file's log.
func (l *loader) read() {
	l.head()
	for _, k := range kinds {
		for _, r := range l.rows[k.kind] {
			k.read(l, r)
			r.Close()
		}
	}
	l.turn()
	l.muster()
	l.standing()
	l.known()
	l.circles()
	l.played()
	l.root.Close()
	l.whole()
}

func (l *loader) head() {
	p, t := l.pack, l.root
	p.ID = t.Text("pack", MostID)
	p.Title = t.Text("title", MostName)
	p.Edition = t.Number("edition", 1, MostNumber)
	p.About = t.TextOr("about", MostWords, "")
	t.OneOf("measure", []string{"inch"})
	p.Grades, _ = t.Names("grades")
}

// whole notes what a pack cannot do without.
func (l *loader) whole() {
	for _, kind := range []string{"characteristic", "phase", "weapon", "unit", "army", "scenario"} {
		if len(l.rows[kind]) == 0 {
			l.root.FaultAt(source.Place{Line: 1, Column: 1}, reason.New("pack.none", "kind", kind))
		}
	}
}

// name reads the name of a row of some kind that must be there; a wrong one
// gives "".
func (l *loader) name(t *source.Table, key, kind string) string {
	word := t.Text(key, MostID)
	if word == "" || l.knows(t.At(key), kind, word) {
		return word
	}
	return ""
}

// nameOr is name for a key that may be left out.
func (l *loader) nameOr(t *source.Table, key, kind string) string {
	if !t.Has(key) {
		return ""
	}
	return l.name(t, key, kind)
}

// names reads a list of names of rows of some kind, each once.
func (l *loader) names(t *source.Table, key, kind string) []string {
	words, places := t.Names(key)
	var known []string
	seen := map[string]bool{}
	for i, word := range words {
		switch {
		case seen[word]:
			t.FaultAt(places[i], reason.New("pack.repeated", "kind", kind, "id", word))
		case l.knows(places[i], kind, word):
			known = append(known, word)
		}
		seen[word] = true
	}
	return known
}

// knows notes a name that is not defined, with the nearest one that is.
func (l *loader) knows(at source.Place, kind, word string) bool {
	for _, id := range l.ids[kind] {
		if id == word {
			l.used[kind][word] = true
			return true
		}
	}
	why := source.Unknown("pack.name", word, l.ids[kind])
	why.Args = append(why.Args, reason.Arg{Name: "kind", Value: kind})
	l.root.FaultAt(at, why)
	return false
}

// words reads the words by which people know a row; its id when it has none.
func (r row) words() string { return r.TextOr("words", MostWords, r.id) }

// need reads "4+" that must be there. The lowest need is 2+.
func (l *loader) need(t *source.Table, key string) attack.Need { return l.needTo(t, key, mostFace) }

// needTo is need up to some face; one above the die is met by no face.
func (l *loader) needTo(t *source.Table, key string, most int) attack.Need {
	written, isText := t.Plain(key)
	switch {
	case written == "":
		if !t.Has(key) {
			t.Want(key)
		}
		return attack.AtLeast(2)
	case !isText:
		t.Fault(key, reason.New("pack.need.number", "key", key, "written", written))
		return attack.AtLeast(2)
	}
	need, err := attack.ParseNeed(written)
	if err != nil || need.OrLess || need.Face < 2 || need.Face > most {
		t.Fault(key, reason.New("pack.need.wrong", "key", key, "written", written, "most", most))
		return attack.AtLeast(2)
	}
	return need
}

// mostFace is the highest need that a profile or a chart may hold: on a d6.
const mostFace = 6

// amount reads a number or dice such as "d3" that must be there.
func (l *loader) amount(t *source.Table, key string) attack.Amount {
	written, _ := t.Plain(key)
	if written == "" {
		if !t.Has(key) {
			t.Want(key)
		}
		return attack.Amount{}
	}
	amount, err := attack.ParseAmount(written)
	if err != nil {
		t.Fault(key, reason.New("pack.amount", "key", key, "written", written))
		return attack.Amount{}
	}
	return amount
}

// inches reads a whole number of inches that must be there.
func (l *loader) inches(t *source.Table, key string) reason.Inches {
	return reason.Inches(10 * t.Number(key, 0, MostInches))
}
