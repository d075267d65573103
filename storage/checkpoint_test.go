package storage

import (
	"bytes"
	"crypto/ed25519"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
)

//go:embed testdata/notes.json
var notesJSON []byte

type noteVectors struct {
	Ed25519 []struct {
		Test      string `json:"test"`
		Secret    string `json:"secret_key"`
		Public    string `json:"public_key"`
		Message   string `json:"message_hex"`
		Signature string `json:"signature"`
	} `json:"ed25519"`
	Notes []struct {
		Label      string `json:"label"`
		Note       string `json:"note"`
		Text       string `json:"text_bytes_hex"`
		Signatures []struct {
			VKey string `json:"verified_with_vkey"`
		} `json:"signatures"`
	} `json:"notes"`
}

// RFC 8032 section 7.1: the signature that a checkpoint carries.
func TestSignature(t *testing.T) {
	var v noteVectors
	if err := json.Unmarshal(notesJSON, &v); err != nil {
		t.Fatal(err)
	}
	if len(v.Ed25519) != 4 {
		t.Fatalf("%d vectors", len(v.Ed25519))
	}
	for _, c := range v.Ed25519 {
		key := ed25519.NewKeyFromSeed(hexBytes(t, c.Secret))
		if got := hex.EncodeToString(key.Public().(ed25519.PublicKey)); got != c.Public {
			t.Errorf("%s: public key %s, want %s", c.Test, got, c.Public)
		}
		s := &signer{key: key}
		if got, err := s.Sign(hexBytes(t, c.Message)); err != nil || hex.EncodeToString(got) != c.Signature {
			t.Errorf("%s: %x, %v", c.Test, got, err)
		}
	}
}

// The example of C2SP signed-note opens with the library that we use.
func TestNoteExample(t *testing.T) {
	var v noteVectors
	if err := json.Unmarshal(notesJSON, &v); err != nil {
		t.Fatal(err)
	}
	verifier, err := note.NewVerifier(v.Notes[0].Signatures[0].VKey)
	if err != nil {
		t.Fatal(err)
	}
	n, err := note.Open([]byte(v.Notes[0].Note), note.VerifierList(verifier))
	if err != nil || n.Text != string(hexBytes(t, v.Notes[0].Text)) {
		t.Errorf("%+v, %v", n, err)
	}
	// C2SP tlog-checkpoint, introduction: of the three lines that we read; the origin's last part is no ledger.
	text := string(hexBytes(t, v.Notes[1].Text))
	if _, err := parseCheckpoint(text); err == nil || !strings.Contains(err.Error(), "ledger id") {
		t.Errorf("%q: %v", text, err)
	}
	if c, err := parseCheckpoint(strings.Replace(text, "behind-the-sofa", "txhm4tipfgw62v56fpyqwsnza4", 1)); err != nil || c.Size != 20852163 || c.Name != "example.com" {
		t.Errorf("%+v, %v", c, err)
	}
}

