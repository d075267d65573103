package args_test

import (
	"errors"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"

	"drumhead/commands/args"
	"drumhead/engine/reason"
)

// specs is a small bot of our own, with every kind of parameter.
var specs = []args.Spec{
	{Name: "help", Params: []args.Param{{Name: "word", Kind: args.Word, Optional: true, Help: "a word"}}, Mode: args.Private, Help: "First steps", Example: "/help battle"},
	{Name: "roll", Params: []args.Param{{Name: "sentence", Kind: args.Sentence, Help: "what to roll"}}, Help: "Roll dice", Example: "/roll 12d6 4+"},
	{Name: "explain", Params: []args.Param{{Name: "entry", Kind: args.Entry, Help: "a roll"}}, Mode: args.Private, Help: "How a roll came about", Example: "/explain 210.3"},
	{Name: "proof", Params: []args.Param{{Name: "entry", Kind: args.Entry, Optional: true, Help: "a roll"}}, Help: "Check a roll", Example: "/proof 210"},
	{Name: "order", Params: []args.Param{{Name: "lines", Kind: args.Sheet, Optional: true, Help: "orders"}}, Help: "Give orders", Example: "/order hold Pikes"},
	{Name: "unit", Params: []args.Param{{Name: "unit", Kind: args.Unit, Help: "a unit"}}, Help: "State of a unit", Example: "/unit Pikes"},
	{Name: "tell", Params: []args.Param{{Name: "words", Kind: args.Words, Help: "a line"}}, Help: "A line for the story", Example: "/tell We held."},
	{Name: "battle open", Params: []args.Param{
		{Name: "opponent", Kind: args.Person, Help: "whom you ask"},
		{Name: "points", Kind: args.Number, Optional: true, Help: "how large, in points"},
		{Name: "scenario", Kind: args.Scenario, Optional: true, Help: "which table"},
	}, Help: "Offer a battle", Example: "/battle open Bo 500"},
	{Name: "battle offer", Params: []args.Param{
		{Name: "opponent", Kind: args.Person, Optional: true, Help: "whom you ask"},
		{Name: "points", Kind: args.Number, Optional: true, Help: "how large, in points"},
		{Name: "terms", Kind: args.Words, Optional: true, Help: "anything else"},
	}, Help: "Offer a battle to anybody", Example: "/battle offer 500"},
	{Name: "battle status", Help: "Who leads", Example: "/battle status"},
	{Name: "force add", Params: []args.Param{{Name: "list", Kind: args.Force, Help: "your army"}}, Mode: args.Direct, Files: true, Help: "Add a force", Example: "/force add 10 Pikes"},
	{Name: "force drop", Params: []args.Param{{Name: "name", Kind: args.Saved, Help: "a force"}}, Mode: args.Direct, Help: "Delete a force", Example: "/force drop Weir Militia"},
}

// valley is a place where some names are known.
type valley struct{ public bool }

func (v valley) Bare() bool { return !v.public }

func (valley) Of(k args.Kind) []string {
	switch k {
	case args.Person:
		return []string{"Ann", "Bo", "Old Bo Reed", "Zoë"}
	case args.Unit:
		return []string{"Weir Pikes", "Pike Reserve", "Fen Riders"}
	case args.Scenario:
		return []string{"Drowned Bridge", "Sedge Hythe"}
	case args.Sheet:
		return []string{"move", "shoot", "done"}
	}
	return nil
}

