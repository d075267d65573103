package main

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"drumhead/commands/words"
	"drumhead/engine/attack"
)

// spoken finds the ids by which sentences are asked for in the code.
var spoken = regexp.MustCompile(`(?:[sS]ay|refuse|Refuse|reason\.New)\((?:"[^"]*", )?"([a-z]+(?:\.[a-z0-9_-]+)+)"`)

// TestEverySentenceIsThere: each id that the code asks for by name is in the
// catalogue, and the catalogue loads.
func TestEverySentenceIsThere(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	eachFile(t, func(pkg, file string, src []byte) {
		if strings.HasSuffix(file, "_test.go") || pkg == "campaign" {
			return // the campaign adds the beginning of its ids itself; its own test looks at them
		}
		for _, m := range spoken.FindAllSubmatch(src, -1) {
			found++
			id := string(m[1])
			begins := strings.HasSuffix(id, "_") && slices.ContainsFunc(catalog.IDs(), func(s string) bool { return strings.HasPrefix(s, id) })
			if !catalog.Has(id) && !begins {
				t.Errorf("%s says %q, which is no sentence", file, m[1])
			}
		}
	})
	if found < 200 {
		t.Errorf("only %d sentences found: the search is broken", found)
	}
}

// TestSlotsAreWhole: a slot that chooses a word by number has that number.
func TestSlotsAreWhole(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	if n := len(catalog.IDs()); n < 300 {
		t.Fatalf("%d sentences: the catalogue is not whole", n)
	}
	say := words.Speaker{Catalog: catalog}
	for _, id := range catalog.IDs() {
		pairs := []any{}
		for _, slot := range catalog.Slots(id) {
			pairs = append(pairs, slot, 1)
		}
		if text := words.Flat(say.Say(id, pairs...)); strings.Contains(text, "[[") {
			t.Errorf("%s: %q", id, text)
		}
	}
}

// TestAlgebraHasWords: all that the algebra of attacks can say of itself is a
// sentence, with every slot filled.
func TestAlgebraHasWords(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	say := words.Speaker{Catalog: catalog}
	kinds := attack.Kinds()
	if len(kinds) < 30 {
		t.Fatalf("%d kinds: the registry is not whole", len(kinds))
	}
	for _, k := range kinds {
		for _, r := range k.With.Words() {
			if text := words.Flat(say.Reason(r)); text == "" || strings.Contains(text, "[[") {
				t.Errorf("%s %s: %q", k.Group, k.ID, text)
			}
		}
	}
}
