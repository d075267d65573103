package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// exportOf exports the table of a data directory and gives the ledger's path.
func exportOf(t *testing.T, data string) string {
	t.Helper()
	out := t.TempDir()
	if code, _, errs := start(t, "", "export", "--data", data, "--out", out, "--place", "#table", "--words"); code != good {
		t.Fatal(errs)
	}
	alone(t, filepath.Join(out, "table.jsonl"))
	return filepath.Join(out, "table.jsonl")
}

// TestAgainst: a store that was copied and played on beside the original forks, and
// the two exports prove it; a younger or an older copy of one history does not.
func TestAgainst(t *testing.T) {
	data, first := made(t)
	copied := t.TempDir()
	if err := os.CopyFS(copied, os.DirFS(data)); err != nil {
		t.Fatal(err)
	}
	play := func(dir, text string) string {
		t.Helper()
		if code, _, errs := start(t, "ann: "+text+"\n", "play", "--data", dir, "--practice", "00ff"); code != good {
			t.Fatal(errs)
		}
		return exportOf(t, dir)
	}
	one := play(data, "/roll 12d6 4+")
	two := play(copied, "/roll 30d6 2+")
	said := func(want int, args ...string) string {
		t.Helper()
		code, out, errs := start(t, "", append([]string{"verify"}, args...)...)
		if code != want {
			t.Errorf("%v: code %d, want %d\n%s%s", args, code, want, out, errs)
		}
		return out
	}
	for _, c := range []struct {
		code  int
		a, b  string
		wants string
	}{
		{good, one, one, "has the same"},
		{good, one, first, "has the first"},
		{good, first, one, "goes on after these"},
		{bad, one, two, "Both are signed with the ledger's own key"},
	} {
		if out := said(c.code, c.a, "--against", c.b); !strings.Contains(out, c.wants) {
			t.Errorf("no %q in\n%s", c.wants, out)
		}
	}
	if out := said(bad, one, "--against", two); !strings.Contains(out, "A fork: up to #") {
		t.Errorf("the fork is not named:\n%s", out)
	}
	if err := os.Remove(strings.TrimSuffix(two, "jsonl") + "checkpoint"); err != nil {
		t.Fatal(err)
	}
	if out := said(bad, one, "--against", two); !strings.Contains(out, "only "+one+" is covered") {
		t.Errorf("a history without checkpoint:\n%s", out)
	}
	_, other := made(t)
	b, err := os.ReadFile(other)
	if err != nil {
		t.Fatal(err)
	}
	stranger := filepath.Join(t.TempDir(), "strange.jsonl")
	if err := os.WriteFile(stranger, bytes.ReplaceAll(b, []byte(`"ledger":"`), []byte(`"ledger":"a`)), 0o644); err != nil {
		t.Fatal(err)
	}
	if out := said(bad, one, "--against", stranger); !strings.Contains(out, "Not to be compared") {
		t.Errorf("no ledger at all:\n%s", out)
	}
}

// TestNotWhole: what is no ledger, was changed on its way, or lacks a pinned file is
// never called good, and says what it is.
func TestNotWhole(t *testing.T) {
	_, ledger := made(t)
	whole, err := os.ReadFile(ledger)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, c := range []struct{ name, text, wants string }{
		{"empty", "", "the file is cut short, or no ledger"},
		{"half", string(whole[:len(whole)/2]), "the file is cut short, or no ledger"},
		{"crlf", strings.ReplaceAll(string(whole), "\n", "\r\n"), "line feeds alone"},
		{"object", "{}\n", "no entry of a ledger was read"},
		{"prose", "Ann rolled a six.\n", "no entry of a ledger was read"},
		{"zeroes", strings.Repeat("\x00", 999) + "\n", "no entry of a ledger was read"},
	} {
		path := filepath.Join(dir, c.name+".jsonl")
		if err := os.WriteFile(path, []byte(c.text), 0o644); err != nil {
			t.Fatal(err)
		}
		if code, out, errs := start(t, "", "verify", path); code != bad || !strings.Contains(out+errs, c.wants) {
			t.Errorf("%s: code %d, %s%s", c.name, code, out, errs)
		}
	}
	if code, _, errs := start(t, "", "verify", dir); code != bad || !strings.Contains(errs, "is a directory") {
		t.Errorf("a directory: code %d, %s", code, errs)
	}
}

// TestPinnedFiles: a pinned file that is not there, or not what it was, is named,
// and the verdict is not good.
func TestPinnedFiles(t *testing.T) {
	data, out := t.TempDir(), t.TempDir()
	script := "! organiser cy\ncy #table: /campaign start osier\nann #table: /campaign join Withy Lock\n"
	if code, _, errs := start(t, script, "play", "--data", data, "--practice", "00ff"); code != good {
		t.Fatal(errs)
	}
	if code, _, errs := start(t, "", "export", "--data", data, "--out", out, "--place", "#table"); code != good {
		t.Fatal(errs)
	}
	pinned, err := filepath.Glob(filepath.Join(out, "*.toml"))
	if err != nil || len(pinned) != 1 {
		t.Fatalf("%v, %v", pinned, err)
	}
	ledger := filepath.Join(out, "table.jsonl")
	if code, said, errs := start(t, "", "verify", ledger); code != good {
		t.Fatalf("whole: %s%s", said, errs)
	}
	b, err := os.ReadFile(pinned[0])
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(b); i += 97 {
		changed := bytes.Clone(b)
		changed[i] ^= 1
		if err := os.WriteFile(pinned[0], changed, 0o644); err != nil {
			t.Fatal(err)
		}
		if code, said, _ := start(t, "", "verify", ledger); code != bad || !strings.Contains(said, filepath.Base(pinned[0])+" was changed") {
			t.Fatalf("byte %d changed: code %d, %s", i, code, said)
		}
	}
	if err := os.Remove(pinned[0]); err != nil {
		t.Fatal(err)
	}
	if code, said, _ := start(t, "", "verify", ledger); code != bad || !strings.Contains(said, "Not whole") || !strings.Contains(said, "for want of "+filepath.Base(pinned[0])) {
		t.Errorf("without it: code %d, %s", code, said)
	}
}

// TestHiddenWordsStay: what was hidden leaves the house in no export, and the ledger
// is good without it.
func TestHiddenWordsStay(t *testing.T) {
	data := t.TempDir()
	if code, _, errs := start(t, "ann: /tell we march\nbo: /tell a soggy biscuit\nann: /hide 3\n", "play", "--data", data, "--practice", "00ff"); code != good {
		t.Fatal(errs)
	}
	ledger := exportOf(t, data)
	b, err := os.ReadFile(strings.TrimSuffix(ledger, "jsonl") + "words.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(b), "we march") || strings.Contains(string(b), "soggy") {
		t.Errorf("the words that were exported:\n%s", b)
	}
	if code, out, _ := start(t, "", "verify", ledger); code != good || !strings.Contains(out, "Words: 1 is what") {
		t.Errorf("verify: %s", out)
	}
}
