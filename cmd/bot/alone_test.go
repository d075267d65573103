package main

import (
	"crypto/sha256"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"drumhead/engine/dice"
	"drumhead/storage"
)

// alone has an exported ledger checked by the verifier that stands alone, if there
// is a python3 here.
func alone(t *testing.T, ledger string) {
	t.Helper()
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Log("python3 is not installed, so the verifier that stands alone was not asked")
		return
	}
	out, err := exec.Command(python, "-B", filepath.FromSlash("../../docs/verify.py"), ledger).CombinedOutput()
	if err != nil || !strings.HasPrefix(string(out), "good: ") {
		t.Errorf("docs/verify.py says of %s: %v\n%s", ledger, err, out)
	}
}

// byHand takes the commands out of docs/verify.md: every indented line under its
// headings from one to another.
func byHand(t *testing.T, from, to string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.FromSlash("../../docs/verify.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, page, ok := strings.Cut(string(b), "\n## "+from+"\n")
	page, _, found := strings.Cut(page, "\n## "+to+"\n")
	if !ok || !found {
		t.Fatalf("the page has no part from %q to %q", from, to)
	}
	var commands strings.Builder
	for line := range strings.Lines(page) {
		if strings.HasPrefix(line, "    ") {
			commands.WriteString(strings.TrimPrefix(line, "    "))
		}
	}
	return commands.String()
}

// TestByHand does what docs/verify.md tells a reader to do, on the demo's own
// ledger: the commands of the page itself, in a shell, with nothing of ours.
func TestByHand(t *testing.T) {
	for _, name := range []string{"bash", "openssl", "xxd", "sha256sum", "base64"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skipf("%s is not installed, so nothing can be checked by hand", name)
		}
	}
	dir := t.TempDir()
	if code, out, errs := start(t, "", "demo", "--fast", "--out", dir); code != good {
		t.Fatalf("%s%s", out, errs)
	}
	alone(t, filepath.Join(dir, "osier.jsonl"))
	script := "set -e; signature=00ff; word=herons\n" + byHand(t, "One roll by hand", "Two copies")
	cmd := exec.Command("bash", "-c", script)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	said := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(said) != 7 || said[0] != "the key belongs to the seal" || said[6] != "Signature Verified Successfully" {
		t.Fatalf("said\n%s", out)
	}
	if leaf, head := strings.Fields(said[4])[0], said[5]; leaf != head {
		t.Errorf("the line hashes to %s, the next has the head %s", leaf, head)
	}
	if want := fmt.Sprint(firstFaces(t, filepath.Join(dir, "osier.jsonl"), 9)); want != fmt.Sprint(readFaces(t, said[1])) {
		t.Errorf("by hand %v, in the entry %s", readFaces(t, said[1]), want)
	}
	// Source: the hashes of Go's library.
	for at, want := range map[int][]byte{2: {0x00, 0xff}, 3: []byte("herons")} {
		if got := strings.Fields(said[at])[0]; got != fmt.Sprintf("%x", sha256.Sum256(want)) {
			t.Errorf("by hand %q hashes to %s", want, got)
		}
	}
}

// firstDice is how many dice of six sides are read off by hand.
const firstDice = 8

// firstFaces are the first dice of six sides of an entry.
func firstFaces(t *testing.T, ledger string, seq int) []int {
	t.Helper()
	b, err := os.ReadFile(ledger)
	if err != nil {
		t.Fatal(err)
	}
	rec, err := storage.Parse([]byte(strings.Split(string(b), "\n")[seq]))
	if err != nil {
		t.Fatal(err)
	}
	if len(rec.Faces) == 0 || rec.Faces[0][0] != 6 || len(rec.Faces[0]) <= firstDice {
		t.Fatalf("#%d has faces %v", seq, rec.Faces)
	}
	return rec.Faces[0][1 : firstDice+1]
}

// readFaces reads dice of six sides off the bytes that openssl printed, as the page
// says.
func readFaces(t *testing.T, printed string) []int {
	t.Helper()
	hex := printed[strings.LastIndexByte(printed, ' ')+1:]
	var faces []int
	for i := 0; i+1 < len(hex) && len(faces) < firstDice; i += 2 {
		var b int
		if _, err := fmt.Sscanf(hex[i:i+2], "%02x", &b); err != nil {
			t.Fatalf("%q: %v", printed, err)
		}
		if b < 252 {
			faces = append(faces, b%6+1)
		}
	}
	return faces
}

// TestStream: as many bytes as asked for, the same for the same word, and they are
// the dice that the protocol gives: dice of 256 sides of the seal's first keys.
func TestStream(t *testing.T) {
	code, out, errs := start(t, "", "stream", "--bytes", "25000")
	if code != good || len(out) != 25000 {
		t.Fatalf("code %d, %d bytes, %s", code, len(out), errs)
	}
	if _, again, _ := start(t, "", "stream", "--bytes", "25000"); again != out {
		t.Error("the same word gives other bytes")
	}
	if _, other, _ := start(t, "", "stream", "--bytes", "25000", "--seed", "withy"); other == out {
		t.Error("another word gives the same bytes")
	}
	chain, err := dice.NewChain(sha256.Sum256([]byte("osier/0")), sealLength)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []int{0, 9_999, 10_000, 24_999} {
		s := dice.NewStream("practiceaaaaaaaaaaaaaaaaaa", uint64(at/10_000+1), "none", chain.Key(at/10_000+1))
		s.Seek(uint64(at % 10_000))
		if want := s.Draw(256) - 1; int(out[at]) != want {
			t.Errorf("byte %d is %d, want %d", at, out[at], want)
		}
	}
}
