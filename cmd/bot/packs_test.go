package main

import (
	"bytes"
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"drumhead/engine/rules"
)

var tomlBox = regexp.MustCompile("(?s)```toml\n(.*?)```")

// guidePack is the pack of docs/packs.md: its boxes, one after the other.
func guidePack(t *testing.T) string {
	t.Helper()
	guide, err := os.ReadFile("../../docs/packs.md")
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, box := range tomlBox.FindAllStringSubmatch(string(guide), -1) {
		b.WriteString(box[1] + "\n")
	}
	return b.String()
}

var moreBox = regexp.MustCompile("(?s)```toml more\n(.*?)```")

// What the guide shows besides its example is well formed: it can be added to it.
// That nothing uses it is a warning and no fault.
func TestGuideMore(t *testing.T) {
	guide, err := os.ReadFile("../../docs/packs.md")
	if err != nil {
		t.Fatal(err)
	}
	boxes := moreBox.FindAllStringSubmatch(string(guide), -1)
	if len(boxes) < 4 {
		t.Fatalf("%d boxes", len(boxes))
	}
	text := guidePack(t)
	for _, box := range boxes {
		text += box[1] + "\n"
	}
	if _, err := rules.Load("more.toml", []byte(text)); err != nil {
		t.Error(err)
	}
}

// The example of the guide is a pack without a fault and without a warning, and
// the guide names every kind of effect.
func TestGuidePack(t *testing.T) {
	p, err := rules.Load("ford.toml", []byte(guidePack(t)))
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range p.Warnings {
		t.Errorf("line %d: %s%v", w.Line, w.Reason.ID, w.Reason.Args)
	}
	guide, err := os.ReadFile("../../docs/packs.md")
	if err != nil {
		t.Fatal(err)
	}
	var standing []string
	for _, k := range rules.StandingKeys {
		standing = append(standing, k.Key)
	}
	for _, set := range [][]string{rules.EffectKinds(), rules.FactKeys(), rules.Consequences, rules.Whos, rules.Untils, rules.Orders, rules.Shapes,
		rules.Rollers, rules.Owners, rules.Sums, rules.ChartsBy, rules.Comparisons, rules.Traits, rules.Arcs, rules.Terrains, rules.MayWhat,
		rules.MayNotWhat, rules.Ties, rules.Strikes, standing} {
		for _, word := range set {
			if !strings.Contains(string(guide), "`"+word+"`") {
				t.Errorf("the guide does not name %q", word)
			}
		}
	}
}

// fordEvening is a battle with the guide's pack, as the guide has it typed.
const fordEvening = `ann @dm: /force add
    Upper Village, 100 points
    6 Archers
    5 Mowers
bo @dm: /force add
    Lower Village, 100 points
    5 Archers
    5 Mowers
ann #green: /battle open Bo 100 Dry Way, 1 turns
bo #green: [Accept]
bo #green: /order
    move Mowers to Ford
    shoot Archers at Mowers, 12 in
    done
ann #green: /order
    shoot Archers at Mowers, 7 in, in cover
    charge Mowers at Mowers, 4 in
    done
bo #green: [Agree]
ann #green: [Agree]
`

// A pack of one's own is played from the folder of the data directory; its battle
// is exported and verified when the folder is gone, by what the ledger pinned.
func TestOwnPack(t *testing.T) {
	dir := t.TempDir()
	data, out := filepath.Join(dir, "data"), filepath.Join(dir, "out")
	script := filepath.Join(dir, "evening.txt")
	write(t, filepath.Join(data, packsDir, "ford.toml"), guidePack(t))
	write(t, script, fordEvening)
	code, said, errs := start(t, "", "play", "--data", data, "--practice", "2026", "--script", script)
	if code != good || !strings.Contains(said, "rules Ford 1") || !strings.Contains(said, "Dry Way is over") {
		t.Fatalf("%d: %s\n%s", code, errs, said)
	}
	if err := os.RemoveAll(filepath.Join(data, packsDir)); err != nil {
		t.Fatal(err)
	}
	if code, _, errs = start(t, "", "export", "--data", data, "--out", out); code != good {
		t.Fatal(errs)
	}
	p, _ := rules.Load("ford.toml", []byte(guidePack(t)))
	kept, err := os.ReadFile(filepath.Join(out, p.Hash+".toml"))
	if err != nil || string(kept) != guidePack(t) {
		t.Fatalf("the export has not the bytes of the pack: %v", err)
	}
	code, said, errs = start(t, "", "verify", filepath.Join(out, "green.jsonl"))
	if code != good {
		t.Fatalf("%d: %s%s", code, said, errs)
	}
	// With another byte in the pack the ledger does not hold.
	write(t, filepath.Join(out, p.Hash+".toml"), strings.Replace(guidePack(t), "grit = 6", "grit = 5", 1))
	if code, said, _ = start(t, "", "verify", filepath.Join(out, "green.jsonl")); code == good {
		t.Errorf("verified with another pack: %s", said)
	}
}

// The evenings of the other two games are exported and verified without the bot
// that played them.
func TestOtherGamesVerify(t *testing.T) {
	for script, ledger := range map[string]string{"brine": "flats", "column": "hill"} {
		dir := t.TempDir()
		data, out := filepath.Join(dir, "data"), filepath.Join(dir, "out")
		code, said, errs := start(t, "", "play", "--data", data, "--practice", "2026", "--script", filepath.Join(chats, script+".txt"))
		if code != good || !strings.Contains(said, "is over") {
			t.Fatalf("%s: %d: %s\n%s", script, code, errs, said)
		}
		if code, _, errs = start(t, "", "export", "--data", data, "--out", out); code != good {
			t.Fatal(errs)
		}
		if code, said, errs = start(t, "", "verify", filepath.Join(out, ledger+".jsonl")); code != good || !strings.Contains(said, "come out again, event by event") {
			t.Errorf("%s: %d: %s%s", script, code, said, errs)
		}
	}
}

// Packs that are not good, or that have the id of another, are left out and named
// in the log; the bot starts all the same.
func TestOwnPacksLeftOut(t *testing.T) {
	dir := directory{path: t.TempDir()}
	osier, _ := rules.Builtin("osier")
	good := guidePack(t)
	write(t, filepath.Join(dir.packs(), "a.toml"), good)
	write(t, filepath.Join(dir.packs(), "b.toml"), strings.Replace(good, "pace = ", "pase = ", 1))
	write(t, filepath.Join(dir.packs(), "c.toml"), string(osier))
	write(t, filepath.Join(dir.packs(), "d.toml"), good)
	write(t, filepath.Join(dir.packs(), "e.toml"), strings.Repeat("#", rules.MostBytes+1))
	write(t, filepath.Join(dir.packs(), "notes.txt"), "no pack")
	var told bytes.Buffer
	own := dir.ownPacks(slog.New(slog.NewTextHandler(&told, nil)))
	if len(own) != 1 || string(own[0]) != good {
		t.Errorf("%d packs are taken", len(own))
	}
	for _, name := range []string{"b.toml", "c.toml", "d.toml", "e.toml"} {
		if !strings.Contains(told.String(), name) {
			t.Errorf("%s is left out in silence:\n%s", name, &told)
		}
	}
	if _, err := openHouse(context.Background(), plan{data: dir.path, practice: seed(t), log: slog.New(slog.DiscardHandler)}); err != nil {
		t.Error(err)
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}
