package proof

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"drumhead/storage"

	"golang.org/x/mod/sumdb/tlog"
)

// proofHeader opens a proof file (C2SP tlog-proof, version 1).
const proofHeader = "c2sp.org/tlog-proof@v1"

// ErrProof is wrapped by every error about a proof file.
var ErrProof = errors.New("not a good proof")

// Inclusion is what a proof file shows: one entry of a ledger, and that it
// stands under a signed checkpoint.
type Inclusion struct {
	Entry      []byte // the entry's line
	Index      uint64 // its seq
	Checkpoint storage.Checkpoint
}

// tree gives the hashes of a whole ledger to package tlog.
type tree struct{ hashes []tlog.Hash }

func newTree(lines [][]byte) (*tree, error) {
	t := &tree{hashes: make([]tlog.Hash, 0, 2*len(lines))}
	for i, line := range lines {
		more, err := tlog.StoredHashes(int64(i), line, t)
		if err != nil {
			return nil, err
		}
		t.hashes = append(t.hashes, more...)
	}
	return t, nil
}

// ReadHashes is the tlog.HashReader of the tree.
func (t *tree) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	list := make([]tlog.Hash, len(indexes))
	for i, at := range indexes {
		if at < 0 || at >= int64(len(t.hashes)) {
			return nil, fmt.Errorf("hash %d of %d asked for", at, len(t.hashes))
		}
		list[i] = t.hashes[at]
	}
	return list, nil
}

// ProofFile makes the proof file of one entry of a ledger: its line, its index,
// the path to the root, and the signed checkpoint of the first `size` entries.
func ProofFile(lines [][]byte, seq, size uint64, signed []byte) ([]byte, error) {
	if seq >= size || size > uint64(len(lines)) {
		return nil, fmt.Errorf("%w: entry %d under a checkpoint of %d, with %d entries", ErrProof, seq, size, len(lines))
	}
	t, err := newTree(lines[:size])
	if err != nil {
		return nil, err
	}
	path, err := tlog.ProveRecord(int64(size), int64(seq), t)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\nextra %s\nindex %d\n", proofHeader, base64.StdEncoding.EncodeToString(lines[seq]), seq)
	for _, h := range path {
		b.WriteString(base64.StdEncoding.EncodeToString(h[:]) + "\n")
	}
	b.WriteString("\n")
	b.Write(signed)
	return b.Bytes(), nil
}

// OpenProof checks a proof file against a ledger's verifier key: the entry
// stands at its index under the signed checkpoint. The key is from elsewhere,
// such as the first entry of the ledger. Only one spelling is taken.
func OpenProof(file []byte, vkey string) (Inclusion, error) {
	in, err := openProof(string(file), vkey)
	if err != nil {
		return Inclusion{}, fmt.Errorf("%w: %w", ErrProof, err)
	}
	return in, nil
}

func openProof(file, vkey string) (in Inclusion, err error) {
	head, signed, ok := strings.Cut(file, "\n\n")
	lines := strings.Split(head, "\n")
	if !ok || len(lines) < 3 || lines[0] != proofHeader {
		return in, errors.New(proofHeader + ", extra, index, hashes, an empty line and a checkpoint expected")
	}
	extra, isExtra := strings.CutPrefix(lines[1], "extra ")
	index, isIndex := strings.CutPrefix(lines[2], "index ")
	in.Entry, err = strictBase64(extra)
	if err != nil || !isExtra {
		return in, errors.New("an entry in base64 expected in the line extra")
	}
	in.Index, err = strconv.ParseUint(index, 10, 63)
	if err != nil || !isIndex || strconv.FormatUint(in.Index, 10) != index {
		return in, errors.New("a number expected in the line index")
	}
	if in.Checkpoint, _, err = storage.OpenCheckpoint([]byte(signed), vkey); err != nil {
		return in, err
	}
	var path tlog.RecordProof
	for _, line := range lines[3:] {
		raw, err := strictBase64(line)
		if err != nil || len(raw) != tlog.HashSize {
			return in, errors.New("32 bytes in base64 expected in each line of the path")
		}
		path = append(path, tlog.Hash(raw))
	}
	return in, in.check(path)
}

// check sees that the entry is what the file says it is, and under the root.
func (in Inclusion) check(path tlog.RecordProof) error {
	rec, err := storage.Parse(in.Entry)
	if err != nil {
		return err
	}
	if rec.Seq != in.Index || rec.Ledger != in.Checkpoint.Ledger {
		return fmt.Errorf("entry %d of ledger %s under index %d of %s", rec.Seq, rec.Ledger, in.Index, in.Checkpoint.Ledger)
	}
	if in.Index >= in.Checkpoint.Size || in.Checkpoint.Size > 1<<62 {
		return fmt.Errorf("index %d under a checkpoint of %d", in.Index, in.Checkpoint.Size)
	}
	return tlog.CheckRecord(path, int64(in.Checkpoint.Size), tlog.Hash(in.Checkpoint.Root), int64(in.Index), tlog.RecordHash(in.Entry))
}

// strictBase64 reads the one spelling of some bytes.
func strictBase64(s string) ([]byte, error) {
	raw, err := base64.StdEncoding.DecodeString(s)
	if err == nil && base64.StdEncoding.EncodeToString(raw) != s {
		err = errors.New("another spelling than the one")
	}
	return raw, err
}
