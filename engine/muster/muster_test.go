package muster

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"drumhead/engine/reason"
	"drumhead/engine/rules"
	"drumhead/engine/rules/source"
)

func osier(t testing.TB) *rules.Pack {
	t.Helper()
	p, err := rules.LoadBuiltin("osier")
	if err != nil || p == nil {
		t.Fatalf("osier: %v", err)
	}
	return p
}

func read(t testing.TB, p *rules.Pack, text string) Draft {
	t.Helper()
	d, err := ReadSaid(p, text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// ids are the faults of a draft as "line id".
func ids(j Judgement) string {
	var all []string
	for _, f := range j.Faults {
		all = append(all, fmt.Sprintf("%d %s", f.Line, strings.TrimPrefix(f.Reason.ID, "force.fault.")))
	}
	return strings.Join(all, ", ")
}

// The draft of the design's story: prices 12x9 + 10x11 + 95 + 85 + 120, added
// by hand to 518; 10 Pikes make 500, no Mortar 423 (no Marram is no choice: an
// army needs its captain).
const story = "Weir Militia, 500 points\n12 Pikes\n10 Crosbows\nMortar\nMarram\nBarge"

func TestStory(t *testing.T) {
	p := osier(t)
	d := read(t, p, story)
	j := d.Judge(p)
	if j.Total != 518 || ids(j) != "3 near, 0 points" {
		t.Fatalf("total %d, faults %s", j.Total, ids(j))
	}
	var fixes []string
	for _, f := range j.Fixes {
		fixes = append(fixes, fmt.Sprintf("%s %s %d %d", f.Kind, f.Unit.Short, f.Size, f.Total))
	}
	if got := strings.Join(fixes, ", "); got != "name Crossbows 10 518, size Pikes 10 500, drop Mortar 0 423" {
		t.Errorf("fixes are %s", got)
	}
	for _, words := range []string{"Crossbows, yes", "10 Pikes"} {
		var err error
		if d, err = d.Change(p, words); err != nil {
			t.Fatalf("%s: %v", words, err)
		}
	}
	j = d.Judge(p)
	if len(j.Faults) != 0 || j.Total != 500 || len(j.Force.Units) != 5 || j.Force.Army != "weir-militia" {
		t.Errorf("after both: %d points, faults %s, %+v", j.Total, ids(j), j.Force)
	}
	if j.Force.Models() != 25 {
		t.Errorf("%d models, want 25: 10, 10, a crew of 3, and two alone", j.Force.Models())
	}
}

// Each offered fix does what it says when its words are read.
func TestFixesDo(t *testing.T) {
	p := osier(t)
	d := read(t, p, story)
	for _, fix := range d.Judge(p).Fixes {
		changed, err := d.Change(p, fix.Change)
		if err != nil {
			t.Errorf("%s: %v", fix.Change, err)
			continue
		}
		if got := changed.Judge(p); got.Total != fix.Total || len(got.Faults) != 1 {
			t.Errorf("%s: total %d, want %d; faults %s", fix.Change, got.Total, fix.Total, ids(got))
		}
		if again := d.Judge(p); again.Total != 518 {
			t.Errorf("%s changed the draft it was given", fix.Change)
		}
	}
}

func TestSpellings(t *testing.T) {
	p := osier(t)
	for line, want := range map[string]Line{
		"12 Pikes":                  {Count: 12, Kind: "weir-pikes"},
		"12 pike":                   {Count: 12, Kind: "weir-pikes"},
		"12x Pikes":                 {Count: 12, Kind: "weir-pikes"},
		"12 x WEIR PIKES":           {Count: 12, Kind: "weir-pikes"},
		"12 × Pikes":                {Count: 12, Kind: "weir-pikes"},
		"Pikes 12":                  {Count: 12, Kind: "weir-pikes"},
		"Pikes x12":                 {Count: 12, Kind: "weir-pikes"},
		"- 12\u00a0Pikes":           {Count: 12, Kind: "weir-pikes"},
		"• Mortar":                  {Kind: "bell-mortar"},
		"1 Mortar":                  {Count: 1, Kind: "bell-mortar"},
		"Marram":                    {Kind: "marram"},
		"Marram, reed-speaker":      {Kind: "marram"},
		"marram reed speaker":       {Kind: "marram"},
		"10 Cross":                  {Count: 10, Kind: "ferry-crossbows"},
		"10 Crôssbows":              {Count: 10, Kind: "ferry-crossbows"},
		"12 Pikes as Old Guard":     {Count: 12, Kind: "weir-pikes", Own: "Old Guard"},
		"12 Pikes as “Old as Time”": {Count: 12, Kind: "weir-pikes", Own: "Old as Time"},
		"10 Crosbows":               {Count: 10},
		"6 Dragons":                 {Count: 6},
	} {
		d := read(t, p, "X, 500 points\n"+line)
		if len(d.Lines) != 1 {
			t.Errorf("%q: %d lines", line, len(d.Lines))
			continue
		}
		got := d.Lines[0]
		got.Said = ""
		want.Number = 2
		if got != want {
			t.Errorf("%q is %+v, want %+v", line, got, want)
		}
	}
}

func TestHeaders(t *testing.T) {
	p := osier(t)
	for text, want := range map[string]Draft{
		"Weir Militia, 500 points\nMarram": {Name: "Weir Militia", Limit: 500},
		"Weir Militia 500\nMarram":         {Name: "Weir Militia", Limit: 500},
		"Weir Militia: 500 PTS\nMarram":    {Name: "Weir Militia", Limit: 500},
		"500 points\nMarram":               {Limit: 500},
		"My own\nMarram":                   {Name: "My own"},
		"\n\nMy own\n\nMarram\n":           {Name: "My own"},
		"Marram\n10 Pikes":                 {},
		"10 Pikes\nMarram":                 {},
	} {
		d := read(t, p, text)
		if d.Name != want.Name || d.Limit != want.Limit {
			t.Errorf("%q: name %q, limit %d", text, d.Name, d.Limit)
		}
	}
	if j := read(t, p, "10 Pikes\nMarram").Judge(p); j.Force.Name != "Weir Militia" || len(j.Faults) != 0 {
		t.Errorf("without a name it is %q, faults %s", j.Force.Name, ids(j))
	}
}

func TestFaults(t *testing.T) {
	p := osier(t)
	for lines, want := range map[string]string{
		"":                                   "0 empty",
		"6 Dragons":                          "2 unknown",
		"4 Pikes\nMarram":                    "2 size",
		"21 Pikes\nMarram":                   "2 size",
		"Pikes\nMarram":                      "2 count",
		"2 Mortar\nMarram":                   "2 fixed",
		"10 Pikes":                           "0 few",
		"10 Pikes\nMarram\nMarram":           "4 twice",
		"10 Pikes\n5 Slingers\nTeasel":       "4 army",
		"Captain\nCaptain\nCaptain\nMarram":  "0 many",
		"Marram\nMortar\nMortar\nMortar":     "0 many",
		"Marram\n5 Pikes as A\n5 Pikes as a": "4 own",
		"Marram\n5 Pikes as Marram":          "3 own",
		"Marram\n5 Pikes\n5 Pikes":           "",
		"10 Weir Pikes\n10 Ferry Crossbows\n10 Slingers\nMortar\nMarram\nBarge": "0 points",
	} {
		if got := ids(read(t, p, "X, 500 points\n"+lines).Judge(p)); got != want {
			t.Errorf("%q: %s, want %s", lines, got, want)
		}
	}
	if got := ids(read(t, p, "X, 1000 points\nMarram\nMortar\nMortar\nMortar").Judge(p)); got != "" {
		t.Errorf("three engines in 1000 points: %s; two for each 500 are allowed", got)
	}
}

func TestRefusals(t *testing.T) {
	p := osier(t)
	long := strings.Repeat("x", MostName+1)
	for text, want := range map[string]string{
		strings.Repeat("a", MostBytes+1):                            "force.refuse.big",
		"X, 500 points\n\xff Pikes":                                 "force.refuse.utf8",
		"X, 500 points\n12\x07 Pikes":                               "force.refuse.control",
		"X, 500 points\n" + strings.Repeat("Marram\n", MostUnits+1): "force.refuse.units",
		long + ", 500 points":                                       "force.refuse.name",
		"X, 500 points\n12 Pikes as " + long:                        "force.refuse.name",
		"X, 500 points\n12":                                         "force.refuse.line",
		"X, 500 points\n99999999999999999999999 Pikes":              "force.refuse.line",
		"X, 100001 points\n12 Pikes":                                "force.refuse.points",
		"X, 99999999999999999999999 points\n12 Pikes":               "force.refuse.points",
	} {
		_, err := ReadSaid(p, text)
		var r *reason.Refusal
		if !errors.As(err, &r) || r.Reason.ID != want {
			t.Errorf("%.40q: %v, want %s", text, err, want)
		}
	}
	if _, err := ReadSaid(p, "X, 500 points\n"+strings.Repeat("Marram\n", MostUnits)); err != nil {
		t.Errorf("exactly %d units: %v", MostUnits, err)
	}
	if _, err := ReadSaid(p, strings.Repeat("x", MostName)+", 500 points\nMarram"); err != nil {
		t.Errorf("a name of exactly %d: %v", MostName, err)
	}
	if _, err := ReadSaid(p, strings.Repeat(" ", MostBytes)); err != nil {
		t.Errorf("exactly %d bytes: %v", MostBytes, err)
	}
}

func TestChanges(t *testing.T) {
	p := osier(t)
	base := "X, 500 points\n12 Pikes\n5 Pikes as Old Guard\n10 Crosbows\nMortar\nMarram"
	for words, want := range map[string]string{
		"no Mortar":                    "12 Weir Pikes|5 Weir Pikes as Old Guard|10 Crosbows|Marram, reed-speaker",
		"without mortar":               "12 Weir Pikes|5 Weir Pikes as Old Guard|10 Crosbows|Marram, reed-speaker",
		"no old guard":                 "12 Weir Pikes|10 Crosbows|Bell Mortar|Marram, reed-speaker",
		"8 Old Guard":                  "12 Weir Pikes|8 Weir Pikes as Old Guard|10 Crosbows|Bell Mortar|Marram, reed-speaker",
		"yes":                          "12 Weir Pikes|5 Weir Pikes as Old Guard|10 Ferry Crossbows|Bell Mortar|Marram, reed-speaker",
		"Crossbows, yes":               "12 Weir Pikes|5 Weir Pikes as Old Guard|10 Ferry Crossbows|Bell Mortar|Marram, reed-speaker",
		"line 2: none":                 "5 Weir Pikes as Old Guard|10 Crosbows|Bell Mortar|Marram, reed-speaker",
		"line 2: 7 Pikes":              "7 Weir Pikes|5 Weir Pikes as Old Guard|10 Crosbows|Bell Mortar|Marram, reed-speaker",
		"line 4: Slingers":             "12 Weir Pikes|5 Weir Pikes as Old Guard|10 Withy Slingers|Bell Mortar|Marram, reed-speaker",
		"line 2: 7 Pikes as Newcomers": "7 Weir Pikes as Newcomers|5 Weir Pikes as Old Guard|10 Crosbows|Bell Mortar|Marram, reed-speaker",
		"6 Slingers":                   "12 Weir Pikes|5 Weir Pikes as Old Guard|10 Crosbows|Bell Mortar|Marram, reed-speaker|6 Withy Slingers",
		"no Barge":                     "force.refuse.absent",
		"10 Pikes":                     "force.refuse.several",
		"no Pikes":                     "force.refuse.several",
		"line 9: none":                 "force.refuse.noline",
		"line 2:":                      "force.refuse.line",
		"Barge, yes":                   "force.refuse.settled",
		"12":                           "force.refuse.line",
		"":                             "force.refuse.line",
		"no \x01":                      "force.refuse.control",
	} {
		d := read(t, p, base)
		got, err := d.Change(p, words)
		text := strings.ReplaceAll(strings.TrimPrefix(got.Text(p), "X, 500 points\n"), "\n", "|")
		var r *reason.Refusal
		if errors.As(err, &r) {
			text = r.Reason.ID
		}
		if text != want {
			t.Errorf("%q gives\n%s, want\n%s", words, text, want)
		}
	}
	d, err := read(t, p, base).Change(p, "750 points")
	if err != nil || d.Limit != 750 {
		t.Errorf("750 points: limit %d, %v", d.Limit, err)
	}
	full := read(t, p, "X\n"+strings.Repeat("Marram\n", MostUnits))
	if _, err := full.Change(p, "5 Pikes"); err == nil {
		t.Errorf("unit %d was added", MostUnits+1)
	}
}

// Orders can tell units of one kind apart.
func TestNames(t *testing.T) {
	p := osier(t)
	j := read(t, p, "X, 1000 points\n5 Pikes\n5 Pikes\n5 Pikes as Old Guard\nMarram").Judge(p)
	if got := strings.Join(j.Force.Names(p), ", "); got != "Pikes 1, Pikes 2, Old Guard, Marram" {
		t.Errorf("names are %s", got)
	}
}

// What goes into a ledger is ids and numbers; with the names it comes back.
func TestEntry(t *testing.T) {
	p := osier(t)
	f := read(t, p, "X, 1000 points\n5 Pikes\n5 Pikes as Old Guard\nMarram").Judge(p).Force
	if back := f.Entry().Force(f.Name, f.Own()); !reflect.DeepEqual(back, f) {
		t.Errorf("%+v came back as %+v", f, back)
	}
	if back := f.Entry().Force("", nil); back.Points(p) != f.Points(p) || back.Units[1].Own != "" {
		t.Errorf("without names: %+v", back)
	}
}

const file = `name = "Ropewalk Guild"
pack = "osier"
points = 500

[[unit]]
unit = "Fen Riders"
size = 6

[[unit]]
unit = "Toll Guns"
size = 6

[unit.profile]
save = "5+"

[[unit]]
unit = "Rope Guard"
size = 8
name = "Old Hemp"

[[unit]]
unit = "Teasel"
`

// The second force of the story: 6x27 + 6x20 + 8x16 + 85, added by hand to 495.
func TestFile(t *testing.T) {
	p := osier(t)
	d, err := ReadFile(p, "ropewalk.toml", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	j := d.Judge(p)
	if j.Total != 495 || len(j.Faults) != 0 || len(j.Force.Units) != 4 || j.Force.Models() != 21 || j.Force.Name != "Ropewalk Guild" {
		t.Errorf("%d points, %d models, faults %s", j.Total, j.Force.Models(), ids(j))
	}
	again, err := ReadFile(p, "again.toml", []byte(j.Force.WriteFile(p)))
	if err != nil {
		t.Fatal(err)
	}
	if got := again.Judge(p).Force; !reflect.DeepEqual(got, j.Force) {
		t.Errorf("written and read again: %+v, want %+v", got, j.Force)
	}
}

func TestBadFiles(t *testing.T) {
	p := osier(t)
	for _, c := range []struct {
		old, new, id string
		line         int
	}{
		{`save = "5+"`, `save = "5"`, "force.file.need", 14},
		{`save = "5+"`, `save = 5`, "force.file.need", 14},
		{`save = "5+"`, `save = "none"`, "force.file.differs", 14},
		{`save = "5+"`, `save = "7+"`, "force.file.need", 14},
		{`save = "5+"`, `save = "4+"`, "force.file.differs", 14},
		{`save = "5+"`, `nerve = "high"`, "force.file.number", 14},
		{`save = "5+"`, `nerve = 9`, "force.file.differs", 14},
		{`save = "5+"`, `attacks = "6d"`, "force.file.amount", 14},
		{`save = "5+"`, `last_save = "6+"`, "force.file.differs", 14},
		{`save = "5+"`, `armour = "5+"`, "file.key.unknown", 14},
		{`pack = "osier"`, `pack = "brine"`, "force.file.pack", 2},
		{`points = 500`, `points = "500"`, "file.wrong.number", 3},
		{`points = 500`, `points = 0`, "file.range", 3},
		{`points = 500`, `army = "rope-walk-guild"`, "file.word.near", 3},
		{`size = 8`, `sise = 8`, "file.key.near", 18},
		{`size = 8`, `size = [8]`, "file.wrong.number", 18},
		{`size = 8`, `size = 101`, "file.range", 18},
		{`unit = "Fen Riders"`, `unit = "Fen Ridders"`, "force.file.unit.near", 6},
		{`unit = "Fen Riders"`, `unit = "Dragons"`, "force.file.unit.unknown", 6},
		{`unit = "Fen Riders"`, ``, "file.missing", 5},
		{`name = "Old Hemp"`, `name = "` + strings.Repeat("o", MostName+1) + `"`, "file.long", 19},
		{`name = "Old Hemp"`, `name = "a\nb"`, "file.unseen", 19},
		{`name = "Old Hemp"`, `name = "Hemp; done"`, "force.file.ends", 19},
		{`name = "Old Hemp"`, `name = `, "file.syntax", 19},
	} {
		_, err := ReadFile(p, "ropewalk.toml", []byte(strings.Replace(file, c.old, c.new, 1)))
		var faults *source.Faults
		if !errors.As(err, &faults) {
			t.Errorf("%s: %v", c.new, err)
			continue
		}
		if f := faults.All[0]; f.Reason.ID != c.id || f.Line != c.line {
			t.Errorf("%s: %s at line %d, want %s at %d", c.new, f.Reason.ID, f.Line, c.id, c.line)
		}
	}
	if _, err := ReadFile(p, "none.toml", []byte(strings.Replace(file, `save = "5+"`, `last_save = "none"`, 1))); err != nil {
		t.Errorf("no last save is written \"none\": %v", err)
	}
	many := "name = \"X\"\n" + strings.Repeat("[[unit]]\nunit = \"Marram\"\n", MostUnits)
	if _, err := ReadFile(p, "many.toml", []byte(many)); err != nil {
		t.Errorf("exactly %d units: %v", MostUnits, err)
	}
	if _, err := ReadFile(p, "more.toml", []byte(many+"[[unit]]\nunit = \"Marram\"\n")); err == nil || !strings.Contains(err.Error(), "force.refuse.units") {
		t.Errorf("%d units: %v", MostUnits+1, err)
	}
	if _, err := ReadFile(p, "big.toml", []byte(file+strings.Repeat("#", MostBytes))); err == nil || !strings.Contains(err.Error(), "file.big") {
		t.Errorf("too big: %v", err)
	}
}

func FuzzReadSaid(f *testing.F) {
	for _, seed := range []string{story, "10 Pikes\nMarram", "X 500\nPikes x12 as A", "500 pts\n", "× x x\n1 as 2", "no Mortar"} {
		f.Add(seed, "10 Pikes")
	}
	f.Add(story, "line 3: none")
	f.Add(story, "Crossbows, yes")
	p := osier(f)
	f.Fuzz(func(t *testing.T, text, words string) {
		d, err := ReadSaid(p, text)
		if err != nil {
			return
		}
		before := d.Text(p)
		j := d.Judge(p)
		checkForce(t, p, j)
		if changed, err := d.Change(p, words); err == nil {
			checkForce(t, p, changed.Judge(p))
		}
		for _, fix := range j.Fixes {
			if _, err := d.Change(p, fix.Change); err != nil {
				t.Errorf("the fix %q is refused: %v", fix.Change, err)
			}
		}
		if d.Text(p) != before {
			t.Error("a change touched the draft that it was asked of")
		}
	})
}

// checkForce wants a force without faults to keep every limit, and to come back
// from its file as it was.
func checkForce(t *testing.T, p *rules.Pack, j Judgement) {
	t.Helper()
	f := j.Force
	if len(f.Units) > MostUnits || tooLong(f.Name) {
		t.Errorf("beyond the limits: %+v", f)
	}
	if len(j.Faults) > 0 {
		return
	}
	if f.Limit > 0 && f.Points(p) > f.Limit || f.Points(p) != j.Total {
		t.Errorf("%d points, counted %d, limit %d", f.Points(p), j.Total, f.Limit)
	}
	d, err := ReadFile(p, "fuzz.toml", []byte(f.WriteFile(p)))
	if err != nil {
		t.Fatalf("%v\n%s", err, f.WriteFile(p))
	}
	if back := d.Judge(p).Force; !reflect.DeepEqual(back, f) {
		t.Errorf("%+v came back as %+v", f, back)
	}
}

func FuzzReadFile(f *testing.F) {
	f.Add([]byte(file))
	f.Add([]byte("unit = [{ unit = 'Marram' }, { size = -1 }]"))
	p := osier(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		d, err := ReadFile(p, "fuzz.toml", text)
		var faults *source.Faults
		if err != nil {
			if !errors.As(err, &faults) {
				t.Errorf("no list of faults: %v", err)
			}
			return
		}
		checkForce(t, p, d.Judge(p))
	})
}

// BenchmarkRead reads and judges the story's draft; the floor is splitting the
// same text into words.
func BenchmarkRead(b *testing.B) {
	p := osier(b)
	b.Run("floor", func(b *testing.B) {
		for b.Loop() {
			strings.Fields(story)
		}
	})
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			d, err := ReadSaid(p, story)
			if err != nil {
				b.Fatal(err)
			}
			d.Judge(p)
		}
	})
}

