package rules

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"

	"drumhead/engine/rules/source"
)

// badShips changes one thing in brine each, as badPacks does in osier.
var badShips = []badPack{
	{"marked = [3, 6], timbers = 3", "marked = [6, 3], timbers = 3", "pack.marks.falling", ""},
	{"marked = [3, 6], timbers = 3", "marked = [3, 8], timbers = 3", "pack.marks.outside", ""},
	{"marked = [3, 6], timbers = 3", "marked = [0, 6], timbers = 3", "file.range", ""},
	{"marked = [3, 6], timbers = 3", "marked = 3, timbers = 3", "file.wrong.numbers", ""},
	{"hull = 8, marked", "hull = 0, marked", "pack.wounds", ""},
	{"hull = 8, marked", "hull = 41, marked", "pack.wounds", ""},
	{"resolve = 8, points = 45", "resolve = 8, points = 0", "file.range", ""},
	{"size = [1, 1]\nbase = 60", "size = [0, 1]\nbase = 60", "file.range", ""},
	{"units = [\"watch-cutter\", \"lock-barge\"]", "units = []", "pack.army", ""},
	{"units = [\"watch-cutter\", \"lock-barge\"]", "units = [\"watch-cuter\", \"lock-barge\"]", "pack.name.near", "watch-cutter"},
	{"on = \"3-4\"", "on = \"4\"", "pack.table.hole", ""},
	{"on = \"3-4\"", "on = \"2-4\"", "pack.table.twice", ""},
	{"on = \"12\"", "on = \"12-13\"", "pack.table.beyond", ""},
	{"on = \"12\"", "on = \"1\"", "pack.table.beyond", ""},
	{"on = \"12\"", "on = \"twelve\"", "pack.table.on", ""},
	{"on = \"3-4\"", "on = \"4-3\"", "pack.table.on", ""},
	{"dice = \"2d6\"\nrows", "dice = 7\nrows", "pack.table.dice", ""},
	{"dice = \"2d6\"\nrows", "dice = \"9d100\"\nrows", "pack.table.dice", ""},
	{"dice = \"2d6\"\nrows", "dice = \"2d\"\nrows", "pack.amount", ""},
	{"then = [{ do = \"status\", status = \"no rudder\", who = \"target\" }]", "then = [{ do = \"look up\", table = \"critical\" }]", "pack.marks.table pack.table.circle", ""},
	{"then = [{ do = \"status\", status = \"no rudder\", who = \"target\" }]", "then = [{ do = \"status\", status = \"no ruder\", who = \"target\" }]", "pack.name.near", "no rudder"},
	{"then = [{ do = \"status\", status = \"no rudder\", who = \"target\" }]", "then = [{ do = \"status\", status = \"no rudder\", who = \"everybody\" }]", "file.word", ""},
	{"then = [{ do = \"status\", status = \"no rudder\", who = \"target\" }]", "then = [{ do = \"explode\", who = \"target\" }]", "file.word", ""},
	{"then = [{ do = \"status\", status = \"no rudder\", who = \"target\" }]", "then = [{ do = \"cross off\", who = \"target\" }]", "file.missing", ""},
	{"then = [{ do = \"lose\", characteristic = \"crew\", amount = 1, who = \"target\" }] },\n  { on = \"8-9\"", "then = [{ do = \"lose\", characteristic = \"marked\", amount = 1, who = \"target\" }] },\n  { on = \"8-9\"", "pack.kind", ""},
	{"table = \"critical\" }", "table = \"critcal\" }", "pack.name.near", "critical"},
	{"table = \"critical\" }", "}", "file.missing", ""},
	{"marks = \"marked\"", "marks = \"crew\"", "pack.kind", ""},
	{"crosses_off = \"hull\"", "crosses_off = \"speed\"", "pack.kind", ""},
	{"crosses_off = \"hull\"", "crosses_off = \"crew\"", "pack.sequence.crossed", ""},
	{"shape = \"pools\"\nmine = { roller = \"attacker\", number = { from = \"attacks\"", "shape = \"pool\"\nmine = { roller = \"attacker\", number = { from = \"attacks\"", "file.word.near", "pools"},
	{"mine = { roller = \"attacker\", number = { from = \"attacks\"", "mine = { roller = \"nobody\", number = { from = \"attacks\"", "file.word", ""},
	{"theirs = { roller = \"target\", number = { from = \"timbers\", of = \"target\" }, die = \"d6\", need = { fixed = \"5+\" } }", "theirs = { roller = \"target\", number = { from = \"timbers\", of = \"target\" }, die = \"d6\", need = { fixed = \"5+\" }, goes_on = \"fails\" }", "pack.step.pool", ""},
	{"theirs = { roller = \"target\", number = { from = \"timbers\", of = \"target\" }, die = \"d6\", need = { fixed = \"5+\" } }", "", "file.missing", ""},
	{"attacks = 3\neffects = [\"grape\"]", "attacks = \"d3\"\neffects = [\"grape\"]", "pack.pool", ""},
	{"attacks = 3\neffects = [\"grape\"]", "attacks = 101\neffects = [\"grape\"]", "pack.pool", ""},
	{"attacks = 3\neffects = [\"grape\"]", "attacks = 3\nstrength = 4\neffects = [\"grape\"]", "file.key", ""},
	{"gives = { extra = 1 }", "gives = { no_save = true }", "pack.effect.pool", ""},
	{"step = \"broadside\"\nby = 1\n", "step = \"boarding\"\nby = 1\n", "pack.effect.shape", ""},
	{"tie = \"roll again\"", "tie = \"honours even\"", "file.word", ""},
	{"tie = \"roll again\"", "", "file.missing", ""},
	{"open_ended = { most = 3 }", "open_ended = { most = 0 }", "file.range", ""},
	{"open_ended = { most = 3 }", "open_ended = {}", "file.missing", ""},
	{"open_ended = { most = 3 }", "open_ended = true", "file.wrong.table", ""},
	{"at_most = { fixed = 5 }", "at_most = { fixed = 5 }\nat_least = { fixed = 5 }", "pack.judges", ""},
	{"at_most = { fixed = 5 }", "at_most = { fixed = \"5+\" }", "pack.kind", ""},
	{"then = [{ do = \"repair\", who = \"self\" }]", "", "pack.step.alone", ""},
	{"steps = [\"broadside\"]", "steps = [\"broadside\", \"ramming\"]", "pack.sequence.steps", ""},
	{"order = \"fight\"\nsteps = [\"boarding\"]", "order = \"cast\"\nsteps = [\"boarding\"]", "pack.sequence.order", ""},
	{"order = \"fight\"\nsteps = [\"boarding\"]", "order = \"shoot\"\nsteps = [\"boarding\"]", "pack.sequence.twice pack.sequence.order", ""},
	{"steps = [\"boarding\"]", "steps = [\"boarding\"]\ndamage = { amount = 1, crosses_off = \"hull\" }", "pack.sequence.damage", ""},
	{"steps = [\"boarding\"]", "steps = [\"boarding\"]\nnumber = { from = \"crew\", of = \"attacker\" }", "pack.sequence.number", ""},
	{"if = [{ within = 6 }]", "if = [{ within = \"6\" }]", "file.wrong.number", ""},
	{"if = [{ arc = \"stern\" }]", "if = [{ arc = \"starn\" }]", "file.word.near", "stern"},
	{"{ terrain_between = \"mud\" }", "{ terrain_between = \"lava\" }", "file.word.unknown", ""},
	{"{ lost_share = { least = \"1/2\" } }", "{ lost_share = { least = \"0.5\" } }", "file.word", ""},
	{"until = \"repaired\"\neach_turn", "until = \"doomsday\"\neach_turn", "file.word", ""},
	{"what = \"turn\"", "what = \"spin\"", "file.word", ""},
	{"times = \"1/2\"", "times = \"1/2\"\nby = -1", "pack.change", ""},
	{"times = \"1/2\"", "", "pack.change", ""},
	{"characteristic = \"speed\"\ntimes = \"1/2\"", "characteristic = \"marked\"\ntimes = \"1/2\"", "pack.kind", ""},
	{"plus = 1\nif = [{ charged", "plus = 99\nif = [{ charged", "file.range", ""},
	{"first = { measure = \"gap\" }", "first = { measure = \"height\" }", "file.word", ""},
	{"{ from = 0, need = \"3+\" }", "{ from = 0, need = \"8+\" }", "pack.need.wrong", ""},
	{"{ from = 0, need = \"3+\" }", "{ from = 6, need = \"3+\" }", "pack.chart.falling", ""},
	{"counter = \"never\"", "counter = \"whenever\"", "file.word", ""},
	{"when_charged = \"receive\"", "when_charged = \"receive\"\nfollow_up = \"always\"", "file.word", ""},
	{"when_charged = \"receive\"", "when_charged = \"fire and receive\"", "file.word", ""},
	{"when_charged = \"receive\"", "when_charged = \"receive\"\nretreat_way = \"toward the sea\"", "file.word", ""},
	{"strikes = \"together\"", "strikes = \"characteristic\"", "file.missing", ""},
	{"strikes = \"together\"", "strikes = \"characteristic\"\nby = \"marked\"", "pack.kind", ""},
}