func hexBytes(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func checkpoint(t testing.TB) (Checkpoint, ed25519.PrivateKey, entryVectors) {
	v := vectors(t)
	key := ed25519.NewKeyFromSeed(hexBytes(t, v.TestKey.Seed))
	name, id, err := splitOrigin(v.TestKey.Origin)
	if err != nil {
		t.Fatal(err)
	}
	return Checkpoint{Name: name, Ledger: id, Size: 42, Root: Hash(hexBytes(t, v.Root))}, key, v
}

// The published checkpoint of the published ledger, signed and opened.
func TestCheckpoint(t *testing.T) {
	c, key, v := checkpoint(t)
	if vkey, err := VKey(c.Name, c.Ledger, key.Public().(ed25519.PublicKey)); err != nil || vkey != v.TestKey.VKey {
		t.Errorf("vkey %s, %v, want %s", vkey, err, v.TestKey.VKey)
	}
	if name, id, public, err := ParseVKey(v.TestKey.VKey); err != nil || name != c.Name || id != c.Ledger || hex.EncodeToString(public) != v.TestKey.Public {
		t.Errorf("vkey read as %s, %s, %x, %v", name, id, public, err)
	}
	signed, err := c.Sign(key)
	if err != nil || string(signed) != v.Checkpoint {
		t.Fatalf("%v\n%s\n%s", err, signed, v.Checkpoint)
	}
	if got, who, err := OpenCheckpoint(signed, v.TestKey.VKey); err != nil || got != c || len(who) != 0 {
		t.Errorf("%+v %v %v", got, who, err)
	}
	if _, err := (Checkpoint{Name: "a b"}).Sign(key); err == nil {
		t.Error("signed under a name with a blank")
	}
}

// Any byte of a checkpoint changed is refused.
func TestCheckpointEveryByte(t *testing.T) {
	_, _, v := checkpoint(t)
	for i := range len(v.Checkpoint) {
		for bit := range 8 {
			b := []byte(v.Checkpoint)
			b[i] ^= 1 << bit
			if c, _, err := OpenCheckpoint(b, v.TestKey.VKey); err == nil {
				t.Fatalf("byte %d, bit %d: opened as %+v", i, bit, c)
			}
		}
		if _, _, err := OpenCheckpoint([]byte(v.Checkpoint[:i]+v.Checkpoint[i+1:]), v.TestKey.VKey); err == nil && v.Checkpoint[i] != '\n' {
			t.Fatalf("byte %d left out: opened", i)
		}
	}
}

func TestCosigners(t *testing.T) {
	c, key, v := checkpoint(t)
	other := ed25519.NewKeyFromSeed(make([]byte, 32))
	vkey, err := note.NewEd25519VerifierKey("witness.example", other.Public().(ed25519.PublicKey))
	if err != nil {
		t.Fatal(err)
	}
	verifier, err := note.NewVerifier(vkey)
	if err != nil {
		t.Fatal(err)
	}
	witness := &signer{name: "witness.example", id: verifier.KeyHash(), key: other}
	own, err := note.NewVerifier(v.TestKey.VKey)
	if err != nil {
		t.Fatal(err)
	}
	both, err := note.Sign(&note.Note{Text: c.text()}, witness, &signer{name: own.Name(), id: own.KeyHash(), key: key})
	if err != nil {
		t.Fatal(err)
	}
	if _, who, err := OpenCheckpoint(both, v.TestKey.VKey); err != nil || len(who) != 0 {
		t.Errorf("passed over: %v, %v", who, err)
	}
	if _, who, err := OpenCheckpoint(both, v.TestKey.VKey, vkey); err != nil || len(who) != 1 || who[0] != "witness.example" {
		t.Errorf("its key given: %v, %v", who, err)
	}
	alone, err := note.Sign(&note.Note{Text: c.text()}, witness)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := OpenCheckpoint(alone, v.TestKey.VKey, vkey); err == nil {
		t.Error("opened without the bot's signature")
	}
	witness.key = key // a bad signature by a key that is given
	bad, err := note.Sign(&note.Note{Text: c.text()}, witness, &signer{name: own.Name(), id: own.KeyHash(), key: key})
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := OpenCheckpoint(bad, v.TestKey.VKey, vkey); err == nil {
		t.Error("opened with a bad signature of a known key")
	}
}

func FuzzOpenCheckpoint(f *testing.F) {
	c, key, v := checkpoint(f)
	signed, err := c.Sign(key)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(signed)
	f.Add([]byte(v.Checkpoint + "\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		got, _, err := OpenCheckpoint(b, v.TestKey.VKey)
		if err == nil && got.text() != string(b[:len(got.text())]) {
			t.Fatalf("%q opened as %+v", b, got)
		}
	})
}

// A verifier key is NAME+ID+BASE64, and the base64 may hold a plus sign itself:
// every key must be read back, not only those without one.
func TestVKeysWithPlus(t *testing.T) {
	plus := 0
	for i := range 200 {
		public := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{byte(i)}, 32)).Public().(ed25519.PublicKey)
		vkey, err := VKey("drumhead.local", LedgerID{1}, public)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Count(vkey, "+") > 2 {
			plus++
		}
		_, _, again, err := ParseVKey(vkey)
		if err != nil || !again.Equal(public) {
			t.Errorf("%s: %v", vkey, err)
		}
	}
	if plus == 0 {
		t.Error("none of the keys has a plus sign: the test says nothing")
	}
}
