package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/binary"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"sort"
	"strings"
	"testing"

	"drumhead/commands/picture"
	"drumhead/commands/proof"
	"drumhead/commands/words"
	"drumhead/docs"
	"drumhead/storage"
	"drumhead/storage/bolt"
)

// start runs the program and returns what it wrote.
func start(t *testing.T, in string, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = Run(context.Background(), args, strings.NewReader(in), &o, &e)
	return code, o.String(), e.String()
}

func TestCommandLine(t *testing.T) {
	for _, c := range []struct {
		args string
		code int
		want string // in what is written
	}{
		{"", good, "bot play"},
		{"help", good, "bot demo"},
		{"help verify", good, "--checkpoint"},
		{"--help", good, "bot export"},
		{"play --help", good, "--practice"},
		{"help play", good, "ann: (file weir.toml)"},
		{"version", good, "Drumhead " + versionNumber},
		{"schema", good, "bot schema play"},
		{"schema play", good, "json-schema.org"},
		{"schema nothing", usage, `no schema "nothing"`},
		{"stream --bytes 0", usage, "expected 1 or more"},
		{"picture", usage, "dice, luck, map, maps, odds, standings"},
		{"picture map", good, `"Alder Ford"`},
		{"picture tabel", usage, `no kind "tabel"`},
		{"picture map -", usage, "where to?"},
		{"picture map - map.gif", usage, "ends with .png or .svg"},
		{"picture map no-such-file.json map.png", bad, "no-such-file.json"},
		{"picture map run_test.go map.png", bad, "the value of a map"},
		{"serve", usage, "[discord]"},
		{"doctor", usage, "--config drumhead.toml"},
		{"matrix", usage, "login, verify or logout"},
		{"matrix logout --recover --config drumhead.toml", usage, "login, verify or logout"},
		{"matrix login --config no-such-file.toml", bad, "no-such-file.toml"},
		{"plai", usage, `no subcommand "plai"`},
		{"play --wat", usage, "-wat"},
		{"play extra", usage, `"extra" is too much`},
		{"play --practice xyz", usage, "1 to 64 bytes in hex expected"},
		{"play --practice=", usage, "1 to 64 bytes in hex expected"},
		{"play --as two.words! --practice 00", usage, "one word expected"},
		{"play --place table --practice 00", usage, "#NAME or @dm expected"},
		{"play --beacon relay.example", usage, "as in https://relay.example"},
		{"play --beacon https://relay.example --practice 00", usage, "leave out one of the two"},
		{"play --practice 00 --name a+b", bad, "letters, digits, dots and hyphens expected"},
		{"play --practice 00 --script no-such-file.txt", bad, "no-such-file.txt"},
		{"verify", usage, "which ledger?"},
		{"verify no-such-file.jsonl", bad, "no-such-file.jsonl"},
		{"verify run_test.go", bad, "Not good"},
		{"export --data no-such-directory", bad, "is no data directory"},
	} {
		code, out, errs := start(t, "", strings.Fields(c.args)...)
		if code != c.code || !strings.Contains(out+errs, c.want) {
			t.Errorf("bot %s: %d, %q, want %d with %q", c.args, code, out+errs, c.code, c.want)
		}
	}
}

const evening = `ann: /roll 12d6 4+
bo: /roll 99999d6
bo: 1
ann: these dice are cooked
bo @dm: roll 2d6
`

// The same practice gives the same lines; another seed, other dice.
func TestPracticeIsTheSameEveryTime(t *testing.T) {
	runs := map[string]string{}
	for _, seed := range []string{"00ff", "00ff", "00fe"} {
		code, out, errs := start(t, evening, "play", "--practice", seed, "--json")
		if code != good || errs != "" {
			t.Fatalf("%d %s", code, errs)
		}
		if before, ok := runs[seed]; ok && before != out {
			t.Errorf("seed %s gave two evenings:\n%s\n%s", seed, before, out)
		}
		runs[seed] = out
	}
	if runs["00ff"] == runs["00fe"] {
		t.Error("two seeds gave one evening")
	}
}