// badNames changes one name in osier each: whatever is named, the nearest of its
// kind is offered.
var badNames = []badPack{
	{"crosses_off = \"wounds\", last_save", "crosses_off = \"wonds\", last_save", "pack.name.near", "wounds"},
	{"weapons = [\"pike\"]", "weapons = [\"pyke\"]", "pack.name.near", "pike"},
	{"steps = [\"hit by shooting\",", "steps = [\"hit by shoting\",", "pack.name.near", "hit by shooting"},
	{"keywords = [\"engine\"]", "keywords = [\"engin\"]", "pack.name.near", "engine"},
	{"powers = [\"veil\",", "powers = [\"veal\",", "pack.name.near", "veil"},
	{"status = \"ran\" }", "status = \"rann\" }", "pack.name.near", "ran"},
	{"order = \"shoot\"", "order = \"shot\"", "file.word.near", "shoot"},
	{"what = \"cover\"", "what = \"covver\"", "pack.name.near", "cover"},
	{"{ total = \"cast\" }", "{ total = \"casst\" }", "pack.name.near", "cast"},
	{"pace = \"move\"", "pace = \"moove\"", "pack.name.near", "move"},
}

// badBrigades changes one thing in column each.
var badBrigades = []badPack{
	{"\"3:2\", \"2:1\", \"3:1\"", "\"2:1\", \"3:2\", \"3:1\"", "pack.chart.columns", ""},
	{"\"3:2\", \"2:1\", \"3:1\"", "\"3-2\", \"2:1\", \"3:1\"", "pack.chart.odds", ""},
	{"\"3:2\", \"2:1\", \"3:1\"", "\"3:0\", \"2:1\", \"3:1\"", "pack.chart.odds", ""},
	{"columns = [\"1:3\", \"1:2\", \"1:1\", \"3:2\", \"2:1\", \"3:1\", \"4:1\"]", "columns = []", "pack.chart.no_columns", ""},
	{"below = \"first column\"", "below = \"nothing\"", "file.word", ""},
	{"below = \"first column\"", "", "file.missing", ""},
	{"columns = \"odds\"", "columns = \"bombardment\"", "pack.table.chart", ""},
	{"columns = \"odds\"", "columns = \"odd\"", "pack.name.near", "odds"},
	{"\"costly\", \"costly\"] },\n  { on = \"2\"", "\"costly\"] },\n  { on = \"2\"", "pack.table.cells", ""},
	{"\"costly\", \"costly\"] },\n  { on = \"2\"", "\"costly\", \"costley\"] },\n  { on = \"2\"", "pack.name.near", "costly"},
	{"first = { sum = \"weight\", of = \"attackers\" }", "first = { sum = \"march\", of = \"attackers\" }", "pack.kind", ""},
	{"first = { sum = \"weight\", of = \"attackers\" }", "first = { sum = \"weight\", of = \"attacker\" }", "file.word", ""},
	{"need = { chart = \"bombardment\" }", "need = { chart = \"odds\" }", "pack.kind", ""},
	{"inches = 6, who = \"attacker\"", "inches = \"six\", who = \"attacker\"", "file.wrong.number", ""},
	{"{ do = \"may\", what = \"follow up\"", "{ do = \"may\", what = \"plunder\"", "file.word", ""},
	{"shift = { least = -2, most = 2 }", "shift = { least = 2, most = 2 }", "file.range", ""},
	{"side = \"own\"", "side = \"left\"", "file.word", ""},
	{"kind = \"modify\"\nstep = \"assault\"\nby = -1\nowner = \"target\"", "kind = \"reroll\"\nwhich = \"ones\"\nstep = \"assault\"\nowner = \"target\"", "pack.effect.shape", ""},
	{"number = { from = \"attacks\", of = \"weapon\" }", "", "file.missing", ""},
	{"damage = { amount = 1, crosses_off = \"steps\" }", "", "file.missing", ""},
}

