package discord

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands"
	"drumhead/commands/args"
	"drumhead/commands/words"
)

func specsOf(t *testing.T) []args.Spec {
	t.Helper()
	d, err := commands.New(commands.Config{})
	if err != nil {
		t.Fatal(err)
	}
	return d.Specs()
}

// The bot's commands are within Discord's limits at every level, and Discord
// takes them.
func TestCommandsAreTaken(t *testing.T) {
	specs := specsOf(t)
	all, err := commandsOf(specs)
	if err != nil {
		t.Fatal(err)
	}
	helps, err := words.LoadHelps()
	if err != nil {
		t.Fatal(err)
	}
	inOthers(all, words.Languages(), helps.In)
	if err := within(all); err != nil {
		t.Errorf("in all languages: %v", err)
	}
	if got := all[0].InOthers; len(got) != len(words.Languages()) || got["de"] == got["fr"] {
		t.Errorf("translated into %v", got)
	}
	s := serve(t, discordtest.Options{})
	w, _ := wired(t, s)
	if err := w.api.do(t.Context(), call{method: http.MethodPut, path: "applications/" + discordtest.Application + "/commands", body: all}, nil); err != nil {
		t.Fatal(err)
	}
	if n := len(s.Commands("")); n != len(all) || n < 10 {
		t.Errorf("%d commands of %d", n, len(all))
	}
	told := 0
	for _, c := range all {
		told += max(1, len(c.Options))
	}
	if told < len(specs) {
		t.Errorf("%d specs, but only %d commands, menus and options", len(specs), told)
	}
	a, err := commandsDigest("1", all)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := commandsDigest("2", all)
	again, _ := commandsOf(specs)
	inOthers(again, words.Languages(), helps.In)
	c, _ := commandsDigest("1", again)
	if a == b || a != c {
		t.Errorf("digests %s, %s, %s", a, b, c)
	}
}

// A translation counts where it is longest.
func TestLimitsInOtherLanguages(t *testing.T) {
	all, err := commandsOf([]args.Spec{{Name: "roll", Help: "roll"}})
	if err != nil {
		t.Fatal(err)
	}
	for n, want := range map[int]bool{mostDescription: true, mostDescription + 1: false} {
		inOthers(all, []string{"de", "fr"}, func(language, text string) (string, bool) {
			return strings.Repeat("ü", n), language == "de"
		})
		if err := within(all); (err == nil) != want {
			t.Errorf("%d characters: %v", n, err)
		}
	}
}

// What passes a limit is refused before it is sent.
func TestCommandLimits(t *testing.T) {
	many := func(n int, f func(i int) args.Spec) []args.Spec {
		var out []args.Spec
		for i := range n {
			out = append(out, f(i))
		}
		return out
	}
	word := func(i int) string { return strings.Repeat("a", i+1) }
	for what, c := range map[string]struct {
		specs []args.Spec
		want  string
	}{
		"alone and a group": {[]args.Spec{{Name: "cut", Help: "x"}, {Name: "cut due", Help: "x"}}, "alone"},
		"a group and alone": {[]args.Spec{{Name: "cut due", Help: "x"}, {Name: "cut", Help: "x"}}, "alone"},
		"26 of a group":     {many(26, func(i int) args.Spec { return args.Spec{Name: "battle " + word(i), Help: "x"} }), "26 parts"},
		"a long name":       {[]args.Spec{{Name: word(32), Help: "x"}}, "32 characters"},
		"a long help":       {[]args.Spec{{Name: "roll", Help: word(100)}}, "100 characters"},
		"capitals":          {[]args.Spec{{Name: "Roll", Help: "x"}}, "capitals"},
		"capitals below":    {[]args.Spec{{Name: "roll", Help: "x", Params: []args.Param{{Name: "Dice", Help: "x"}}}}, "capitals"},
		"a sign":            {[]args.Spec{{Name: "battle open!", Help: "x"}}, "letters"},
		"a space":           {[]args.Spec{{Name: "roll", Help: "x", Params: []args.Param{{Name: "the dice", Help: "x"}}}}, "letters"},
		"no help":           {[]args.Spec{{Name: "roll", Help: "x", Params: []args.Param{{Name: "dice"}}}}, "no description"},
		"101 commands": {many(101, func(i int) args.Spec {
			return args.Spec{Name: strings.Repeat("b", i%30+1) + strings.Repeat("c", i/30), Help: "x"}
		}), ""},
		"16 menus":          {many(16, func(i int) args.Spec { return args.Spec{Name: word(i), Help: "x", OnPost: word(i)} }), "16 menus"},
		"16 menus on texts": {many(16, func(i int) args.Spec { return args.Spec{Name: word(i), Help: "x", OnText: word(i)} }), "16 menus"},
		"8,001 letters": {many(25, func(i int) args.Spec {
			s := args.Spec{Name: "battle " + word(i), Help: word(99)}
			for j := range 3 {
				s.Params = append(s.Params, args.Param{Name: word(j), Help: word(99)})
			}
			return s
		}), "letters"},
	} {
		_, err := commandsOf(c.specs)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", what, err)
		}
	}
}

