package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// row is one line of the import table in DEVELOPERS.md: what a tree of packages
// may import of ours, and what it must never import of others.
type row struct {
	tree  string
	may   []string // ours; "x/..." is x and all below it
	never []string
	tests bool // its tests keep the row too
}

// pure is what the core must never touch: the world comes in as arguments.
var pure = []string{"time", "os", "net", "net/...", "sync", "sync/...", "context", "math/rand", "math/rand/v2", "crypto/rand"}

// impureButTime: a time as a value is welcome; reading the clock is found by
// TestNobodyReadsTheClock.
var impureButTime = pure[1:]

// platforms are libraries that only their own room may know.
var platforms = []string{"github.com/bwmarrin/discordgo", "maunium.net/...", "go.etcd.io/...", "github.com/ergochat/..."}

var table = []row{
	{"engine/reason", nil, pure, true},
	{"engine/dice", nil, pure, true},
	{"engine/odds", nil, pure, true},
	{"engine/luck", []string{"engine/odds"}, pure, true},
	{"engine/field", nil, pure, true},
	{"engine/attack", []string{"engine/dice", "engine/odds", "engine/reason"}, pure, true},
	{"engine/sentence", []string{"engine/dice", "engine/odds", "engine/attack", "engine/reason"}, pure, true},
	{"engine/rules", []string{"engine/dice", "engine/odds", "engine/attack", "engine/reason", "engine/rules/..."}, pure, true},
	{"engine/muster", []string{"engine/dice", "engine/odds", "engine/attack", "engine/rules/...", "engine/reason"}, pure, true},
	{"engine/battle", []string{"engine/..."}, pure, true},
	{"campaign", []string{"engine/...", "campaign/..."}, impureButTime, false},
	{"storage/internal", []string{"storage", "storage/internal/..."}, []string{"go.etcd.io/..."}, true},
	{"storage/bolt", []string{"storage", "storage/internal/..."}, []string{"go.etcd.io/etcd/..."}, false},
	{"storage/mem", []string{"storage", "storage/internal/..."}, []string{"go.etcd.io/..."}, false},
	{"storage/faulty", []string{"storage"}, []string{"go.etcd.io/..."}, false},
	{"storage/storagetest", []string{"storage", "storage/faulty"}, []string{"go.etcd.io/..."}, false},
	{"storage", nil, []string{"go.etcd.io/..."}, false},
	{"commands/chat/chattest", []string{"commands/chat", "commands/chatscript"}, platforms, false},
	{"commands/chat", nil, platforms, false},
	{"commands/args", []string{"commands/chat", "engine/reason"}, platforms, false},
	{"commands/chatscript", []string{"commands/chat"}, platforms, false},
	{"commands/words", []string{"engine/...", "campaign", "commands/chat"}, slices.Concat(platforms, []string{"net", "os"}), false},
	{"commands/picture", nil, slices.Concat(platforms, []string{"net", "os"}), false},
	{"commands/beacon/beacontest", []string{"commands/beacon"}, platforms, false},
	{"commands/beacon", nil, platforms, false},
	{"commands/proof", []string{"engine/...", "campaign", "storage", "commands/beacon"}, platforms, false},
	{"commands", []string{"engine/...", "campaign/...", "storage", "commands/..."}, slices.Concat(platforms, []string{"os"}), false},
	{"cmd/bot/internal/terminal", []string{"commands/chat", "commands/args", "commands/chatscript"}, []string{"go.etcd.io/...", "github.com/bwmarrin/discordgo", "maunium.net/..."}, false},
	{"cmd/bot/internal/matrix", []string{"commands/chat", "commands/args", "commands/chatscript"}, []string{"go.etcd.io/...", "github.com/bwmarrin/discordgo", "github.com/ergochat/..."}, false},
	{"cmd/bot/internal", []string{"commands/chat", "commands/args", "commands/chatscript"}, []string{"go.etcd.io/..."}, false},
	{"cmd/bot", []string{"engine/...", "campaign/...", "storage/...", "commands/...", "cmd/bot/internal/...", "testdata", "docs"}, nil, false},
	{"testdata", nil, nil, false},
	{"docs", nil, nil, false},
}

// covers tells whether a pattern names an import.
func covers(pattern, imported string) bool {
	if tree, ok := strings.CutSuffix(pattern, "/..."); ok {
		return imported == tree || strings.HasPrefix(imported, tree+"/")
	}
	return imported == pattern
}

func anyOf(patterns []string, imported string) bool {
	return slices.ContainsFunc(patterns, func(p string) bool { return covers(p, imported) })
}

