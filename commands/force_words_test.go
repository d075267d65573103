package commands

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"drumhead/commands/words"
	"drumhead/engine/reason"
	"drumhead/engine/rules"
	"drumhead/engine/rules/source"
)

// idPattern finds the ids of sentences in the source of the core; an id that
// ends with a dot is a beginning, the rest is chosen where it is used.
var idPattern = regexp.MustCompile(`"((?:file|pack|why|rules|force)\.[a-z0-9_.]+)"`)

// Every id that the pack, the muster and the force commands use has a sentence,
// and no sentence of theirs is unused.
func TestPackAndForceIDs(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	used := usedIDs(t, "../engine/rules/*.go", "../engine/rules/source/*.go", "../engine/muster/*.go", "force*.go", "games.go")
	if len(used) < 100 {
		t.Fatalf("only %d ids were found", len(used))
	}
	for id := range used {
		if !catalog.Has(strings.TrimSuffix(id, ".")) && !begins(catalog.IDs(), id) {
			t.Errorf("%s has no sentence", id)
		}
	}
	for _, id := range catalog.IDs() {
		kind, _, _ := strings.Cut(id, ".")
		if idPattern.MatchString(`"`+kind+`.x"`) && !isUsed(id, used) {
			t.Errorf("the sentence %s is never said", id)
		}
	}
}

func usedIDs(t *testing.T, patterns ...string) map[string]bool {
	t.Helper()
	used := map[string]bool{}
	for _, pattern := range patterns {
		files, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			for _, found := range idPattern.FindAllStringSubmatch(string(text), -1) {
				used[found[1]] = true
			}
		}
	}
	return used
}

// begins tells whether some id begins so: with a dot, or with .near after it.
func begins(ids []string, start string) bool {
	for _, id := range ids {
		if strings.HasPrefix(id, start) && (strings.HasSuffix(start, ".") || id == start+".near") {
			return true
		}
	}
	return false
}

func isUsed(id string, used map[string]bool) bool {
	for u := range used {
		if u == id || strings.HasSuffix(u, ".") && strings.HasPrefix(id, u) || id == u+".near" || id == u+".unknown" {
			return true
		}
	}
	return false
}

// Every reason of every attack that osier knows fills its sentence.
func TestAttackReasonsInWords(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	speaker := words.Speaker{Catalog: catalog}
	p, err := rules.LoadBuiltin("osier")
	if err != nil {
		t.Fatal(err)
	}
	facts := []rules.Facts{{}, {Cover: true, HalfRange: true, Charged: true}, {Moved: true, TargetCharged: true, InMelee: true}}
	said := map[string]bool{}
	for _, statuses := range [][]string{nil, {"veiled", "mired"}} {
		for _, from := range p.Units {
			for i, weapon := range from.Weapons {
				for _, at := range p.Units {
					a := rules.Group{Unit: from.ID, Models: from.Most, Statuses: statuses}
					_, why, err := p.Compile(a, weapon, rules.Group{Unit: at.ID, Models: at.Most, Statuses: statuses}, facts[i%len(facts)])
					if err != nil {
						t.Fatal(err)
					}
					for _, r := range why {
						said[words.Flat(speaker.Reason(r))] = true
					}
				}
			}
		}
	}
	for line := range said {
		if strings.Contains(line, "[[") {
			t.Error(line)
		}
	}
	for _, line := range []string{
		"To hit 4+ (skill).", "A natural 6 is 1 extra: ringing shot.", "To wound 3+ (strength 6 beats toughness 4).",
		"To wound 4+ (strength equals toughness).", "Save 6+ (4+, worsened by piercing 2).",
	} {
		if !said[line] {
			t.Errorf("nobody says %q", line)
		}
	}
}

// Faults of packs fill their sentences, whatever line is damaged and how.
func TestPackFaultsInWords(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	speaker := words.Speaker{Catalog: catalog}
	ids := map[string]bool{}
	for _, id := range rules.Builtins() {
		spoil(t, speaker, id, ids)
	}
	if len(ids) < 25 {
		t.Errorf("only %d kinds of fault were met: %v", len(ids), ids)
	}
}

// spoil changes a third of the lines of a pack in turn, each in its own way, and
// gathers the kinds of faults that come of it.
func spoil(t *testing.T, speaker words.Speaker, id string, ids map[string]bool) {
	good, _ := rules.Builtin(id)
	lines := strings.Split(string(good), "\n")
	for i, line := range lines {
		key, _, isKey := strings.Cut(line, " = ")
		if !isKey {
			continue
		}
		for n, bad := range []string{"", key + " = 99999", key + ` = "zzz"`, line + "\n" + strings.TrimSpace(key) + "e = 1"} {
			if (i+n)%3 != 0 {
				continue // a third of the damage is enough, and different for each line
			}
			damaged := append(append(append([]string{}, lines[:i]...), bad), lines[i+1:]...)
			_, err := rules.Load("bad.toml", []byte(strings.Join(damaged, "\n")))
			var faults *source.Faults
			if !errors.As(err, &faults) {
				continue // a text may be another text, and some keys may be left out
			}
			for _, f := range faults.All {
				ids[f.Reason.ID] = true
				checkWords(t, speaker, f.Reason)
			}
		}
	}
}

func checkWords(t *testing.T, s words.Speaker, r reason.Reason) {
	t.Helper()
	if line := words.Flat(s.Reason(r)); strings.Contains(line, "[[") {
		t.Errorf("%s: %s", r.ID, line)
	}
}