func TestParse(t *testing.T) {
	for _, c := range []struct {
		text, name string
		want       args.Values
	}{
		{"/roll 12d6 4+", "roll", args.Values{"sentence": "12d6 4+"}},
		{"roll 12d6 4+", "roll", args.Values{"sentence": "12d6 4+"}},
		{"  /Roll\u00a012d6\u00a04+ ", "roll", args.Values{"sentence": "12d6 4+"}},
		{"/ROLL 2d6−1 “for the Weir”", "roll", args.Values{"sentence": `2d6-1 "for the Weir"`}},
		{"/help", "help", args.Values{}},
		{"/explain #210.3", "explain", args.Values{"entry": "210.3"}},
		{"/proof", "proof", args.Values{}},
		{"/proof 12", "proof", args.Values{"entry": "12"}},
		{"/order\nmove Pikes to 30,12\nhold Mortar; done", "order", args.Values{"lines": "move Pikes to 30,12\nhold Mortar; done"}},
		{"/order", "order", args.Values{}},
		{"/unit weir", "unit", args.Values{"unit": "Weir Pikes"}},
		{"/unit pik", "unit", args.Values{"unit": "Pike Reserve"}},
		{"/unit the Ferry’s", "unit", args.Values{"unit": "the Ferry's"}},
		{"/tell We “never” liked\u00a0it – Fay’s words", "tell", args.Values{"words": "We “never” liked\u00a0it – Fay’s words"}},
		{"/battle open Bo 500 Drowned Bridge", "battle open", args.Values{"opponent": "Bo", "points": "500", "scenario": "Drowned Bridge"}},
		{"/Battle Open old bo reed 0500", "battle open", args.Values{"opponent": "Old Bo Reed", "points": "500"}},
		{"/battle open @Bo drowned", "battle open", args.Values{"opponent": "Bo", "scenario": "Drowned Bridge"}},
		{"/battle open zoe 500", "battle open", args.Values{"opponent": "Zoë", "points": "500"}},
		{"/battle open Tall Hal 500", "battle open", args.Values{"opponent": "Tall Hal", "points": "500"}},
		{"/battle open “Tall Hal” sedge", "battle open", args.Values{"opponent": "Tall Hal", "scenario": "Sedge Hythe"}},
		{"/battle open Hal", "battle open", args.Values{"opponent": "Hal"}},
		{"/battle offer Hal 500", "battle offer", args.Values{"opponent": "Hal", "points": "500"}},
		{"/battle offer 500 Drowned Bridge", "battle offer", args.Values{"points": "500", "terms": "Drowned Bridge"}},
		{"/battle offer Drowned Bridge, 3 turns", "battle offer", args.Values{"terms": "Drowned Bridge, 3 turns"}},
		{"/battle offer @Hal Drowned Bridge", "battle offer", args.Values{"opponent": "Hal", "terms": "Drowned Bridge"}},
		{"/battle offer", "battle offer", args.Values{}},
		{"/force add", "force add", args.Values{}},
		{"/force add\nFay’s Militia\n10\u00a0Pikes", "force add", args.Values{"list": "Fay’s Militia\n10 Pikes"}},
		{"/force drop  Weir   Militia", "force drop", args.Values{"name": "Weir Militia"}},
	} {
		spec, got, err := args.Parse(specs, c.text, valley{})
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		if spec.Name != c.name || !reflect.DeepEqual(got, c.want) {
			t.Errorf("%q: %s %v, want %s %v", c.text, spec.Name, got, c.name, c.want)
		}
	}
}

