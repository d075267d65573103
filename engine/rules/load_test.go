package rules

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"

	"drumhead/engine/rules/source"
)

// badPacks changes one thing in osier each: what stands there, what is put in its
// place, the ids (or their beginnings) of the faults that come of it, and the
// name that must be offered as near.
type badPack struct{ old, new, id, near string }

var badPacks = []badPack{
	{"edition = 1", "edition = \"one\"", "file.wrong.number", ""},
	{"edition = 1", "edition = 0", "file.range", ""},
	{"edition = 1", "edition = 1.5", "file.wrong.number", ""},
	{"edition = 1", "", "file.missing", ""},
	{"edition = 1", "edition = ", "file.syntax", ""},
	{"edition = 1", "edition = 1\nedition = 2", "file.syntax", ""},
	{"measure = \"inch\"", "measure = \"inches\"", "file.word.near", "inch"},
	{"measure = \"inch\"", "measure = \"league\"", "file.word.unknown", ""},
	{"title   = \"Osier\"", "title   = \" \"", "file.empty", ""},
	{"title   = \"Osier\"", "title   = \"" + strings.Repeat("O", MostName+1) + "\"", "file.long", ""},
	{"title   = \"Osier\"", "title   = \"Os\\u202Eier\"", "file.unseen", ""},
	{"title   = \"Osier\"", "title   = [\"Osier\"]", "file.wrong.text", ""},
	{"piercing = 0\ndamage = 1", "peircing = 0\ndamage = 1", "file.missing file.key.near", "piercing"},
	{"[movement]", "[mooovement]", "file.missing file.key.near", "movement"},
	{"short = \"Pikes\"", "shortt = \"Pikes\"", "file.key.near", "short"},
	{"short = \"Pikes\"", "if_count = 3", "file.key.unknown", ""},
	{"id = \"pike\"", "id = \"knife\"", "pack.twice pack.name", ""},
	{"id = \"pike\"", "id = \"pi\\\\ke\"", "pack.id pack.name", ""},
	{"size = [5, 20]", "size = 5", "file.wrong.pair", ""},
	{"size = [5, 20]", "size = [20, 5]", "file.falling", ""},
	{"size = [5, 20]", "size = [0, 20]", "file.range", ""},
	{"size = [5, 20]\nbase = 25", "size = [5, 20]\nbase = true", "file.wrong.number", ""},
	{"fight = \"4+\", attacks = 1, points = 9", "fight = 4, attacks = 1, points = 9", "pack.need.number", ""},
	{"fight = \"4+\", attacks = 1, points = 9", "fight = \"1+\", attacks = 1, points = 9", "pack.need.wrong", ""},
	{"fight = \"4+\", attacks = 1, points = 9", "fight = \"7+\", attacks = 1, points = 9", "pack.need.wrong", ""},
	{"fight = \"4+\", attacks = 1, points = 9", "fight = \"4+\", points = 9", "pack.profile", ""},
	{"fight = \"4+\", attacks = 1, points = 9", "fight = \"4+\", attacks = \"6d\", points = 9", "pack.amount", ""},
	{"fight = \"4+\", attacks = 1, points = 9", "fight = \"4+\", attacks = \"2d1\", points = 9", "pack.amount", ""},
	{"fight = \"4+\", attacks = 1, points = 9", "fight = \"4+\", attacks = -1, points = 9", "pack.amount", ""},
	{"fight = \"4+\", attacks = 1, points = 9", "fight = \"4+\", attacks = 1", "pack.free", ""},
	{"fight = \"4+\", attacks = 1, points = 9", "fight = \"4+\", attacks = 500, points = 9", "pack.tokens", ""},
	{"profile = { wounds = 1, toughness = 3, save = \"4+\", nerve = 7, move = 5,", "profile = { wounds = 900, toughness = 3, save = \"4+\", nerve = 7, move = 5,", "pack.wounds", ""},
	{"toughness = 3, save = \"4+\", nerve = 7, move = 5,", "toughness = -3, save = \"4+\", nerve = 7, move = 5,", "file.range", ""},
	{"effects = [\"grounded pikes\"]", "effects = [\"grounded pike\"]", "pack.name.near", "grounded pikes"},
	{"effects = [\"grounded pikes\"]", "effects = [\"hoist the anchor\"]", "pack.name.unknown", ""},
	{"effects = [\"grounded pikes\"]", "effects = [\"drilled\", \"drilled\"]", "pack.repeated", ""},
	{"effects = [\"grounded pikes\"]", "effects = [3]", "file.wrong.texts", ""},
	{"effects = [\"grounded pikes\"]", "effects = \"drilled\"", "file.wrong.texts", ""},
	{"weapons = [\"pike\"]", "weapons = [\"pike\", \"crossbow\"]", "pack.armed", ""},
	{"powers = [\"veil\", \"undertow\"]", "powers = [\"veil\", \"undertow\", \"slack-water\"]", "pack.powers", ""},
	{"{ from = 0, need = \"4+\" }", "{ from = -5, need = \"4+\" }", "pack.chart.falling", ""},
	{"{ from = 0, need = \"4+\" }", "{ from = 0, need = \"4+\", is = \"equal\" }", "file.key.unknown", ""},
	{"by = \"difference\"", "by = \"comparison\"", "file.missing", ""},
	{"need = { chart = \"wounding\" }", "need = { chart = \"wonding\" }", "pack.name.near", "wounding"},
	{"need = { chart = \"wounding\" }", "need = { chart = \"wounding\", fixed = \"4+\" }", "pack.sources", ""},
	{"need = { chart = \"wounding\" }", "need = {}", "pack.sources", ""},
	{"need = { chart = \"wounding\" }", "need = { from = \"nerve\", of = \"target\" }", "pack.kind", ""},
	{"need = { from = \"fight\", of = \"attacker\" }", "need = { from = \"fight\", of = \"defender\" }", "file.word", ""},
	{"at_least = { measure = \"gap\", less = 1 }", "", "pack.judges", ""},
	{"at_least = { measure = \"gap\", less = 1 }", "at_least = { measure = \"gap\" }\nat_most = { from = \"nerve\", of = \"self\" }", "pack.judges", ""},
	{"dice = \"d6\"\nplus", "dice = 6\nplus", "pack.dice", ""},
	{"die = \"d6\"\nneed = { chart", "die = \"six\"\nneed = { chart", "pack.die", ""},
	{"die = \"d6\"\nneed = { chart", "die = \"d1\"\nneed = { chart", "pack.die", ""},
	{"excess = { do = \"flee\", each = 1, who = \"self\" }", "excess = { do = \"heal\", each = 1, who = \"self\" }", "file.word.unknown", ""},
	{"goes_on = \"fails\"", "goes_on = \"passes\"", "pack.step.model", ""},
	{"steps = [\"hit in melee\", \"wound\", \"save\"]", "steps = [\"save\", \"hit in melee\", \"wound\"]", "pack.sequence.model", ""},
	{"steps = [\"hit in melee\", \"wound\", \"save\"]", "steps = [\"hit in melee\", \"morale\", \"save\"]", "pack.sequence.shape", ""},
	{"steps = [\"hit in melee\", \"wound\", \"save\"]", "steps = []", "pack.sequence.empty", ""},
	{"kind = \"reroll\"\nstep = \"wound\"", "kind = \"rerol\"\nstep = \"wound\"", "file.word.near", "reroll"},
	{"kind = \"reroll\"\nstep = \"wound\"", "kind = \"expression\"\nstep = \"wound\"", "file.word.unknown", ""},
	{"owner = \"target\"\nalways = true", "owner = \"self\"\nalways = true", "pack.effect.owner", ""},
	{"gives = { no_save = true }", "gives = {}", "pack.gives", ""},
	{"gives = { no_save = true }", "gives = { no_save = true, if_count = 3 }", "file.key.unknown", ""},
	{"kind = \"attacks\"\nleast = 2", "kind = \"attacks\"", "pack.attacks", ""},
	{"if = [{ target_models = { least = 8 } }]", "if = [{ target_models = { least = 8 }, moved = true }]", "pack.condition", ""},
	{"if = [{ target_models = { least = 8 } }]", "if = [{}]", "pack.condition", ""},
	{"if = [{ target_models = { least = 8 } }]", "if = [{ moved = \"no\" }]", "file.wrong.truth", ""},
	{"if = [{ target_models = { least = 8 } }]", "if = [{ range = 8 }]", "file.key", ""},
	{"if = [{ target_models = { least = 8 } }]", "if = [{ not = { not = { not = { moved = true } } } }]", "pack.nested", ""},
	{"if = [{ grade = \"seasoned\" }]", "if = [{ grade = \"season\" }]", "file.word.near", "seasoned"},
	{"allows = [\"cast\"]", "allows = [\"cast\", \"shoot\"]", "pack.phase.twice", ""},
	{"allows = [\"cast\"]", "allows = []", "pack.phase.empty", ""},
	{"allows = [\"cast\"]", "allows = [\"dance\"]", "file.word pack.phase", ""},
	{"strikes = \"charger first\"", "strikes = \"at random\"", "file.word.unknown", ""},
	{"who_falls = \"plainest first\"", "who_falls = \"my choice\"", "file.word.unknown", ""},
	{"pace = \"move\"", "pace = \"nerve\"", "pack.kind", ""},
	{"{ keyword = \"captain\", least = 1, most = 3 }", "{ keyword = \"captain\", least = 4, most = 3 }", "file.falling", ""},
	{"units = [\"weir-pikes\",", "units = [\"weir-pike\",", "pack.name.near", "weir-pikes"},
	{"turns = 6", "turns = 600", "file.range", ""},
	{"id = \"well\"", "id = \"bridge\"", "pack.repeated", ""},
	{"modifiers = { least = -2, most = 2 }", "modifiers = 2", "file.wrong.table", ""},
	{"[[scenario]]\nid = \"last-ferry\"", "[scenario.x]\nid = \"last-ferry\"", "", ""},
}

