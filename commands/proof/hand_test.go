package proof

import (
	"encoding/hex"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"drumhead/engine/dice"
	"drumhead/storage"
)

// tool finds a program, or skips the test: checking by hand needs it.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("%s is not installed, so nothing can be checked with it", name)
	}
	return path
}

// run gives what a program prints.
func run(t *testing.T, input []byte, program string, args ...string) string {
	t.Helper()
	cmd := exec.Command(program, args...)
	cmd.Stdin = strings.NewReader(string(input))
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", program, err, out)
	}
	return string(out)
}

func sha256sum(t *testing.T, program string, input []byte) string {
	return strings.Fields(run(t, input, program))[0]
}

// One roll of a fresh ledger, derived again with sha256sum and openssl alone:
// the key from the tip, the heads, and every face from the HMAC's bytes.
func TestRollByHand(t *testing.T) {
	sha, openssl := tool(t, "sha256sum"), tool(t, "openssl")
	table := newTable(t, 64)
	table.roll(2, 6)
	table.roll(40, 6)
	rec := table.roll(30, 20)

	x := unhex(t, rec.Key)
	for range rec.Draw {
		x = unhex(t, sha256sum(t, sha, x))
	}
	if hex.EncodeToString(x) != rec.Seal {
		t.Errorf("hashed %d times the key is %x, the tip %s", rec.Draw, x, rec.Seal)
	}
	before := append([]byte{0}, table.lines[rec.Seq-1]...)
	if got := sha256sum(t, sha, before); got != rec.Head.String() {
		t.Errorf("leaf of the entry before: %s, head %s", got, rec.Head)
	}
	var stream []byte
	for j := range 3 {
		message := "drumhead/dice/v1/" + rec.Ledger.String() + "/" + strconv.FormatUint(rec.Draw, 10) + "/" + rec.Cut + "/" + strconv.Itoa(j)
		out := run(t, []byte(message), openssl, "dgst", "-sha256", "-mac", "HMAC", "-macopt", "hexkey:"+rec.Key)
		stream = append(stream, unhex(t, out[strings.LastIndex(out, " ")+1:len(out)-1])...)
	}
	var faces []int
	for _, b := range stream {
		if b < 240 && len(faces) < 30 { // 240 = 256 - 256 mod 20
			faces = append(faces, int(b)%20+1)
		}
	}
	want := rec.Faces[0][1:]
	for i := range want {
		if i >= len(faces) || faces[i] != want[i] {
			t.Fatalf("faces by hand %v, in the entry %v", faces, want)
		}
	}
}

// A checkpoint of ours, checked by openssl (Ed25519, RFC 8032).
func TestCheckpointByHand(t *testing.T) {
	openssl := tool(t, "openssl")
	table := newTable(t, 64)
	table.roll(2, 6)
	signed := table.sign()
	dir := t.TempDir()
	_, _, public, err := storage.ParseVKey(table.vkey)
	if err != nil {
		t.Fatal(err)
	}
	text, signature, _ := strings.Cut(string(signed), "\n\n")
	raw := decode64(t, strings.Fields(signature)[2])
	files := map[string][]byte{
		"k.der": append(unhex(t, "302a300506032b6570032100"), public...), // the ASN.1 frame of an Ed25519 key, RFC 8410
		"m":     []byte(text + "\n"),
		"s":     raw[4:],
		"bad":   []byte(text + "x\n"),
	}
	for name, b := range files {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	verify := func(message string) error {
		cmd := exec.Command(openssl, "pkeyutl", "-verify", "-pubin", "-keyform", "DER", "-inkey", "k.der", "-rawin", "-in", message, "-sigfile", "s")
		cmd.Dir = dir
		return cmd.Run()
	}
	if err := verify("m"); err != nil {
		t.Errorf("openssl refuses the signature: %v", err)
	}
	if verify("bad") == nil {
		t.Error("openssl takes it for another text, too")
	}
}

// HEX of a word's cut, by sha256sum.
func TestWordByHand(t *testing.T) {
	sha := tool(t, "sha256sum")
	word, cut, err := CutWord(" the weir holds 4\n")
	if err != nil || cut != "word:"+sha256sum(t, sha, []byte(word)) {
		t.Errorf("%q, %s, %v", word, cut, err)
	}
}

var _ dice.Drawer = (*Draw)(nil)