func TestRefusals(t *testing.T) {
	long := "/tell " + strings.Repeat("é", args.MaxText-5)
	for _, c := range []struct{ text, id, nearest, example string }{
		{"/batle open Bo", "args.refuse.unknown", "battle", "/battle open Bo 500"},
		{"/batle status", "args.refuse.unknown", "battle", "/battle status"},
		{"/rol 12d6", "args.refuse.unknown", "roll", "/roll 12d6 4+"},
		{"/open Bo", "args.refuse.unknown", "battle open", "/battle open Bo 500"},
		{"/xyzzy", "args.refuse.nothing", "", "/help"},
		{"/battle", "args.refuse.group", "", "/battle open Bo 500"},
		{"/battle opne Bo", "args.refuse.subnear", "open", "/battle open Bo 500"},
		{"/battle fly", "args.refuse.sub", "", "/battle open Bo 500"},
		{"/", "args.refuse.empty", "", "/roll 12d6 4+"},
		{"/roll", "args.refuse.missing", "", "/roll 12d6 4+"},
		{"/battle open", "args.refuse.missing", "", "/battle open Bo 500"},
		{"/battle status now", "args.refuse.extra", "", "/battle status"},
		{"/explain that", "args.refuse.entry", "", "/explain 210.3"},
		{"/proof 12 13", "args.refuse.extra", "", "/proof 210"},
		{"/proof 1234567890", "args.refuse.entry", "", "/proof 210"},
		{"/tell \xff", "args.refuse.utf8", "", "/roll 12d6 4+"},
		{"/tell a\x1b[31m", "args.refuse.control", "", "/roll 12d6 4+"},
		{"/tell \u0085", "args.refuse.control", "", "/roll 12d6 4+"},
		{long, "args.refuse.long", "", "/roll 12d6 4+"},
	} {
		_, _, err := args.Parse(specs, c.text, valley{})
		var no *reason.Refusal
		if !errors.As(err, &no) {
			t.Errorf("%.20q: %v, want a refusal", c.text, err)
			continue
		}
		if no.Reason.ID != c.id || no.Example != c.example {
			t.Errorf("%.20q: %s with %q, want %s with %q", c.text, no.Reason.ID, no.Example, c.id, c.example)
		}
		for _, a := range no.Reason.Args {
			if a.Name == "nearest" && a.Value != c.nearest {
				t.Errorf("%.20q: nearest %v, want %s", c.text, a.Value, c.nearest)
			}
		}
	}
	if _, _, err := args.Parse(specs, long[:len(long)-2], valley{}); err != nil {
		t.Errorf("a message of exactly %d characters: %v", args.MaxText, err)
	}
}

// Talk among people is none of the bot's business, however odd it is.
func TestTalk(t *testing.T) {
	for _, text := range []string{"these dice are cooked", "roll 12d6", "drumheads", "", "\x1b[2J", "a/b"} {
		if spec, v, err := args.Parse(specs, text, valley{public: true}); spec != nil || v != nil || err != nil {
			t.Errorf("%q: %v %v %v", text, spec, v, err)
		}
	}
	if spec, _, err := args.Parse(specs, "@Drumhead roll 2d6", valley{public: true}); err != nil || spec == nil || spec.Name != "roll" {
		t.Errorf("a mention: %v %v", spec, err)
	}
}

func TestValues(t *testing.T) {
	v := args.Values{"points": "500", "entry": "210.3", "whole": "7", "lines": "a; b\n\n c ;;"}
	if n, ok := v.Number("points"); n != 500 || !ok {
		t.Errorf("points %d %v", n, ok)
	}
	if _, ok := v.Number("none"); ok {
		t.Error("a number that was left out was found")
	}
	if seq, part, ok := v.Entry("entry"); seq != 210 || part != 3 || !ok {
		t.Errorf("entry %d.%d %v", seq, part, ok)
	}
	if seq, part, ok := v.Entry("whole"); seq != 7 || part != 0 || !ok {
		t.Errorf("entry %d.%d %v", seq, part, ok)
	}
	if _, _, ok := v.Entry("none"); ok {
		t.Error("an entry that was left out was found")
	}
	if got := v.Lines("lines"); !reflect.DeepEqual(got, []string{"a", "b", "c"}) {
		t.Errorf("lines %q", got)
	}
}

func TestAddressed(t *testing.T) {
	for text, want := range map[string]string{
		"/roll 2d6":           "roll 2d6",
		"@Drumhead roll 2d6":  "roll 2d6",
		"drumhead: roll 2d6":  "roll 2d6",
		"Drumhead, /roll 2d6": "roll 2d6",
		"Drumhead":            "",
	} {
		if rest, yes := args.Addressed(text, "Drumhead"); !yes || rest != want {
			t.Errorf("%q: %q %v", text, rest, yes)
		}
	}
	for _, text := range []string{"these dice are cooked", "drumheads roll", "", "drum"} {
		if rest, yes := args.Addressed(text, "Drumhead"); yes || rest != text {
			t.Errorf("%q counts as said to the bot", text)
		}
	}
}