// TestBadPacks wants every change refused, at its line.
func TestBadPacks(t *testing.T) {
	wantRefused(t, "osier", badNames)
	for id, rows := range map[string][]badPack{"osier": badPacks, "brine": badShips, "column": badBrigades} {
		wantRefused(t, id, rows)
	}
}

func wantRefused(t *testing.T, id string, rows []badPack) {
	text, ok := Builtin(id)
	if !ok {
		t.Fatalf("no %s", id)
	}
	good := bytes.Clone(text)
	for _, c := range rows {
		bad := strings.Replace(string(good), c.old, c.new, 1)
		if bad == string(good) {
			t.Errorf("%s has no %q", id, c.old)
			continue
		}
		line := 1 + strings.Count(string(good)[:strings.Index(string(good), c.old)], "\n")
		_, err := Load("bad.toml", []byte(bad))
		checkFaults(t, c.new, err, strings.Fields(c.id), c.near, line)
	}
}

// checkFaults wants the ids (or their beginnings) among the faults, the first
// of them near the line that was changed.
func checkFaults(t *testing.T, change string, err error, ids []string, near string, line int) {
	t.Helper()
	var faults *source.Faults
	if !errors.As(err, &faults) || len(faults.All) == 0 {
		t.Errorf("%q: no faults but %v", change, err)
		return
	}
	for _, id := range ids {
		found := false
		for _, f := range faults.All {
			found = found || strings.HasPrefix(f.Reason.ID, id)
		}
		if !found {
			t.Errorf("%q: want %s, got\n%v", change, id, err)
		}
	}
	if near != "" && !strings.Contains(err.Error(), near) {
		t.Errorf("%q: %q is not offered:\n%v", change, near, err)
	}
	for _, f := range faults.All {
		if f.Line < 1 || f.Column < 1 {
			t.Errorf("%q: a fault without a place: %v", change, f)
		}
	}
	if first := faults.All[0].Line; first > line+12 {
		t.Errorf("%q: the first fault is at line %d, the change at %d", change, first, line)
	}
}