// A limit that asks for one unit more is offered the cheapest that meets it and
// that the points pay for; nothing is offered that would break the points.
func TestMissingIsOffered(t *testing.T) {
	p := osier(t)
	adds := func(d Draft) (out []Fix) {
		for _, fix := range d.Judge(p).Fixes {
			if fix.Kind == "add" {
				out = append(out, fix)
			}
		}
		return out
	}
	d := read(t, p, "X, 500 points\n10 Pikes")
	found := adds(d)
	if len(found) != 1 {
		t.Fatalf("%d units are offered for a missing captain: %+v", len(found), found)
	}
	fix, before := found[0], d.Judge(p).Total
	for _, id := range p.Army("weir-militia").Units {
		if u := p.Unit(id); u.Has("captain") && u.Points(u.Least, p) < fix.Unit.Points(fix.Unit.Least, p) {
			t.Errorf("%s is cheaper than %s", u.Title, fix.Unit.Title)
		}
	}
	changed, err := d.Change(p, fix.Change)
	if err != nil {
		t.Fatal(err)
	}
	if j := changed.Judge(p); len(j.Faults) != 0 || j.Total != fix.Total || fix.Total <= before {
		t.Errorf("%s: faults %s, total %d of %d", fix.Change, ids(j), j.Total, fix.Total)
	}
	dear := read(t, p, fmt.Sprintf("X, %d points\n10 Pikes", fix.Total-1))
	if found := adds(dear); len(found) != 0 {
		t.Errorf("a point too few, and still %s", found[0].Change)
	}
	if found := adds(read(t, p, "X, 500 points\n10 Pikes\nMarram")); len(found) != 0 {
		t.Errorf("with a captain there, %s is offered", found[0].Change)
	}
}
