package storage

import (
	_ "embed"
	"encoding/json"
	"errors"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"
)

// Entries of the ledgers in the project's own protocol vectors, made by two
// programs that share no code with this one; the file names its source.
//
//go:embed testdata/entries.json
var entriesJSON []byte

type entryVectors struct {
	Lines      []string `json:"lines"`
	LeafHashes []string `json:"leaf_hashes"`
	TestKey    struct {
		Seed   string `json:"seed"`
		Public string `json:"public"`
		VKey   string `json:"vkey"`
		Origin string `json:"origin"`
	} `json:"test_key"`
	Root       string `json:"root"`
	Checkpoint string `json:"checkpoint"`
	Cases      []struct {
		What  string `json:"what"`
		Entry int    `json:"entry"`
		Old   string `json:"old"`
		New   string `json:"new"`
	} `json:"json_cases"`
}

func vectors(t testing.TB) entryVectors {
	var v entryVectors
	if err := json.Unmarshal(entriesJSON, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

func rule(err error) string {
	var e *Invalid
	if errors.As(err, &e) {
		return e.Rule
	}
	return ""
}

// Every entry is read, and written again as the same bytes; its leaf hash is
// the published one, and so the head of the entry after it.
func TestEntries(t *testing.T) {
	v := vectors(t)
	if len(v.Lines) < 60 {
		t.Fatalf("only %d lines", len(v.Lines))
	}
	for i, line := range v.Lines {
		r, err := Parse([]byte(line))
		if err != nil {
			t.Fatalf("line %d: %v", i, err)
		}
		b, err := r.Encode()
		if err != nil || string(b) != line {
			t.Fatalf("line %d: %v\n%s\n%s", i, err, b, line)
		}
		if i < len(v.LeafHashes) && LeafHash(b).String() != v.LeafHashes[i] {
			t.Errorf("leaf of line %d: %s, want %s", i, LeafHash(b), v.LeafHashes[i])
		}
		if i > 0 && i < len(v.LeafHashes) && r.Head.String() != v.LeafHashes[i-1] {
			t.Errorf("head of line %d: %s, want %s", i, r.Head, v.LeafHashes[i-1])
		}
	}
}

// Spellings that mean the same, and the profile's limits: published cases.
func TestOtherSpellings(t *testing.T) {
	v := vectors(t)
	if len(v.Cases) == 0 {
		t.Fatal("no cases")
	}
	for _, c := range v.Cases {
		line := strings.Replace(v.Lines[c.Entry], c.Old, c.New, 1)
		if _, err := Parse([]byte(line)); line == v.Lines[c.Entry] || rule(err) != RuleJSON {
			t.Errorf("%s: %v", c.What, err)
		}
	}
}

// No two spellings of one entry: any byte changed is refused, or is another entry.
func TestEveryByte(t *testing.T) {
	for _, line := range vectors(t).Lines[:13] {
		whole, err := Parse([]byte(line))
		if err != nil {
			t.Fatal(err)
		}
		for i := range len(line) {
			for _, c := range []byte{line[i] ^ 1, line[i] ^ 0x20, ' ', 0} {
				b := []byte(line)
				if b[i] = c; c == line[i] {
					continue
				}
				if r, err := Parse(b); err == nil && reflect.DeepEqual(r, whole) {
					t.Fatalf("byte %d of %s: %q reads the same", i, line, c)
				}
			}
		}
	}
}

func entry() Record {
	return Record{Ledger: LedgerID{1}, Time: time.Date(2026, 10, 24, 18, 0, 0, 0, time.UTC), Player: "p1", Command: "roll"}
}

const hash = "abababababababababababababababababababababababababababababababab"

var until = time.Date(2026, 10, 24, 18, 10, 0, 0, time.UTC)

func sealed(r *Record) {
	r.Seal, r.Draw, r.Cut, r.Key, r.Faces, r.Events = hash, 1, "none", hash, [][]int{{6, 1}}, []Object{}
}

func TestEncode(t *testing.T) {
	good := map[string]func(*Record){
		"nothing":     func(r *Record) {},
		"sealed":      sealed,
		"for a round": func(r *Record) { r.Seal, r.Draw, r.Key, r.Wait = hash, 1, hash, &Wait{Round: 1000} },
		"for a word":  func(r *Record) { r.Seal, r.Draw, r.Wait = hash, 1, &Wait{By: "p2", Until: until} },
		"its cut":     func(r *Record) { r.Command, r.Cut, r.Faces, r.Events = "cut", "beacon:7:"+hash, [][]int{}, []Object{} },
		"word's cut": func(r *Record) {
			r.Command, r.Cut, r.Key, r.Faces, r.Events = "cut", "word:"+hash, hash, [][]int{}, []Object{}
		},
		"again":         func(r *Record) { r.Again, r.Faces, r.Events = &Again{}, [][]int{}, []Object{} },
		"wait":          func(r *Record) { r.Command, r.Wait = "wait", &Wait{Round: 7} },
		"void":          func(r *Record) { r.Command, r.Key = "void", hash },
		"events":        func(r *Record) { r.Events = []Object{Object(`{"type":"held"}`)} },
		"most of faces": func(r *Record) { sealed(r); r.Faces = [][]int{append([]int{2}, ones(MostDice)...)} },
	}
	for what, set := range good {
		r := entry()
		set(&r)
		b, err := r.Encode()
		if err != nil {
			t.Errorf("%s: %v", what, err)
			continue
		}
		back, err := Parse(b)
		if r.Args = Object("{}"); err != nil || !reflect.DeepEqual(back, r) {
			t.Errorf("%s: %v\n%+v\n%+v", what, err, back, r)
		}
	}
}

func TestEncodeRefuses(t *testing.T) {
	for _, bad := range []struct {
		what, rule string
		set        func(*Record)
	}{
		{"player", RuleForm, func(r *Record) { r.Player = "Ann" }},
		{"player p0", RuleForm, func(r *Record) { r.Player = "p0" }},
		{"player p01", RuleForm, func(r *Record) { r.Player = "p01" }},
		{"no command", RuleForm, func(r *Record) { r.Command = "" }},
		{"command", RuleForm, func(r *Record) { r.Command = "battle..undo" }},
		{"command of quotes", RuleForm, func(r *Record) { r.Command = `a"` }},
		{"source", RuleSource, func(r *Record) { r.Source = "abc" }},
		{"microseconds", RuleTime, func(r *Record) { r.Time = r.Time.Add(time.Microsecond) }},
		{"args a list", RuleForm, func(r *Record) { r.Args = Object(`[]`) }},
		{"args spaced", RuleJSON, func(r *Record) { r.Args = Object(`{ }`) }},
		{"args with more", RuleJSON, func(r *Record) { r.Args = Object(`{},"v":1`) }},
		{"event without type", RuleForm, func(r *Record) { r.Events = []Object{Object(`{}`)} }},
		{"event of a number for type", RuleForm, func(r *Record) { r.Events = []Object{Object(`{"type":1}`)} }},
		{"seal", RuleSeal, func(r *Record) { sealed(r); r.Seal = strings.ToUpper(hash) }},
		{"draw", RuleDraw, func(r *Record) { sealed(r); r.Draw = LongestSeal + 1 }},
		{"key", RuleKey, func(r *Record) { sealed(r); r.Key = hash[1:] }},
		{"cut", RuleCut, func(r *Record) { sealed(r); r.Cut = "beacon:07:" + hash }},
		{"cut of nothing", RuleCut, func(r *Record) { sealed(r); r.Cut = "word:" }},
		{"one side", RuleFaces, func(r *Record) { sealed(r); r.Faces = [][]int{{1, 1}} }},
		{"too many sides", RuleFaces, func(r *Record) { sealed(r); r.Faces = [][]int{{MostSides + 1, 1}} }},
		{"empty run", RuleFaces, func(r *Record) { sealed(r); r.Faces = [][]int{{6}} }},
		{"a face too high", RuleFaces, func(r *Record) { sealed(r); r.Faces = [][]int{{6, 7}} }},
		{"a face too low", RuleFaces, func(r *Record) { sealed(r); r.Faces = [][]int{{6, 0}} }},
		{"two runs of a kind", RuleFaces, func(r *Record) { sealed(r); r.Faces = [][]int{{6, 1}, {6, 1}} }},
		{"too many dice", RuleFaces, func(r *Record) { sealed(r); r.Faces = [][]int{append([]int{2}, ones(MostDice+1)...)} }},
		{"no events", RuleForm, func(r *Record) { sealed(r); r.Events = nil }},
		{"no faces", RuleForm, func(r *Record) { sealed(r); r.Faces = nil }},
		{"events while pending", RuleForm, func(r *Record) {
			r.Seal, r.Draw, r.Key, r.Wait, r.Events = hash, 1, hash, &Wait{Round: 9}, []Object{}
		}},
		{"a draw that opens a seal", RuleForm, func(r *Record) { sealed(r); r.Command = "seal.open" }},
		{"wait for round 0", RuleForm, func(r *Record) { r.Command, r.Wait = "wait", &Wait{} }},
		{"wait for both", RuleForm, func(r *Record) { r.Seal, r.Draw, r.Wait = hash, 1, &Wait{Round: 1, By: "p2", Until: until} }},
		{"moved to a word", RuleForm, func(r *Record) { r.Command, r.Wait = "wait", &Wait{By: "p2", Until: until} }},
		{"again after too many", RuleForm, func(r *Record) { r.Again, r.Faces, r.Events = &Again{After: MostDice + 1}, [][]int{}, []Object{} }},
		{"too long", RuleJSON, func(r *Record) { r.Args = Object(`{"a":"` + strings.Repeat("x", MaxEntry) + `"}`) }},
		{"too deep", RuleJSON, func(r *Record) { r.Args = Object(nested(MaxDepth)) }},
	} {
		r := entry()
		bad.set(&r)
		if b, err := r.Encode(); rule(err) != bad.rule {
			t.Errorf("%s: %v, rule %s expected (%.100s)", bad.what, err, bad.rule, b)
		}
	}
}

func ones(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = 1
	}
	return list
}

// nested is an object of n levels.
func nested(n int) string { return strings.Repeat(`{"a":`, n-1) + "{}" + strings.Repeat("}", n-1) }

func TestDepth(t *testing.T) {
	r := entry()
	if r.Args = Object(nested(MaxDepth - 1)); r.check() != nil {
		t.Errorf("%d levels: %v", MaxDepth, r.check())
	}
	if err := Canonical([]byte(nested(MaxDepth))); err != nil {
		t.Errorf("%d levels: %v", MaxDepth, err)
	}
	if err := Canonical([]byte(nested(MaxDepth + 1))); rule(err) != RuleJSON {
		t.Errorf("%d levels: %v", MaxDepth+1, err)
	}
}

func TestParseRefuses(t *testing.T) {
	line := vectors(t).Lines[3]
	for _, bad := range []struct{ what, old, new, rule string }{
		{"no version", `,"v":1`, ``, RuleForm},
		{"version 2", `"v":1`, `"v":2`, RuleForm},
		{"empty source", `"source":"0eb086add435f17eddb98d0f63ecb026"`, `"source":""`, RuleSource},
		{"seq text", `"seq":3`, `"seq":"3"`, RuleSeq},
		{"seq below 0", `"seq":3`, `"seq":-3`, RuleSeq},
		{"draw 0", `"draw":1`, `"draw":0`, RuleDraw},
		{"ledger's stray bits", `"txhm4tipfgw62v56fpyqwsnza4"`, `"txhm4tipfgw62v56fpyqwsnza5"`, RuleLedger},
		{"a member of ours that is none", `"v":1`, `"v":1,"w":1`, RuleForm},
		{"leap second", `15:16:01.120Z`, `15:16:60.120Z`, RuleTime},
		{"microseconds", `01.120Z`, `01.1200Z`, RuleTime},
		{"comma", `01.120Z`, `01,120Z`, RuleTime},
	} {
		b := strings.Replace(line, bad.old, bad.new, 1)
		if _, err := Parse([]byte(b)); b == line || rule(err) != bad.rule {
			t.Errorf("%s: %v, rule %s expected", bad.what, err, bad.rule)
		}
	}
	for _, bad := range []string{"", "{}", "[]", "1", `"a"`, line + "\n", line + line, line[:len(line)-1]} {
		if _, err := Parse([]byte(bad)); err == nil {
			t.Errorf("%.60q was read", bad)
		}
	}
}

// FuzzParse: what is read is written again as the same bytes, and nothing panics.
func FuzzParse(f *testing.F) {
	v := vectors(f)
	for _, line := range v.Lines {
		f.Add([]byte(line))
	}
	for _, c := range v.Cases {
		f.Add([]byte(strings.Replace(v.Lines[c.Entry], c.Old, c.New, 1)))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := Parse(b)
		if err != nil {
			if rule(err) == "" {
				t.Fatalf("an error of no rule: %v", err)
			}
			return
		}
		if again, err := r.Encode(); err != nil || string(again) != string(b) {
			t.Fatalf("read and written: %v\n%s\n%s", err, b, again)
		}
	})
}

// BenchmarkParse against its floor: encoding/json reading the same bytes into
// a map, which checks far less.
func BenchmarkParse(b *testing.B) {
	line := []byte(vectors(b).Lines[11])
	b.SetBytes(int64(len(line)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Parse(line); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkParseFloor(b *testing.B) {
	line := []byte(vectors(b).Lines[11])
	b.SetBytes(int64(len(line)))
	for b.Loop() {
		var m map[string]json.RawMessage
		if err := json.Unmarshal(line, &m); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEncode(b *testing.B) {
	r, err := Parse([]byte(vectors(b).Lines[11]))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := r.Encode(); err != nil {
			b.Fatal(err)
		}
	}
}

// The fuzz target has seeds, and the files that tests read are there.
func TestVectorsAreThere(t *testing.T) {
	for _, name := range []string{"testdata/canon.json", "testdata/entries.json", "testdata/notes.json"} {
		if b, err := os.ReadFile(name); err != nil || !strings.Contains(string(b), `"source"`) {
			t.Errorf("%s: %v, and a source expected", name, err)
		}
	}
	if v := vectors(t); len(v.Lines) == 0 || len(v.Cases) == 0 {
		t.Error("no seeds for FuzzParse")
	}
}
