package storage

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"strconv"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
)

// merkleVectors are the figures of testdata/merkle.json, which names their
// source: RFC 6962 section 2.1 and the vectors of its reference code.
type merkleVectors struct {
	Hasher map[string]string `json:"hasher_vectors"`
	Leaves []string          `json:"leaves_hex"`
	Hashes []string          `json:"leaf_hashes"`
	Roots  map[string]string `json:"roots_by_size"`
}

func readMerkleVectors(t *testing.T) merkleVectors {
	t.Helper()
	var v merkleVectors
	b, err := os.ReadFile("testdata/merkle.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &v); err != nil {
		t.Fatal(err)
	}
	if len(v.Leaves) != 8 || len(v.Roots) != 8 || len(v.Hasher) != 6 {
		t.Fatalf("testdata/merkle.json lost figures: %d leaves, %d roots, %d hashes", len(v.Leaves), len(v.Roots), len(v.Hasher))
	}
	return v
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestLeafHashVectors(t *testing.T) {
	v := readMerkleVectors(t)
	for i, leaf := range v.Leaves {
		if got := LeafHash(unhex(t, leaf)); got.String() != v.Hashes[i] {
			t.Errorf("leaf %d: %v, want %s", i, got, v.Hashes[i])
		}
	}
	for name, entry := range map[string]string{
		"empty_leaf_hash": "", "leaf_L123456": "L123456",
		"leaf_hex_101112131415161718191a1b1c1d1e1f": "\x10\x11\x12\x13\x14\x15\x16\x17\x18\x19\x1a\x1b\x1c\x1d\x1e\x1f",
	} {
		if got := LeafHash([]byte(entry)); got.String() != v.Hasher[name] {
			t.Errorf("%s: %v, want %s", name, got, v.Hasher[name])
		}
	}
}

func TestNodeHashVector(t *testing.T) {
	var left, right Hash
	for i := range left {
		left[i], right[i] = byte(i), byte(0x20+i)
	}
	want := readMerkleVectors(t).Hasher["node_of_000102to1f_and_202122to3f"]
	if got := NodeHash(left, right); got.String() != want {
		t.Errorf("got %v, want %s", got, want)
	}
}

func TestFrontierRootVectors(t *testing.T) {
	v := readMerkleVectors(t)
	var f Frontier
	if got := f.Root().String(); got != v.Hasher["empty_root"] {
		t.Errorf("empty root: %s", got)
	}
	for i, leaf := range v.Leaves {
		f.Add(LeafHash(unhex(t, leaf)))
		if got := f.Root().String(); got != v.Roots[strconv.Itoa(i+1)] {
			t.Errorf("root of %d leaves: %s", i+1, got)
		}
	}
}

// storedHashes keeps what tlog wants kept, in tlog's own order.
type storedHashes []tlog.Hash

func (s storedHashes) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, at := range indexes {
		out[i] = s[at]
	}
	return out, nil
}

// The second way to one answer: golang.org/x/mod/sumdb/tlog, an independent
// implementation of RFC 6962.
func TestFrontierAgreesWithTlog(t *testing.T) {
	var f Frontier
	var stored storedHashes
	for n := range int64(1100) {
		entry := fmt.Appendf(nil, `{"seq":%d}`, n)
		more, err := tlog.StoredHashes(n, entry, stored)
		if err != nil {
			t.Fatal(err)
		}
		stored = append(stored, more...)
		f.Add(LeafHash(entry))
		want, err := tlog.TreeHash(n+1, stored)
		if err != nil {
			t.Fatal(err)
		}
		if f.Root() != Hash(want) || f.Size() != uint64(n+1) {
			t.Fatalf("%d leaves: root %v, want %v", n+1, f.Root(), want)
		}
	}
}

func TestFrontierGoesOnAfterStoring(t *testing.T) {
	var whole Frontier
	for i := range 77 {
		kept, err := FrontierOf(whole.Size(), whole.Nodes())
		if err != nil {
			t.Fatal(err)
		}
		leaf := LeafHash([]byte{byte(i)})
		kept.Add(leaf)
		twin := whole.Clone()
		twin.Add(Hash{}) // must not reach into the original
		whole.Add(leaf)
		if kept.Root() != whole.Root() {
			t.Fatalf("at %d the frontier put together again differs", i+1)
		}
	}
	if _, err := FrontierOf(3, make([]Hash, 1)); err == nil {
		t.Error("a frontier with a node too few was taken")
	}
}

func TestFrontierTakesSubtrees(t *testing.T) {
	var byLeaf, byTree Frontier
	for tree := range 9 {
		var part Frontier
		for i := range 32 {
			leaf := LeafHash([]byte{byte(tree), byte(i)})
			byLeaf.Add(leaf)
			part.Add(leaf)
		}
		if err := byTree.AddTree(5, part.Root()); err != nil {
			t.Fatal(err)
		}
		if byTree.Root() != byLeaf.Root() || byTree.Size() != byLeaf.Size() {
			t.Fatalf("after %d subtrees of 32 the roots differ", tree+1)
		}
	}
	byTree.Add(Hash{1})
	if err := byTree.AddTree(5, Hash{2}); err == nil {
		t.Error("a subtree that is not aligned was taken")
	}
}