func TestUnreadablePacks(t *testing.T) {
	for _, c := range []struct {
		name string
		text []byte
		id   string
	}{
		{"too big", bytes.Repeat([]byte("#"), MostBytes+1), "file.big"},
		{"not UTF-8", []byte("pack = \"\xff\""), "file.utf8"},
		{"control", []byte("pack = \"\x07\""), "file.control"},
		{"deep", []byte("pack = " + strings.Repeat("[", 40) + strings.Repeat("]", 40)), "file.deep"},
		{"empty", nil, "pack.none"},
	} {
		_, err := Load("bad.toml", c.text)
		if err == nil || !strings.Contains(err.Error(), c.id) {
			t.Errorf("%s: %v, want %s", c.name, err, c.id)
		}
	}
	if _, err := Load("full.toml", append(mustBuiltin(t), bytes.Repeat([]byte("\n"), MostBytes-len(mustBuiltin(t)))...)); err != nil {
		t.Errorf("a pack of exactly the limit: %v", err)
	}
}

func mustBuiltin(t testing.TB) []byte {
	text, ok := Builtin("osier")
	if !ok {
		t.Fatal("no osier")
	}
	return bytes.Clone(text)
}

// Every fault of a file comes at once, in the order of the file, ten are shown.
func TestAllFaultsAtOnce(t *testing.T) {
	bad := strings.ReplaceAll(string(mustBuiltin(t)), "base = ", "basse = ")
	_, err := Load("bad.toml", []byte(bad))
	var faults *source.Faults
	if !errors.As(err, &faults) {
		t.Fatal(err)
	}
	if len(faults.All) != 2*13 || len(faults.Shown()) != source.MostShown {
		t.Errorf("%d faults, %d shown; want 26 and %d", len(faults.All), len(faults.Shown()), source.MostShown)
	}
	for i := 1; i < len(faults.All); i++ {
		if faults.All[i].Line < faults.All[i-1].Line {
			t.Errorf("fault %d at line %d comes after line %d", i, faults.All[i].Line, faults.All[i-1].Line)
		}
	}
}

