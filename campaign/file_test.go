package campaign

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drumhead/engine/reason"
)

// twoBanks is the small campaign file that other tests play on.
func twoBanks(t testing.TB) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.FromSlash("../testdata/campaigns/twobanks.toml"))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func parsed(t testing.TB, b []byte) *File {
	t.Helper()
	f, err := Parse(b)
	if err != nil {
		t.Fatalf("%v: %+v", err, err)
	}
	return f
}

func osier(t testing.TB) *File {
	t.Helper()
	b, ok := Builtin("osier")
	if !ok {
		t.Fatal("osier is not built in")
	}
	return parsed(t, b)
}

func TestBuiltinsAreGood(t *testing.T) {
	for _, name := range Builtins() {
		b, ok := Builtin(name)
		if !ok {
			t.Fatalf("%s is listed but not built in", name)
		}
		parsed(t, b)
	}
	if _, ok := Builtin("../osier"); ok {
		t.Error("a name may not lead out of the maps")
	}
}

func TestOsierMap(t *testing.T) {
	f := osier(t)
	homes := 0
	for _, r := range f.Regions {
		if r.Home == "" {
			continue
		}
		homes++
		linked := f.Linked(r.ID)
		if len(linked) != 3 {
			t.Errorf("%s has %d ways out; every home has three, or it is no fair place to begin", r.Title, len(linked))
		}
		for _, id := range linked {
			if next, _ := f.Region(id); next.Home != "" {
				t.Errorf("%s borders on the home %s", r.Title, next.Title)
			}
		}
	}
	if len(f.Regions) != 18 || homes != 6 {
		t.Errorf("%d regions and %d homes, want 18 and 6", len(f.Regions), homes)
	}
	if f.RoundDays != 7 {
		t.Errorf("a round of %d days, want 7", f.RoundDays)
	}
}

// No two links cross on the map, so that a picture of it can be read. Whether
// two segments cross is told by the turns of their ends, the textbook test.
func TestOsierLinksDoNotCross(t *testing.T) {
	f := osier(t)
	turn := func(a, b, c Region) int { return (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X) }
	ends := func(l Link) (Region, Region) {
		a, _ := f.Region(l.Between[0])
		b, _ := f.Region(l.Between[1])
		return a, b
	}
	for i, l := range f.Links {
		for _, m := range f.Links[:i] {
			a, b := ends(l)
			c, d := ends(m)
			if a == c || a == d || b == c || b == d {
				continue
			}
			if (turn(a, b, c) > 0) != (turn(a, b, d) > 0) && (turn(c, d, a) > 0) != (turn(c, d, b) > 0) {
				t.Errorf("%s - %s crosses %s - %s", a.Title, b.Title, c.Title, d.Title)
			}
		}
	}
}

func TestUsualValues(t *testing.T) {
	text := string(twoBanks(t))
	text = text[:strings.Index(text, "grade = [")]
	text = strings.Replace(text, "round_days = 3\n", "", 1)
	f := parsed(t, []byte(text))
	if f.RoundDays != 7 {
		t.Errorf("round of %d days, want 7", f.RoundDays)
	}
	if f.Experience != (Experience{Fought: 2, Broke: 3}) {
		t.Errorf("experience %+v", f.Experience)
	}
	// Design page words: green, steady, seasoned, proven, storied from 0, 5, 12, 21, 32.
	for experience, grade := range map[int]string{0: "green", 4: "green", 5: "steady", 11: "steady", 12: "seasoned",
		20: "seasoned", 21: "proven", 31: "proven", 32: "storied", 9999: "storied"} {
		if got := f.Grade(experience).ID; got != grade {
			t.Errorf("%d experience is %s, want %s", experience, got, grade)
		}
	}
}