// A second session of one directory goes on, and repeats no source and no dice.
func TestSessionsGoOn(t *testing.T) {
	dir := t.TempDir()
	var outs []string
	for range 2 {
		code, out, errs := start(t, "ann: /roll 20d6\n! wait 2h\n", "play", "--data", dir, "--practice", "01", "--json")
		if code != good {
			t.Fatal(errs)
		}
		lines := strings.Split(strings.TrimSpace(out), "\n")
		outs = append(outs, lines[len(lines)-1])
	}
	var posts [2]struct {
		Entry int
		Text  string
	}
	for i, line := range outs {
		if err := json.Unmarshal([]byte(line), &posts[i]); err != nil {
			t.Fatal(err)
		}
	}
	if posts[1].Entry != posts[0].Entry+1 || posts[0].Text == posts[1].Text {
		t.Errorf("first %+v, then %+v", posts[0], posts[1])
	}
}

func TestStrict(t *testing.T) {
	for in, want := range map[string]int{"/roll 2d6\n": good, "/rol 2d6\n": bad, "! crash\n": bad, "hello\n": good} {
		if code, _, errs := start(t, in, "play", "--practice", "00", "--strict"); code != want {
			t.Errorf("%q: exit %d, want %d (%s)", in, code, want, errs)
		}
		if code, _, _ := start(t, in, "play", "--practice", "00"); code != good {
			t.Errorf("%q without --strict: exit %d", in, code)
		}
	}
}

func TestWaitTakesPractice(t *testing.T) {
	code, out, _ := start(t, "! wait 1h\n", "play", "--data", filepath.Join(t.TempDir(), "new"), "--json", "--strict")
	if code != bad || !strings.Contains(out, `"error":"terminal.refuse.wait"`) {
		t.Errorf("exit %d: %s", code, out)
	}
}

// The example of each kind can be drawn, as both kinds of file.
func TestPicture(t *testing.T) {
	for _, kind := range picture.Kinds() {
		code, example, errs := start(t, "", "picture", kind)
		if code != good || len(example) == 0 {
			t.Fatalf("picture %s: code %d, %s", kind, code, errs)
		}
		for ext, begins := range map[string]string{".png": "\x89PNG", ".svg": "<svg"} {
			to := filepath.Join(t.TempDir(), kind+ext)
			code, said, errs := start(t, example, "picture", kind, "-", to)
			b, err := os.ReadFile(to)
			if code != good || err != nil || !strings.HasPrefix(string(b), begins) || !strings.Contains(said, " by ") {
				t.Errorf("picture %s as %s: code %d, %v, %s%s", kind, ext, code, err, said, errs)
			}
		}
	}
}