// TestRowsBeyondLimit fills a kind to its limit and one row more.
func TestRowsBeyondLimit(t *testing.T) {
	have := strings.Count(string(mustBuiltin(t)), "[[keyword]]")
	var rows strings.Builder
	for i := have; i < MostRows; i++ {
		fmt.Fprintf(&rows, "[[keyword]]\nid = \"k%d\"\n", i)
	}
	full := append(mustBuiltin(t), rows.String()...)
	if _, err := Load("full.toml", full); err != nil {
		t.Errorf("%d rows: %v", MostRows, err)
	}
	_, err := Load("over.toml", append(full, "[[keyword]]\nid = \"more\"\n"...))
	if err == nil || !strings.Contains(err.Error(), "pack.many") {
		t.Errorf("%d rows: %v, want pack.many", MostRows+1, err)
	}
}

// loadSeeds are the packs from which the fuzz of the loader begins.
func loadSeeds(t testing.TB) [][]byte {
	var seeds [][]byte
	for _, name := range []string{"testdata/common.toml", "testdata/odd.toml"} {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		seeds = append(seeds, text)
	}
	for _, id := range Builtins() {
		text, _ := Builtin(id)
		seeds = append(seeds, text)
	}
	return seeds
}

func FuzzLoad(f *testing.F) {
	for _, seed := range loadSeeds(f) {
		f.Add(seed)
	}
	f.Add([]byte("[[unit]]\nid = 3\nprofile = { a.b = 1 }"))
	f.Add([]byte("[a]\nb = [{c = 1}, {c = 2}]\n[[a.d]]\n"))
	f.Add([]byte("step = 1\n[[weapon]]\nid='x'\ndamage='99999999999d6'"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := Load("fuzz.toml", text)
		var faults *source.Faults
		switch {
		case err == nil && p == nil:
			t.Error("neither pack nor fault")
		case err != nil && !errors.As(err, &faults):
			t.Errorf("no list of faults: %v", err)
		case err == nil:
			compileAll(t, p)
		}
	})
}