// faults are changes of the small file, and where and how each must be refused.
var faults = []struct {
	name, old, new, id string
	line               int
}{
	{"not TOML", `title = "Two Banks"`, `title = Two Banks`, "spelling", 4},
	{"unknown key", `round_days = 3`, `round_days = 3` + "\n" + `weather = "rain"`, "unknown", 6},
	{"unknown key inside", `x = 250, y = 400`, `x = 250, y = 400, z = 1`, "unknown", 9},
	{"float", `round_days = 3`, `round_days = 3.5`, "spelling", 5},
	{"no title", `title = "Two Banks"`, ``, "missing", 1},
	{"empty round", `round_days = 3`, `round_days = 0`, "number", 5},
	{"long round", `round_days = 3`, `round_days = 61`, "number", 5},
	{"region twice", `id = "eel ford"`, `id = "old mill"`, "twice", 10},
	{"title twice", `title = "Eel Ford"`, `title = "OLD MILL"`, "twice", 10},
	{"home twice", `home = "Bell Ringers"`, `home = "Reed cutters"`, "twice", 11},
	{"one home", `home = "Bell Ringers", `, ``, "homes", 7},
	{"id with capitals", `id = "eel ford"`, `id = "Eel Ford"`, "id", 10},
	{"id missing", `id = "eel ford", `, ``, "missing", 10},
	{"title of signs", `title = "Eel Ford"`, `title = "Eel*Ford"`, "name", 10},
	{"title with a line end", `title = "Eel Ford"`, `title = "Eel\nFord"`, "name", 10},
	{"title turned round", `title = "Eel Ford"`, `title = "Eel\u202eFord"`, "name", 10},
	{"title too long", `title = "Eel Ford"`, `title = "` + strings.Repeat("é", MaxName+1) + `"`, "long", 10},
	{"off the map", `x = 700`, `x = 1001`, "number", 10},
	{"no place", `x = 700, `, ``, "missing", 10},
	{"one spot", `x = 700, y = 450`, `x = 250, y = 400`, "spot", 10},
	{"link to nowhere", `["north bank", "eel ford"]`, `["north bank", "eel fort"]`, "region", 17},
	{"link to itself", `["north bank", "eel ford"]`, `["eel ford", "eel ford"]`, "between", 17},
	{"link of three", `["north bank", "eel ford"]`, `["north bank", "eel ford", "old mill"]`, "between", 17},
	{"link twice", `["south bank", "eel ford"]`, `["eel ford", "north bank"]`, "twice", 19},
	{"link by air", `["south bank", "eel ford"], by = "river"`, `["south bank", "eel ford"], by = "air"`, "by", 19},
	{"river of one point", `link = [`, `river = [[0, 0]]` + "\n\nlink = [", "river", 15},
	{"river of odd points", `link = [`, `river = [[0, 0], [1]]` + "\n\nlink = [", "spots", 15},
	{"river far away", `link = [`, `river = [[0, 0], [1, 2001]]` + "\n\nlink = [", "number", 15},
	{"one link less is no fault", `  { between = ["north bank", "eel ford"], by = "river" },` + "\n", ``, "", 0},
	{"first grade late", `{ id = "raw", from = 0 }`, `{ id = "raw", from = 1 }`, "number", 24},
	{"grades fall", `{ id = "trusted", from = 10 }`, `{ id = "trusted", from = 4 }`, "number", 26},
	{"grade twice", `{ id = "trusted", from = 10 }`, `{ id = "raw", from = 10 }`, "twice", 26},
	{"grade without start", `{ id = "trusted", from = 10 }`, `{ id = "trusted" }`, "missing", 26},
	{"too much for a deed", `broke = 2`, `broke = 100`, "number", 31},
	{"less than nothing", `fought = 1`, `fought = -1`, "number", 30},
}

func TestFaultsAreShownWhereTheyStand(t *testing.T) {
	good := string(twoBanks(t))
	for _, f := range faults {
		t.Run(f.name, func(t *testing.T) {
			if !strings.Contains(good, f.old) {
				t.Fatalf("the file has no %q", f.old)
			}
			_, err := Parse([]byte(strings.Replace(good, f.old, f.new, 1)))
			if f.id == "" { // still in one piece by another way: no fault
				if err != nil {
					t.Fatalf("refused: %+v", err)
				}
				return
			}
			id, slots := refusal(t, err)
			if id != "campaign.file."+f.id {
				t.Fatalf("refused as %s %v, want campaign.file.%s", id, slots, f.id)
			}
			if slots["line"] != f.line {
				t.Errorf("shown at line %v, want %d", slots["line"], f.line)
			}
			if c, ok := slots["column"].(int); !ok || c < 1 {
				t.Errorf("column %v", slots["column"])
			}
		})
	}
}

