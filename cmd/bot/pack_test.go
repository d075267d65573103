package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drumhead/commands/words"
	"drumhead/engine/rules"
)

// The pages of the built-in packs are golden files: read their differences.
func TestPackPages(t *testing.T) {
	for _, id := range rules.Builtins() {
		code, out, errs := start(t, "", "pack", "show", id)
		if code != good || strings.Contains(out, "[[") {
			t.Fatalf("%s: %d, %s\n%s", id, code, errs, out)
		}
		name := filepath.Join("testdata", "pack."+id+".txt")
		if *update {
			if err := os.WriteFile(name, []byte(out), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if out != string(want) {
			t.Errorf("the page of %s is not %s any more", id, name)
		}
		for i, line := range strings.Split(out, "\n") {
			if len([]rune(line)) > 60 {
				t.Errorf("%s:%d has %d characters", name, i+1, len([]rune(line)))
			}
		}
	}
}

// The words of closed sets are all there, whether a built-in pack uses them or not.
func TestPageWords(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	var ids []string
	for prefix, set := range map[string][]string{
		"then": rules.Consequences, "who": rules.Whos, "until": rules.Untils, "if": rules.FactKeys(), "gift": rules.GiftWords,
		"tie": rules.Ties, "strikes": rules.Strikes, "weapon": rules.WeaponTypes, "power": rules.PowerTargets,
		"chart": rules.ChartsBy, "seq.each": append([]string{"none"}, rules.ForEach...),
	} {
		for _, word := range set {
			ids = append(ids, "page."+prefix+"."+strings.ReplaceAll(word, " ", "_"))
		}
	}
	for _, word := range rules.RerollWords {
		ids = append(ids, "page.effect.reroll_"+strings.ReplaceAll(word, " ", "_"))
	}
	for _, word := range rules.FallsWhen {
		ids = append(ids, "page.effect.falls_"+word)
	}
	for _, k := range rules.StandingKeys {
		ids = append(ids, "page.standing."+k.Key)
	}
	for _, is := range rules.Comparisons {
		ids = append(ids, "page.chart.is_"+is)
	}
	if len(ids) < 80 {
		t.Fatalf("only %d words", len(ids))
	}
	for _, id := range ids {
		if !catalog.Has(id) {
			t.Errorf("%s has no sentence", id)
		}
	}
}

// What is wrong with a file is said with its place, all of it; a good one says so.
func TestPackCheck(t *testing.T) {
	text, _ := rules.Builtin("osier")
	dir := t.TempDir()
	write := func(name, content string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	bad := strings.Replace(string(text), "short = \"Pikes\"", "shorte = \"Pikes\"", 1)
	bad = strings.Replace(bad, "effects = [\"grounded pikes\"]", "effects = [\"grounded pike\"]", 1)
	for _, c := range []struct {
		file string
		code int
		says []string
	}{
		{write("good.toml", string(text)), 0, []string{"Osier, edition 1: nothing is wrong with it."}},
		{write("bad.toml", bad), 1, []string{"bad.toml:652:1: unknown key \"shorte\"; did you mean \"short\"?", "effect \"grounded pike\" is not known; did you mean \"grounded pikes\"?"}},
		{write("warned.toml", strings.Replace(string(text), "effects = [\"every gun\", \"shallow draught\"]", "", 1)), 0, []string{"warned.toml:390:3: effect \"every gun\" is never used", "nothing is wrong"}},
		{write("empty.toml", ""), 1, []string{"a pack needs at least one weapon", "empty.toml:1:1"}},
		{write("huge.toml", strings.Repeat("# nothing\n", 1<<20)), 1, []string{"at most 256 KB are read"}},
		{filepath.Join(dir, "none.toml"), 1, []string{"there is no file", "brine, column, osier"}},
	} {
		code, out, errs := start(t, "", "pack", "check", c.file)
		if code != c.code {
			t.Errorf("%s: code %d, want %d", c.file, code, c.code)
		}
		for _, want := range c.says {
			if !strings.Contains(out+errs, want) {
				t.Errorf("%s: %q is not said:\n%s%s", c.file, want, out, errs)
			}
		}
	}
	if code, _, errs := start(t, "", "pack"); code != usage || !strings.Contains(errs, "bot pack show osier") {
		t.Errorf("%d, %s", code, errs)
	}
}