// What somebody chose in Discord is what they would have typed.
func TestTyped(t *testing.T) {
	specs := []args.Spec{
		{Name: "roll", Params: []args.Param{{Name: "dice", Kind: args.Sentence}}},
		{Name: "battle open", Params: []args.Param{{Name: "scenario", Kind: args.Scenario}, {Name: "points", Kind: args.Number, Optional: true}, {Name: "note", Optional: true}}},
		{Name: "battle join", Params: []args.Param{{Name: "opponent", Kind: args.Person, Optional: true}, {Name: "points", Kind: args.Number, Optional: true}}},
		{Name: "order", Params: []args.Param{{Name: "orders", Kind: args.Sheet}}},
		{Name: "settings roles", Params: []args.Param{{Name: "role", Kind: args.Role, Optional: true}}},
	}
	for raw, want := range map[string]string{
		`{"name":"roll","options":[{"name":"dice","type":3,"value":" 12d6 4+ "}]}`:                                                                                                                                                            "/roll 12d6 4+",
		`{"name":"battle","options":[{"name":"open","type":1,"options":[{"name":"points","type":4,"value":400},{"name":"scenario","type":3,"value":"Alder Ford"},{"name":"old","value":1}]}]}`:                                                `/battle open "Alder Ford" 400`,
		`{"name":"battle","options":[{"name":"open","type":1,"options":[{"name":"scenario","type":3,"value":"Ford"},{"name":"note","type":3,"value":"by the weir"}]}]}`:                                                                       "/battle open Ford by the weir",
		`{"name":"order","options":[{"name":"orders","type":3,"value":"move Pikes\ndone"}]}`:                                                                                                                                                  "/order\nmove Pikes\ndone",
		`{"name":"battle","options":[{"name":"join","type":1,"options":[{"name":"opponent","type":6,"value":"12"},{"name":"points","type":4,"value":9}]}],"resolved":{"users":{"12":{"id":"12","username":"bo","global_name":"Bo of Fen"}}}}`: "/battle join @discord:12 9",
		`{"name":"battle","options":[{"name":"join","type":1,"options":[{"name":"opponent","type":6,"value":"12"}]}],"resolved":{"users":{"12":{"id":"12","username":"bo"}},"members":{"12":{"nick":"Miller"}}}}`:                             "/battle join @discord:12",
		`{"name":"order"}`: "/order",
		`{"name":"settings","options":[{"name":"roles","type":1,"options":[{"name":"role","type":8,"value":"77"}]}],"resolved":{"roles":{"77":{"name":"Stewards\u202e"}}}}`: "/settings roles discord:77 Stewards",
		`{"name":"order","options":[{"name":"orders","value":{"a":1}}]}`: "/order",
		`{"name":"nobody","options":[{"name":"old","value":"x 1"}]}`:     "/nobody x 1",
		`{"name":"battle"}`: "/battle",
	} {
		var g given
		if err := json.Unmarshal([]byte(raw), &g); err != nil {
			t.Fatal(err)
		}
		got, spec, ok := typed(specs, g)
		if got != want || ok != (spec.Name != "") || ok == strings.Contains("/nobody x 1 /battle", want) {
			t.Errorf("%s: %q, want %q", raw, got, want)
		}
		if strings.Contains(want, "@discord:12") && g.people()["discord:12"] != map[bool]string{true: "Miller", false: "Bo of Fen"}[strings.Contains(raw, "nick")] {
			t.Errorf("%s: %v", raw, g.people())
		}
	}
}