func refusal(t testing.TB, err error) (string, map[string]any) {
	t.Helper()
	var r *reason.Refusal
	if !errors.As(err, &r) {
		t.Fatalf("a refusal was expected, got %v", err)
	}
	slots := map[string]any{}
	for _, a := range r.Reason.Args {
		slots[a.Name] = a.Value
	}
	return r.Reason.ID, slots
}

func TestTwoPieces(t *testing.T) {
	text := string(twoBanks(t))
	for _, cut := range []string{`  { between = ["north bank", "eel ford"], by = "river" },`, `  { between = ["old mill", "chapel hill"], by = "pass" },`} {
		text = strings.Replace(text, cut+"\n", "", 1)
	}
	_, err := Parse([]byte(text))
	id, slots := refusal(t, err)
	if id != "campaign.file.apart" || slots["line"] != 10 {
		t.Errorf("%s at line %v: Eel Ford of line 10 is cut off", id, slots["line"])
	}
}

func TestTablesAreLocatedToo(t *testing.T) {
	text := "title = \"T\"\n[[region]]\nid = \"a\"\ntitle = \"A\"\nhome = \"H\"\nx = 1\ny = 1\n[[region]]\nid = \"b\"\ntitle = \"B\"\nhome = \"I\"\nx = 2\n  y = 1001\n"
	_, err := Parse([]byte(text))
	id, slots := refusal(t, err)
	if id != "campaign.file.number" || slots["line"] != 13 || slots["column"] != 3 {
		t.Errorf("%s %v, want the number at line 13, column 3", id, slots)
	}
}

func TestLimitsOfAFile(t *testing.T) {
	good := twoBanks(t)
	fill := append(bytes.Clone(good), bytes.Repeat([]byte("#"), MaxFile-len(good))...)
	parsed(t, fill)
	if id, _ := refusal(t, second(Parse(append(fill, '#')))); id != "campaign.file.large" {
		t.Errorf("one byte too many: %s", id)
	}
	if id, slots := refusal(t, second(Parse([]byte("title = \"a\"\n# \xff\n")))); id != "campaign.file.text" || slots["line"] != 2 {
		t.Errorf("not UTF-8: %s %v", id, slots)
	}
	if _, err := Parse(many(MaxRegions, MaxHomes)); err != nil {
		t.Errorf("%d regions: %+v", MaxRegions, err)
	}
	if id, _ := refusal(t, second(Parse(many(MaxRegions+1, 2)))); id != "campaign.file.many" {
		t.Errorf("one region too many: %s", id)
	}
	if id, _ := refusal(t, second(Parse(many(MaxRegions, MaxHomes+1)))); id != "campaign.file.many" {
		t.Errorf("one home too many: %s", id)
	}
}

func second(_ *File, err error) error { return err }

// many is a chain of regions, the first of which are homes.
func many(regions, homes int) []byte {
	var b strings.Builder
	b.WriteString("title = \"Chain\"\n")
	name := func(i int) string { return "r" + string(rune('a'+i/26)) + string(rune('a'+i%26)) }
	for i := range regions {
		b.WriteString("[[region]]\nid = \"" + name(i) + "\"\ntitle = \"" + name(i) + "\"\n")
		if i < homes {
			b.WriteString("home = \"home of " + name(i) + "\"\n")
		}
		b.WriteString("x = " + string(rune('0'+i%10)) + "\ny = " + string(rune('1'+i/10)) + "\n")
	}
	for i := range regions - 1 {
		b.WriteString("[[link]]\nbetween = [\"" + name(i) + "\", \"" + name(i+1) + "\"]\n")
	}
	return []byte(b.String())
}

func FuzzParse(f *testing.F) {
	good := string(twoBanks(f))
	f.Add([]byte(good))
	for _, name := range Builtins() {
		b, _ := Builtin(name)
		f.Add(b)
	}
	f.Add(many(5, 2))
	for _, fault := range faults {
		f.Add([]byte(strings.Replace(good, fault.old, fault.new, 1)))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		file, err := Parse(b)
		if err != nil {
			refusal(t, err)
			return
		}
		if len(file.Regions) < 2 || len(file.Grades) == 0 || file.Grades[0].From != 0 || file.Title == "" {
			t.Fatalf("a file that cannot be played was taken: %+v", file)
		}
		for _, l := range file.Links {
			if file.index(l.Between[0]) < 0 || file.index(l.Between[1]) < 0 {
				t.Fatalf("link into nothing: %v", l)
			}
		}
	})
}
