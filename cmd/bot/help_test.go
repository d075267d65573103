package main

import (
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"drumhead/commands"
	"drumhead/commands/words"
)

// mostHelp is how long a description may be where it is shortest (Discord).
const mostHelp = 100

// TestHelpsAreWhole: every command and parameter says what it is for in every
// language, briefly enough, and the catalogue holds nothing that no command says.
// Who changes a help text changes its entry in commands/words/help.toml.
func TestHelpsAreWhole(t *testing.T) {
	helps, err := words.LoadHelps()
	if err != nil {
		t.Fatal(err)
	}
	desk, err := commands.New(commands.Config{})
	if err != nil {
		t.Fatal(err)
	}
	said := map[string]string{}
	for _, s := range desk.Specs() {
		said[s.Help] = "/" + s.Name
		for _, p := range s.Params {
			said[p.Help] = "/" + s.Name + " " + p.Name
		}
	}
	if len(said) < 60 {
		t.Fatalf("only %d texts: the search is broken", len(said))
	}
	for english, where := range said {
		for _, language := range words.Languages() {
			text, ok := helps.In(language, english)
			switch {
			case !ok || strings.TrimSpace(text) == "":
				t.Errorf("%s: commands/words/help.toml lacks [%q] in %s", where, english, language)
			case utf8.RuneCountInString(text) > mostHelp:
				t.Errorf("%s in %s has %d characters, %d at the most: %s", where, language, utf8.RuneCountInString(text), mostHelp, text)
			}
		}
	}
	for english, texts := range helps {
		if said[english] == "" {
			t.Errorf("commands/words/help.toml: no command says %q any more", english)
		}
		for language := range texts {
			if language != "es" && !slices.Contains(words.Languages(), language) {
				t.Errorf("commands/words/help.toml: %q in %q, which is no language", english, language)
			}
		}
	}
}
