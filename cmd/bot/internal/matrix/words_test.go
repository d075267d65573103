package matrix

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"drumhead/commands/words"
)

// TestEverySentenceIsThere: each id of ours that stands in the code is in the
// catalogue, and each of the catalogue's is said somewhere.
func TestEverySentenceIsThere(t *testing.T) {
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	said := map[string]bool{}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		for _, m := range regexp.MustCompile(`"(matrix\.[a-z]+)"`).FindAllStringSubmatch(string(b), -1) {
			said[m[1]] = true
			if !catalog.Has(m[1]) {
				t.Errorf("%s says %s, which is no sentence", f, m[1])
			}
		}
	}
	for _, id := range catalog.IDs() {
		if strings.HasPrefix(id, "matrix.") && !said[id] {
			t.Errorf("nobody says %s", id)
		}
	}
	if len(said) < 5 {
		t.Errorf("only %d sentences found: the search is broken", len(said))
	}
}
