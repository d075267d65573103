package source

import (
	"errors"
	"strings"
	"testing"
)

// reader asks for keys as a real reader does.
func reader(t *Table) {
	t.Text("name", 10)
	t.Number("size", 1, 5)
	t.Truth("on", false)
	t.Names("list")
	t.Pair("pair", 0, 9)
	if inner := t.InnerOr("inner"); inner != nil {
		inner.Number("a", 0, 9)
		inner.Close()
	}
	for _, row := range t.Rows("row") {
		row.Text("id", 10)
		row.Close()
	}
	t.Close()
}

const sound = "name = \"ok\"\nsize = 3\npair = [1, 2]\n"

// Each fault stands where a reader of the file would point.
func TestPlaces(t *testing.T) {
	for _, c := range []struct {
		text, id     string
		line, column int
	}{
		{"name = \"ok\"\nsize = 9\npair = [1, 2]", "file.range", 2, 1},
		{"name = \"ok\"\n  size = \"3\"\npair = [1, 2]", "file.wrong.number", 2, 3},
		{"name = \"ok\"\nsize = 3\npair = [1, 2]\nsise = 4", "file.key.near", 4, 1},
		{"\n\n" + sound + "inner = { b = 1, a = 2 }", "file.key.near", 6, 11},
		{sound + "[inner]\na = 1\nb.c = 2", "file.key.near", 6, 1},
		{sound + "inner.a = -1", "file.range", 4, 7},
		{sound + "list = [\n  \"é\", 7,\n]", "file.wrong.texts", 5, 8},
		{sound + "row = [{ id = \"x\" }, { id = 4 }]", "file.wrong.text", 4, 24},
		{sound + "[[row]]\nid = \"x\"\n\n[[row]]\n", "file.missing", 7, 3},
		{sound + "[[row]]\nid = \"x\"\n[row.sub]\nz = 1", "file.key", 6, 6},
		{sound + "row = 5", "file.wrong.rows", 4, 1},
		{sound + "row = [5]", "file.wrong.rows", 4, 8},
		{sound + "inner = 5", "file.wrong.table", 4, 1},
		{sound + "name = \"twice\"", "file.syntax", 4, 1},
		{sound + "on = yes", "file.syntax", 4, 6},
		{"pair = [1, 2]\r\nname = \"ok\"\r\nsize = 30", "file.range", 3, 1},
		{"size = 3\npair = [1, 2]", "file.missing", 1, 1},
		{"name = \"ok\"\nsize = 3\npair = [1, 2, 3]", "file.wrong.pair", 3, 1},
		{"name = \"a\u200bb\"\nsize = 3\npair = [1, 2]", "file.unseen", 1, 1},
		{"name = \"elevenchars\"\nsize = 3\npair = [1, 2]", "file.long", 1, 1},
		{sound + "x = 1979-05-27", "file.key.unknown", 4, 1},
	} {
		root, err := Read("test.toml", []byte(c.text), 1000)
		if err == nil {
			reader(root)
			err = root.Faults()
		}
		var faults *Faults
		if !errors.As(err, &faults) {
			t.Errorf("%q: no faults, %v", c.text, err)
			continue
		}
		f := faults.All[0]
		if !strings.HasPrefix(f.Reason.ID, c.id) || f.Line != c.line || f.Column != c.column {
			t.Errorf("%q: %s at %d:%d, want %s at %d:%d", c.text, f.Reason.ID, f.Line, f.Column, c.id, c.line, c.column)
		}
	}
}

func TestSoundFile(t *testing.T) {
	root, err := Read("test.toml", []byte(sound+"on = true\nlist = [\"a\", \"b\"]\ninner.a = 0x5\n[[row]]\nid = 'x'\n"), 1000)
	if err != nil {
		t.Fatal(err)
	}
	reader(root)
	if err := root.Faults(); err != nil {
		t.Error(err)
	}
	if root.Number("size", 1, 5) != 3 || root.Inner("inner").Number("a", 0, 9) != 5 || !root.Truth("on", false) {
		t.Error("a value was read wrongly")
	}
}

func TestLimits(t *testing.T) {
	text := []byte("name = \"ok\"")
	if _, err := Read("x", text, len(text)); err != nil {
		t.Errorf("exactly the limit: %v", err)
	}
	if _, err := Read("x", text, len(text)-1); err == nil || !strings.Contains(err.Error(), "file.big") {
		t.Errorf("one byte more: %v", err)
	}
	nest := func(n int) []byte { return []byte("x = " + strings.Repeat("[", n) + strings.Repeat("]", n)) }
	if _, err := Read("x", nest(MostDepth), 1000); err != nil {
		t.Errorf("%d deep: %v", MostDepth, err)
	}
	if _, err := Read("x", nest(MostDepth+1), 1000); err == nil || !strings.Contains(err.Error(), "file.deep") {
		t.Errorf("%d deep: %v", MostDepth+1, err)
	}
}

// Distances counted by hand: one letter changed, dropped, added, swapped.
func TestNearest(t *testing.T) {
	names := []string{"crossbows", "pikes", "mortar", "piercing"}
	for word, want := range map[string]string{
		"crosbows": "crossbows", "corssbows": "crossbows", "pikess": "pikes", "peircing": "piercing",
		"motrar": "mortar", "barge": "", "": "", "xx": "", "pike": "pikes",
		strings.Repeat("x", 10_000): "",
	} {
		if got := Nearest(word, names); got != want {
			t.Errorf("nearest to %.20q is %q, want %q", word, got, want)
		}
	}
	if slips("ab", "ba") != 1 || slips("kitten", "sitting") != 3 || slips("", "abc") != 3 {
		t.Error("slips are counted wrongly")
	}
}

func FuzzRead(f *testing.F) {
	for _, seed := range []string{sound, "a.b.c = [{d = 1}]", "[[a]]\n[a.b]\n[[a.b.c]]", "x = [[1, 2], [\"a\"]]", "\"quoted key\" = '''x'''"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		root, err := Read("fuzz.toml", text, 4096)
		if err == nil {
			reader(root)
			err = root.Faults()
		}
		var faults *Faults
		if err != nil && !errors.As(err, &faults) {
			t.Errorf("no list of faults: %v", err)
		}
	})
}
