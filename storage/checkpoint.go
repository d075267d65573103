package storage

import (
	"crypto/ed25519"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// PracticeName begins the name of whoever signs practice ledgers.
const PracticeName = "practice."

// Checkpoint says what a ledger had come to: its size and the root over its
// entries (C2SP tlog-checkpoint, without extension lines).
type Checkpoint struct {
	Name   string // who signs: the bot's name; its origin line is NAME/LEDGER
	Ledger LedgerID
	Size   uint64
	Root   Hash
}

// Origin is the first line of a checkpoint, and the name of the key that signs it.
func Origin(name string, l LedgerID) string { return name + "/" + l.String() }

// splitOrigin is Origin backwards.
func splitOrigin(origin string) (name string, l LedgerID, err error) {
	at := strings.LastIndexByte(origin, '/')
	if at < 1 || !isSigner(origin[:at]) {
		return "", l, fmt.Errorf("checkpoint: origin %.80q: NAME/LEDGER expected", origin)
	}
	l, err = ParseLedgerID(origin[at+1:])
	return origin[:at], l, err
}

// isSigner tells whether a name can stand in a verifier key and an entry.
func isSigner(name string) bool {
	for i := range len(name) {
		if c := name[i]; c <= ' ' || c > '~' || c == '+' || c == '"' || c == '\\' {
			return false
		}
	}
	return name != ""
}

// VKey is the verifier key of a ledger (C2SP signed-note): NAME/LEDGER, the
// key's id and the public key. One bot has one for each ledger, all with the
// same 32 bytes. name has neither blank nor plus sign.
func VKey(name string, l LedgerID, public ed25519.PublicKey) (string, error) {
	if !isSigner(name) {
		return "", fmt.Errorf("checkpoint: name %q: printable ASCII without blank, plus sign, quote or backslash expected", name)
	}
	return note.NewEd25519VerifierKey(Origin(name, l), public)
}

// ParseVKey reads the spelling of VKey, and no other.
func ParseVKey(vkey string) (name string, l LedgerID, public ed25519.PublicKey, err error) {
	v, err := note.NewVerifier(vkey)
	if err != nil {
		return "", l, nil, fmt.Errorf("verifier key %.120q: %w", vkey, err)
	}
	if name, l, err = splitOrigin(v.Name()); err != nil {
		return "", l, nil, err
	}
	parts := strings.SplitN(vkey, "+", 3) // base64 may hold a '+' of its own
	raw, err := base64.StdEncoding.DecodeString(parts[len(parts)-1])
	if err != nil || len(raw) != 1+ed25519.PublicKeySize {
		return "", l, nil, fmt.Errorf("verifier key %.120q: 32 bytes of an Ed25519 key expected", vkey)
	}
	public = raw[1:]
	if again, err := VKey(name, l, public); err != nil || again != vkey {
		return "", l, nil, fmt.Errorf("verifier key %.120q: another spelling than the one", vkey)
	}
	return name, l, public, nil
}

// signer signs notes with the bot's key under a ledger's name.
type signer struct {
	name string
	id   uint32
	key  ed25519.PrivateKey
}

func (s *signer) Name() string                     { return s.name }
func (s *signer) KeyHash() uint32                  { return s.id }
func (s *signer) Sign(text []byte) ([]byte, error) { return ed25519.Sign(s.key, text), nil }

// text is what is signed.
func (c Checkpoint) text() string {
	return Origin(c.Name, c.Ledger) + "\n" + strconv.FormatUint(c.Size, 10) + "\n" +
		base64.StdEncoding.EncodeToString(c.Root[:]) + "\n"
}

// Sign makes the signed note of a checkpoint (C2SP signed-note, RFC 8032).
func (c Checkpoint) Sign(key ed25519.PrivateKey) ([]byte, error) {
	vkey, err := VKey(c.Name, c.Ledger, key.Public().(ed25519.PublicKey))
	if err != nil {
		return nil, err
	}
	parts := strings.Split(vkey, "+")
	id, err := hex.DecodeString(parts[1])
	if err != nil {
		return nil, err
	}
	s := &signer{name: parts[0], id: binary.BigEndian.Uint32(id), key: key}
	return note.Sign(&note.Note{Text: c.text()}, s)
}

// ErrCheckpoint is wrapped by every error about a checkpoint that is read.
var ErrCheckpoint = errors.New("not a good checkpoint")

// OpenCheckpoint reads a signed checkpoint. The note must carry a good
// signature by vkey. Signatures by others are passed over unless their keys are
// among more; then they must be good, and their names are returned.
func OpenCheckpoint(signed []byte, vkey string, more ...string) (Checkpoint, []string, error) {
	c, cosigners, err := openCheckpoint(signed, vkey, more)
	if err != nil {
		return Checkpoint{}, nil, fmt.Errorf("%w: %w", ErrCheckpoint, err)
	}
	return c, cosigners, nil
}

func openCheckpoint(signed []byte, vkey string, more []string) (c Checkpoint, cosigners []string, err error) {
	own, err := note.NewVerifier(vkey)
	if err != nil {
		return c, nil, err
	}
	known := []note.Verifier{own}
	for _, key := range more {
		if key == vkey {
			continue
		}
		v, err := note.NewVerifier(key)
		if err != nil {
			return c, nil, fmt.Errorf("key %.80q: %w", key, err)
		}
		known = append(known, v)
	}
	n, err := note.Open(signed, note.VerifierList(known...))
	if err != nil {
		return c, nil, err
	}
	if c, err = parseCheckpoint(n.Text); err != nil {
		return c, nil, err
	}
	ours := false
	for _, s := range n.Sigs {
		if s.Name == own.Name() && s.Hash == own.KeyHash() {
			ours = true
		} else {
			cosigners = append(cosigners, s.Name)
		}
	}
	switch {
	case !ours || Origin(c.Name, c.Ledger) != own.Name():
		return c, nil, fmt.Errorf("no signature by %s", own.Name())
	case !wellSpelled(n):
		return c, nil, errors.New("the signatures are spelled in another way than the one")
	}
	return c, cosigners, nil
}

// wellSpelled tells whether every signature is spelled in the one way. Decoders
// of base64 pass over stray bits and line ends; a checkpoint may have none.
func wellSpelled(n *note.Note) bool {
	for _, sigs := range [][]note.Signature{n.Sigs, n.UnverifiedSigs} {
		for _, s := range sigs {
			raw, err := base64.StdEncoding.DecodeString(s.Base64)
			if err != nil || base64.StdEncoding.EncodeToString(raw) != s.Base64 {
				return false
			}
		}
	}
	return true
}

// parseCheckpoint reads the text of Checkpoint.text, and no other.
func parseCheckpoint(text string) (c Checkpoint, err error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 4 {
		return c, errors.New("three lines expected: NAME/LEDGER, size, root")
	}
	if c.Name, c.Ledger, err = splitOrigin(lines[0]); err != nil {
		return c, err
	}
	if c.Size, err = strconv.ParseUint(lines[1], 10, 63); err != nil {
		return c, fmt.Errorf("size %.20q: a number expected", lines[1])
	}
	root, err := base64.StdEncoding.DecodeString(lines[2])
	if err != nil || len(root) != len(c.Root) {
		return c, fmt.Errorf("root %.50q: 32 bytes in base64 expected", lines[2])
	}
	copy(c.Root[:], root)
	if c.text() != text {
		return c, errors.New("another spelling than the one")
	}
	return c, nil
}