// rowOf finds the row of a package: the first tree that it lies in.
func rowOf(pkg string) (row, bool) {
	for _, r := range table {
		if pkg == r.tree || strings.HasPrefix(pkg, r.tree+"/") {
			return r, true
		}
	}
	return row{}, false
}

// breach tells what is wrong with one import of a package, "" if nothing.
func breach(pkg, imported string, test bool) string {
	r, ok := rowOf(pkg)
	if !ok {
		return "stands in no row of the import table"
	}
	ours, isOurs := strings.CutPrefix(imported, "drumhead/")
	if test && !r.tests {
		return ""
	}
	switch {
	case isOurs && ours == pkg:
	case isOurs && ours == "cmd/bot":
		return "nobody imports the program"
	case isOurs && !anyOf(r.may, ours):
		return "may not import " + ours
	case !isOurs && !test && anyOf(r.never, imported):
		return "must never import " + imported
	}
	return ""
}

// eachFile calls f with every Go file of the house, by package.
func eachFile(t *testing.T, f func(pkg, file string, src []byte)) {
	t.Helper()
	root := filepath.Join("..", "..")
	n := 0
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && p != root && d.Name() != ".." {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(p, ".go") {
			return nil
		}
		src, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, p)
		if err != nil {
			return err
		}
		n++
		f(path.Dir(filepath.ToSlash(rel)), filepath.ToSlash(rel), src)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if n < 50 {
		t.Fatalf("only %d files found: the walk is broken", n)
	}
}

// testKit tells whether a file serves tests only: a test, or the conformance
// suite of a seam.
func testKit(pkg, file string) bool {
	return strings.HasSuffix(file, "_test.go") || strings.HasSuffix(pkg, "test")
}

func TestImports(t *testing.T) {
	eachFile(t, func(pkg, file string, src []byte) {
		f, err := parser.ParseFile(token.NewFileSet(), file, src, parser.ImportsOnly)
		if err != nil {
			t.Error(err)
			return
		}
		for _, i := range f.Imports {
			imported, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				t.Error(err)
				continue
			}
			if b := breach(pkg, imported, strings.HasSuffix(file, "_test.go")); b != "" {
				t.Errorf("%s %s", file, b)
			}
		}
	})
}

// TestTheTableCanFail gives the table imports that it must refuse.
func TestTheTableCanFail(t *testing.T) {
	for _, c := range []struct{ pkg, imported string }{
		{"engine/battle", "time"}, {"engine/dice", "drumhead/engine/odds"}, {"engine/battle", "drumhead/campaign"},
		{"campaign", "drumhead/storage"}, {"campaign", "os"}, {"storage", "go.etcd.io/bbolt"}, {"storage/bolt", "drumhead/engine/dice"},
		{"commands", "drumhead/storage/bolt"}, {"commands/chat", "drumhead/engine/dice"}, {"commands", "drumhead/cmd/bot"},
		{"cmd/bot/internal/terminal", "drumhead/commands"}, {"nowhere", "fmt"}, {"commands/words", "os"},
	} {
		if breach(c.pkg, c.imported, false) == "" {
			t.Errorf("%s may import %s", c.pkg, c.imported)
		}
	}
	if b := breach("engine/battle", "drumhead/engine/rules", false); b != "" {
		t.Error("engine/battle", b)
	}
}

// TestNobodyReadsTheClock: time, ids and randomness come in as arguments
// everywhere below cmd/.
func TestNobodyReadsTheClock(t *testing.T) {
	eachFile(t, func(pkg, file string, src []byte) {
		if testKit(pkg, file) || strings.HasPrefix(pkg, "cmd/") || strings.HasPrefix(pkg, "storage") {
			return
		}
		for _, call := range []string{"time.Now(", "time.Since(", "time.Sleep(", "time.After(", "rand.Read("} {
			if strings.Contains(string(src), call) {
				t.Errorf("%s calls %s)", file, call)
			}
		}
	})
}

// TestFilesHoldOneIdea keeps files and functions short enough to be read.
func TestFilesHoldOneIdea(t *testing.T) {
	eachFile(t, func(pkg, file string, src []byte) {
		if testKit(pkg, file) {
			return
		}
		lines := strings.Split(string(src), "\n")
		if len(lines) > 600 {
			t.Errorf("%s has %d lines, 600 at the very most", file, len(lines))
		}
		start := -1
		for i, l := range lines {
			if strings.HasPrefix(l, "func ") {
				start = i
			}
			if l == "}" && start >= 0 {
				if i-start > 70 {
					t.Errorf("%s:%d: a function of %d lines, 70 at the most", file, start+1, i-start)
				}
				start = -1
			}
		}
		if base := path.Base(pkg); slices.Contains([]string{"util", "common", "helper", "manager"}, base) {
			t.Errorf("a package is called %s", base)
		}
	})
}