func TestComplete(t *testing.T) {
	for text, want := range map[string][]string{
		"/b":                 {"/battle "},
		"ro":                 {"roll "},
		"/battle ":           {"/battle open ", "/battle offer ", "/battle status "},
		"/battle st":         {"/battle status "},
		"/unit ":             {"/unit Weir Pikes", "/unit Pike Reserve", "/unit Fen Riders"},
		"/unit fen r":        {"/unit Fen Riders"},
		"/battle open o":     {"/battle open Old Bo Reed"},
		"/battle open Bo 5":  nil,
		"/battle open Bo s":  {"/battle open Bo Sedge Hythe"},
		"/order move We":     {"/order move Weir Pikes"},
		"/order move Pikes;": {"/order move Pikes;move", "/order move Pikes;shoot", "/order move Pikes;done", "/order move Pikes;Weir Pikes", "/order move Pikes;Pike Reserve", "/order move Pikes;Fen Riders"},
		"/roll 12":           nil,
		"/xyzzy 1":           nil,
	} {
		var got []string
		for _, s := range args.Complete(specs, text, valley{}) {
			got = append(got, s.Text)
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

// twins is a battle in which both sides have Pikes.
type twins struct{ valley }

func (twins) Of(args.Kind) []string { return []string{"Pikes", "Guns", "Pikes"} }

// What has one name is offered once: Discord takes no two alike.
func TestCompleteOnce(t *testing.T) {
	for text, want := range map[string]int{"/unit ": 2, "/unit pi": 1, "/order shoot ": 2} {
		if got := args.Complete(specs, text, twins{}); len(got) != want {
			t.Errorf("%q: %v", text, got)
		}
	}
}

func TestHelpAndForms(t *testing.T) {
	open := args.Find(specs, "OPEN")
	if len(open) != 1 || open[0].Usage() != "/battle open OPPONENT [POINTS] [SCENARIO]" {
		t.Errorf("open: %v", open)
	}
	if got := args.Find(specs, "/battle"); len(got) != 3 {
		t.Errorf("battle has %d commands", len(got))
	}
	if got := args.Find(specs, "nonsense"); got != nil {
		t.Errorf("nonsense: %v", got)
	}
	add := args.Find(specs, "add")[0]
	if topic := args.Help(add); topic.Usage != "/force add [LIST]" || !topic.Alone || !topic.File || topic.Example != add.Example {
		t.Errorf("topic %+v", topic)
	}
	if f := args.Form(add); len(f) != 1 || !f[0].Lines || !f[0].Optional || f[0].Label != "your army" {
		t.Errorf("form %+v", f)
	}
	for text, want := range map[string]bool{"/order": true, "force add ": true, "/order hold Pikes": false, "/roll": false, "hello": false, "/battle status": false} {
		if args.Open(specs, text) != want {
			t.Errorf("%q waits for lines: %v", text, !want)
		}
	}
}

// FuzzParse: whatever is typed, the answer is values that fit the command, or a
// refusal with an example; and what is text stays within what was said.
func FuzzParse(f *testing.F) {
	for _, seed := range []string{"/roll 12d6 4+", "/battle open “Bo” 500 Drowned", "/order\nmove Pikes; done", "/batle", "/explain #1.2", "\u00a0/ \u2028", "/unit @", "/battle open @ 5"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		spec, v, err := args.Parse(specs, text, valley{})
		args.Complete(specs, text, valley{})
		if err != nil {
			var no *reason.Refusal
			if !errors.As(err, &no) || no.Example == "" {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		if spec == nil {
			t.Fatalf("%q counts as talk where all is said to the bot", text)
		}
		for _, p := range spec.Params {
			if _, there := v[p.Name]; !there && !p.Optional && !spec.Files {
				t.Fatalf("%q: %s is missing", text, p.Name)
			}
			if !utf8.ValidString(v[p.Name]) {
				t.Fatalf("%q: %s is no text", text, p.Name)
			}
			if p.Kind == args.Words && !strings.Contains(strings.ReplaceAll(text, "\r\n", "\n"), v[p.Name]) {
				t.Fatalf("%q: %q was not said", text, v[p.Name])
			}
		}
	})
}