// Tables that look one another up, however long the way, are refused.
func TestTablesInACircle(t *testing.T) {
	text := string(mustBuiltin(t))
	for _, id := range []string{"a", "b", "c"} {
		next := map[string]string{"a": "b", "b": "c", "c": "b"}[id]
		text += "\n[[table]]\nid = \"" + id + "\"\ndice = \"d6\"\nrows = [{ on = \"1-6\", then = [{ do = \"look up\", table = \"" + next + "\" }] }]\n"
	}
	_, err := Load("circle.toml", []byte(text))
	if err == nil || !strings.Contains(err.Error(), "pack.table.circle") || !strings.Contains(err.Error(), "b -> c -> b") {
		t.Errorf("%v, want the circle b -> c -> b", err)
	}
}

// A file of ten megabytes is refused before it is read, in no more than its
// beginning.
func TestTenMegabytes(t *testing.T) {
	_, err := Load("huge.toml", bytes.Repeat([]byte("pack = \"osier\"\n"), 10<<20/15))
	if err == nil || !strings.Contains(err.Error(), "file.big") {
		t.Errorf("%v, want file.big", err)
	}
}

// What is never used and what nobody can ever do is a warning, and loads.
func TestWarnings(t *testing.T) {
	for change, id := range map[[2]string]string{
		{"effects = [\"every gun\", \"shallow draught\"]", ""}:                                "pack.warn.unused",
		{"allows = [\"cast\"]", "allows = [\"split\"]"}:                                       "pack.warn.phase",
		{"[[unit]]", "[[status]]\nid = \"bored\"\nuntil = \"battle end\"\n\n[[unit]]"}:        "pack.warn.unused",
		{"[[unit]]", "[[result]]\nid = \"nothing\"\n\n[[unit]]"}:                              "pack.warn.unused",
		{"[[unit]]", "[[table]]\nid = \"t\"\ndice = \"d6\"\nrows = [{on=\"1-6\"}]\n[[unit]]"}: "pack.warn.unused",
	} {
		good := string(mustBuiltin(t))
		changed := strings.Replace(good, change[0], change[1], 1)
		if change[1] == "allows = [\"split\"]" {
			changed = strings.Replace(changed, "[\"shoot\", \"split\"]", "[\"shoot\"]", 1)
		}
		p, err := Load("warned.toml", []byte(changed))
		if err != nil || changed == good {
			t.Errorf("%q: %v", change[1], err)
			continue
		}
		if !slices.ContainsFunc(p.Warnings, func(w source.Fault) bool { return w.Reason.ID == id && w.Line > 0 }) {
			t.Errorf("%q: warnings are %v, want %s", change[1], p.Warnings, id)
		}
	}
	text, _ := Builtin("brine")
	orphan := strings.Replace(string(text), "order = \"fight\"\nsteps", "order = \"fight\"\nwhen = []\nsteps", 1)
	orphan = strings.Replace(orphan, "[[sequence]]\nid = \"gunfire\"\norder = \"shoot\"\nsteps = [\"broadside\"]\ndamage = { amount = 1, crosses_off = \"hull\", marks = \"marked\", table = \"critical\" }\n", "", 1)
	_, err := Load("orphan.toml", []byte(orphan))
	var faults *source.Faults
	if !errors.As(err, &faults) { // guns that no sequence fires: attacks is a key nobody asks for
		t.Errorf("%v", err)
	}
}

// Seeds of the loader's fuzz are packs, and they load: its corpus is not empty.
func TestFuzzSeedsLoad(t *testing.T) {
	seeds := loadSeeds(t)
	if len(seeds) < 4 {
		t.Fatalf("%d seeds", len(seeds))
	}
	for i, seed := range seeds {
		if _, err := Load("seed.toml", seed); err != nil {
			t.Errorf("seed %d: %v", i, err)
		}
	}
}