// compileAll compiles everything that every unit may do to every unit: a pack
// that loads never panics in play.
func compileAll(t *testing.T, p *Pack) {
	for _, u := range p.Units {
		g := Group{Unit: u.ID, Models: u.Most}
		for _, v := range p.Units {
			at := Group{Unit: v.ID, Models: v.Most}
			for part := range 1 + len(u.Others) {
				for _, w := range u.WeaponsOf(part) {
					a, _, err := p.Compile(g, w, at, Facts{Part: part})
					if err == nil && a.Most() > mostDice {
						t.Errorf("%s with %s at %s: %d dice", u.ID, w, v.ID, a.Most())
					}
					_, _, _ = p.Volley("shoot", g, w, at, Facts{})
				}
			}
			for _, order := range Orders {
				_, _, _ = p.Volley(order, g, "", at, Facts{})
				_, _, _, _ = p.Contest(order, g, at, Facts{})
				if looked, _, err := p.Assault(order, []Group{g, g}, at, Facts{}); err == nil {
					for i := range looked.Table.Rows {
						looked.Result(i)
					}
					looked.Odds()
				}
			}
		}
		for _, w := range u.Powers {
			_, _, _ = p.Casting(g, w)
		}
		for _, order := range Orders {
			_, _, _ = p.Upkeep(order, g)
			p.Reach(order, g)
			p.Measures(order)
		}
		if m, _, err := p.Morale(g, 1); err == nil {
			m.Flee(100)
		}
		p.Hull(g)
		p.Parts(g)
		_, _, _ = p.Charge(g, 30)
	}
}

func TestEveryUnitCompiles(t *testing.T) {
	p := osier(t)
	compileAll(t, p)
	for _, u := range p.Units {
		for _, w := range u.Weapons {
			if _, _, err := p.Compile(Group{Unit: u.ID, Models: u.Most}, w, Group{Unit: "barge", Models: 1}, Facts{}); err != nil {
				t.Errorf("%s with %s: %v", u.ID, w, err)
			}
		}
	}
}

// BenchmarkLoad loads osier; the floor is go-toml reading the same bytes into a
// map.
func BenchmarkLoad(b *testing.B) {
	text := mustBuiltin(b)
	b.Run("floor", func(b *testing.B) {
		for b.Loop() {
			var whole map[string]any
			if err := toml.Unmarshal(text, &whole); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("load", func(b *testing.B) {
		for b.Loop() {
			if _, err := Load("osier.toml", text); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkCompile compiles one attack; the floor is rolling it with a drawer
// that costs nothing.
func BenchmarkCompile(b *testing.B) {
	p := osier(b)
	from, at := Group{Unit: "ferry-crossbows", Models: 10}, Group{Unit: "fen-riders", Models: 6}
	a, _, err := p.Compile(from, "crossbow", at, Facts{Cover: true})
	if err != nil {
		b.Fatal(err)
	}
	b.Run("floor", func(b *testing.B) {
		for b.Loop() {
			a.Roll(steady{})
		}
	})
	b.Run("compile", func(b *testing.B) {
		for b.Loop() {
			if _, _, err := p.Compile(from, "crossbow", at, Facts{Cover: true}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// steady shows a four on every die.
type steady struct{}

func (steady) Draw(int) int { return 4 }
func (steady) Left() int    { return 1 << 20 }