// The golden evening: every line as a program reads it, and as the schema says.
func TestGoldenJSON(t *testing.T) {
	dir := t.TempDir()
	code, out, errs := start(t, "", "play", "--data", dir, "--practice", "00ff", "--json", "--script", filepath.Join("testdata", "evening.txt"))
	if code != good || errs != "" {
		t.Fatalf("%d %s", code, errs)
	}
	out = strings.ReplaceAll(out, dir, "DIR")
	if *update {
		if err := os.WriteFile(filepath.Join("testdata", "evening.jsonl"), []byte(out), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(filepath.Join("testdata", "evening.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	if string(want) != out {
		t.Errorf("other lines than expected (-update rewrites):\n%s", out)
	}
	var schema struct {
		Required   []string
		Properties map[string]struct{ Type string }
	}
	if err := json.Unmarshal([]byte(docs.PlaySchema), &schema); err != nil {
		t.Fatal(err)
	}
	sort.Strings(schema.Required)
	types := map[string]string{"string": "string", "float64": "integer", "[]interface {}": "array"}
	for _, line := range strings.Split(strings.TrimSpace(out), "\n") {
		var o map[string]any
		if err := json.Unmarshal([]byte(line), &o); err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		var have []string
		for name, v := range o {
			have = append(have, name)
			if kind := types[fmt.Sprintf("%T", v)]; kind != schema.Properties[name].Type {
				t.Errorf("%s is a %s, the schema says %q", name, kind, schema.Properties[name].Type)
			}
		}
		if sort.Strings(have); !reflect.DeepEqual(have, schema.Required) {
			t.Errorf("members %v, the schema wants %v", have, schema.Required)
		}
	}
}

// made plays an evening into a new directory and exports it.
func made(t *testing.T) (data, ledger string) {
	t.Helper()
	data, out := t.TempDir(), t.TempDir()
	if code, _, errs := start(t, evening, "play", "--data", data, "--practice", "00ff"); code != good {
		t.Fatal(errs)
	}
	code, said, errs := start(t, "", "export", "--data", data, "--out", out, "--place", "#table", "--words")
	if code != good || !strings.Contains(said, "table.jsonl") {
		t.Fatalf("export: %d %s %s", code, said, errs)
	}
	alone(t, filepath.Join(out, "table.jsonl"))
	return data, filepath.Join(out, "table.jsonl")
}

func TestExportVerifies(t *testing.T) {
	_, ledger := made(t)
	code, out, errs := start(t, "", "verify", ledger)
	if code != good {
		t.Fatalf("%d %s %s", code, out, errs)
	}
	for _, want := range []string{"Good", "practice", "Checkpoint: signed by practice.drumhead.local/", "Dice: 2 draws from 1 seal", "Rules: replayed"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	checkpoint := strings.TrimSuffix(ledger, "jsonl") + "checkpoint"
	note, err := os.ReadFile(checkpoint)
	if err != nil {
		t.Fatal(err)
	}
	vkey := strings.Fields(out[strings.Index(out, "signed by ")+len("signed by "):])[0]
	vkey = strings.TrimSuffix(vkey, ",")
	if code, out, _ := start(t, "", "verify", "--key", vkey, ledger); code != good {
		t.Errorf("with its own key: %s", out)
	}
	other := "drumhead.example/" + strings.Repeat("a", 26) + "+14db6881+AXvqhnpsIZJ42WsYaLPvmIoP/wb3eYtlo3ruhnEUmBcz"
	if code, out, _ := start(t, "", "verify", ledger, "--key", other); code != bad {
		t.Errorf("with a stranger's key: %s", out)
	}
	// A checkpoint may be named instead of lying there.
	moved := filepath.Join(t.TempDir(), "moved")
	if err := os.Rename(checkpoint, moved); err != nil {
		t.Fatal(err)
	}
	if code, out, _ := start(t, "", "verify", ledger); code != good || !strings.Contains(out, "There is no checkpoint") {
		t.Errorf("without checkpoint: %d %s", code, out)
	}
	if code, out, _ := start(t, "", "verify", ledger, "--checkpoint", moved); code != good || !strings.Contains(out, "Checkpoint: signed by") {
		t.Errorf("with --checkpoint: %d %s", code, out)
	}
	if code, _, errs := start(t, "", "verify", ledger, "--checkpoint", checkpoint); code != bad || !strings.Contains(errs, checkpoint) {
		t.Errorf("with a checkpoint that is not there: %d %s", code, errs)
	}
	// What is cut off at the end is missed by the checkpoint.
	b, err := os.ReadFile(ledger)
	if err != nil {
		t.Fatal(err)
	}
	short := filepath.Join(t.TempDir(), "table.jsonl")
	lines := bytes.SplitAfter(b, []byte("\n"))
	if err := os.WriteFile(short, bytes.Join(lines[:len(lines)-2], nil), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, out, _ := start(t, "", "verify", short, "--checkpoint", moved); code != bad || !strings.Contains(out, "some are missing") {
		t.Errorf("a ledger cut short: %d %s", code, out)
	}
	if len(note) == 0 {
		t.Error("the checkpoint is empty")
	}
}

// One changed byte anywhere, in the ledger, its checkpoint or its words, is found.
func TestEveryByteCounts(t *testing.T) {
	_, ledger := made(t)
	catalog, err := words.English()
	if err != nil {
		t.Fatal(err)
	}
	judge := func() (string, error) {
		var out strings.Builder
		e := &evidence{path: ledger, files: map[string][]byte{}}
		if err := e.read(nil); err != nil {
			return err.Error(), errSaid
		}
		return out.String(), e.judge(speech{&out, words.Speaker{Catalog: catalog}}, nil)
	}
	if out, err := judge(); err != nil {
		t.Fatalf("unchanged: %v\n%s", err, out)
	}
	base := strings.TrimSuffix(ledger, "jsonl")
	for _, path := range []string{ledger, base + "checkpoint", base + "words.jsonl"} {
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for i := range whole {
			changed := bytes.Clone(whole)
			changed[i] ^= 1
			if err := os.WriteFile(path, changed, 0o644); err != nil {
				t.Fatal(err)
			}
			if out, err := judge(); !errors.Is(err, errSaid) && !errors.Is(err, proof.ErrLines) {
				t.Fatalf("%s: byte %d of %d changed from %q to %q: %v\n%s", filepath.Base(path), i, len(whole), whole[i], changed[i], err, out)
			}
		}
		if err := os.WriteFile(path, whole, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func TestDirectory(t *testing.T) {
	data, _ := made(t)
	key := filepath.Join(data, keyFile)
	info, err := os.Stat(key)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key has mode %v, %v", info.Mode(), err)
	}
	whole, err := os.ReadFile(key)
	if err != nil {
		t.Fatal(err)
	}
	if lines := strings.Split(string(whole), "\n"); lines[1] != storage.PracticeName+defaultName {
		t.Errorf("signs as %s", lines[1])
	}
	play := func(more ...string) (int, string) {
		code, out, errs := start(t, "/roll 2d6\n", append([]string{"play", "--data", data}, more...)...)
		if code == good && !strings.Contains(out, "#") {
			t.Errorf("nothing was rolled: %s", out)
		}
		return code, errs
	}
	refused := func(want string, more ...string) {
		t.Helper()
		if code, errs := play(more...); code != bad || !strings.Contains(errs, want) {
			t.Errorf("%v: %d %q, want %q", more, code, errs, want)
		}
	}
	if code, errs := play("--practice", "00", "--name", defaultName); code != good {
		t.Errorf("its own name: %s", errs)
	}
	refused("is for practice")
	refused("a name never changes", "--practice", "00", "--name", "other.example")
	real := t.TempDir()
	if code, _, errs := start(t, "/roll 2d6\n", "play", "--data", real, "--name", "weir.example"); code != good {
		t.Fatal(errs)
	}
	if code, _, errs := start(t, "", "play", "--data", real, "--practice", "00"); code != bad || !strings.Contains(errs, "holds real games (it signs as weir.example)") {
		t.Errorf("practice in a real directory: %d %s", code, errs)
	}
	for _, broken := range []string{"", "x", strings.Replace(string(whole), "1\n", "2\n", 1), string(whole) + "\n", string(whole[:len(whole)-3]) + "=\n"} {
		if err := os.WriteFile(key, []byte(broken), 0o600); err != nil {
			t.Fatal(err)
		}
		refused("is damaged", "--practice", "00")
	}
	if err := os.Remove(key); err != nil {
		t.Fatal(err)
	}
	refused("put the kept copy of the key back", "--practice", "00")
	if err := os.WriteFile(key, whole, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(data, storeFile), bytes.Repeat([]byte("no store "), 5000), 0o600); err != nil {
		t.Fatal(err)
	}
	refused("damaged or no store", "--practice", "00")
	refused(storeFile, "--practice", "00")
	if err := os.Truncate(filepath.Join(data, storeFile), 10_000); err != nil {
		t.Fatal(err)
	}
	refused("damaged or no store", "--practice", "00")
	for _, gone := range []func(string) error{func(path string) error { return os.Truncate(path, 0) }, os.Remove} {
		if err := gone(filepath.Join(data, storeFile)); err != nil {
			t.Fatal(err)
		}
		refused("the games are gone", "--practice", "00")
	}
}

// A first start that ends before there are a store and its key is begun again by the
// next one; of two at once, the first to have the store makes the key.
func TestFirstStartThatEnds(t *testing.T) {
	data := t.TempDir()
	open := func() directory {
		t.Helper()
		d, err := openDirectory(data, "", false, rand.Reader)
		if err != nil || !d.made {
			t.Fatalf("the start after: %v, a new key: %v", err, d.made)
		}
		return d
	}
	emptyStore := func() {
		t.Helper()
		s, err := bolt.Open(filepath.Join(data, storeFile), bolt.Options{})
		if err == nil {
			err = s.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	open()
	open()
	emptyStore()
	first, second := open(), open()
	if err := errors.Join(first.keepKey(), second.keepKey()); err != nil || !second.key.Equal(first.key) {
		t.Errorf("two at once: %v, one key: %v", err, second.key.Equal(first.key))
	}
	if _, err := os.Stat(filepath.Join(data, firstFile)); err == nil {
		t.Error("both have begun, and the first start has not ended")
	}
	for range 2 {
		if code, out, errs := start(t, "/roll 2d6\n", "play", "--data", data); code != good || !strings.Contains(out, "#") {
			t.Errorf("%d %s%s", code, out, errs)
		}
	}
}

// Another key would sign the same games as somebody else: it is refused before a
// word is said, and the games stay as they are.
func TestAnothersKey(t *testing.T) {
	data, other := t.TempDir(), t.TempDir()
	for _, dir := range []string{data, other} {
		if code, _, errs := start(t, "/roll 2d6\n", "play", "--data", dir); code != good {
			t.Fatal(errs)
		}
	}
	own, err := os.ReadFile(filepath.Join(data, keyFile))
	if err != nil {
		t.Fatal(err)
	}
	theirs, err := os.ReadFile(filepath.Join(other, keyFile))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		key  []byte
		code int
		says string
	}{{theirs, bad, "another key"}, {own, good, ""}} {
		if err := os.WriteFile(filepath.Join(data, keyFile), c.key, 0o600); err != nil {
			t.Fatal(err)
		}
		if code, out, errs := start(t, "/roll 2d6\n", "play", "--data", data); code != c.code || !strings.Contains(errs, c.says) || c.code == bad && strings.Contains(out, "rolls") {
			t.Errorf("exit %d, %s\n%s", code, errs, out)
		}
	}
}

// A store that a newer program made is left as it is. Its number is at the start
// of both of bbolt's first pages, behind a header of 16 bytes and a magic number.
func TestNewerStore(t *testing.T) {
	data, _ := made(t)
	path := filepath.Join(data, storeFile)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for page := range 2 {
		at := page*os.Getpagesize() + 20
		if v := binary.NativeEndian.Uint32(whole[at:]); v != 2 {
			t.Fatalf("page %d has version %d, expected bbolt's 2", page, v)
		}
		binary.NativeEndian.PutUint32(whole[at:], 3)
	}
	if err := os.WriteFile(path, whole, 0o600); err != nil {
		t.Fatal(err)
	}
	code, _, errs := start(t, "/roll 2d6\n", "play", "--data", data, "--practice", "00")
	for _, want := range []string{path, "use the newer program", "nothing was changed"} {
		if code != bad || !strings.Contains(errs, want) {
			t.Errorf("%d %q, want %q", code, errs, want)
		}
	}
	after, err := os.ReadFile(path)
	if err != nil || !bytes.Equal(after, whole) {
		t.Errorf("the file was changed, %v", err)
	}
}

// sideBySide is how many tests that may run side by side do: those that play on a
// platform wait for its lines more than they work.
const sideBySide = "6"

// TestMain runs the program itself for a test that starts it as somebody else.
func TestMain(m *testing.M) {
	if os.Getenv("DRUMHEAD_AS") == "nobody" {
		os.Exit(Run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
	}
	if err := flag.Set("test.parallel", sideBySide); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

// A directory without rights is named, and what to do. Root has every right, so
// root starts the program as nobody.
func TestNoRights(t *testing.T) {
	if os.Geteuid() == 0 {
		asNobody(t)
		return
	}
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o500); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := start(t, "", "play", "--data", filepath.Join(dir, "data")); code != bad || !strings.Contains(errs, "no right to use") {
		t.Errorf("%d %s", code, errs)
	}
}

func TestStoreInUse(t *testing.T) {
	data, _ := made(t)
	h, err := openHouse(t.Context(), plan{data: data, practice: []byte{0}})
	if err != nil {
		t.Fatal(err)
	}
	defer h.close()
	if code, _, errs := start(t, "", "play", "--data", data, "--practice", "00"); code != bad || !strings.Contains(errs, "in use by another process") {
		t.Errorf("%d %s", code, errs)
	}
}

func TestDemo(t *testing.T) {
	out := t.TempDir()
	code, said, errs := start(t, "", "demo", "--fast", "--out", out)
	if code != good || errs != "" {
		t.Fatalf("%d %s\n%s", code, errs, said)
	}
	for _, want := range []string{"Good: nothing is wrong.", "Try next:", "bot verify " + out} {
		if !strings.Contains(said, want) {
			t.Errorf("no %q in\n%s", want, said)
		}
	}
	for _, name := range []string{"*.jsonl", "*.checkpoint"} {
		if found, _ := filepath.Glob(filepath.Join(out, name)); len(found) == 0 {
			t.Errorf("no %s was left", name)
		}
	}
	if code, _, errs := start(t, "", "demo", "--fast", "--out", out); code != bad || !strings.Contains(errs, "holds a demo already") {
		t.Errorf("a second demo in one place: %d %s", code, errs)
	}
}

// Time that no entry could tell does not come: the clock stays, and dice go on.
func TestNoEndOfTime(t *testing.T) {
	code, out, errs := start(t, "ann: /roll 2d6\n"+strings.Repeat("! wait 87600h\n", 1000)+"ann: /roll 2d6\n", "play", "--practice", "00")
	if code != good || strings.Count(out, "Ann rolls 2d6") != 2 || !strings.Contains(out, "the year 9000") || strings.Contains(out, "went wrong") {
		t.Errorf("exit %d, %s\n%s", code, errs, out[max(0, len(out)-2000):])
	}
}
