package matrix

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestTablesNameTheirTests: every test that the package's comment names is there, and
// every test of a crash is named.
func TestTablesNameTheirTests(t *testing.T) {
	doc, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob("*_test.go")
	if err != nil {
		t.Fatal(err)
	}
	there := map[string]bool{}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`(?m)^func (Test\w+)\(t \*testing\.T\)`).FindAllStringSubmatch(string(b), -1) {
			there[m[1]] = true
		}
	}
	named := map[string]bool{}
	for _, name := range regexp.MustCompile(`\bTest\w+`).FindAllString(string(doc), -1) {
		named[name] = true
		if !there[name] {
			t.Errorf("%s is named and is not there", name)
		}
	}
	for name := range there {
		if strings.HasPrefix(name, "TestCrash") && !named[name] {
			t.Errorf("%s stands in no table", name)
		}
	}
	if len(named) < 10 {
		t.Errorf("only %d tests are named: the search is broken", len(named))
	}
}
