package storage

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"math/bits"
	"slices"
)

// LeafHash is the hash of one entry: SHA-256(0x00 || entry), RFC 6962 section 2.1.
func LeafHash(entry []byte) Hash {
	h := sha256.New()
	h.Write([]byte{0})
	h.Write(entry)
	var sum Hash
	h.Sum(sum[:0])
	return sum
}

// NodeHash joins two subtrees: SHA-256(0x01 || left || right), RFC 6962 section 2.1.
func NodeHash(left, right Hash) Hash {
	var b [1 + 2*len(left)]byte
	b[0] = 1
	copy(b[1:], left[:])
	copy(b[1+len(left):], right[:])
	return sha256.Sum256(b[:])
}

// EmptyRoot is the root of a ledger without entries: SHA-256 of nothing.
func EmptyRoot() Hash { return sha256.Sum256(nil) }

// Frontier is all of a Merkle tree that is needed to go on with it: the roots
// of its complete subtrees, the largest (and oldest) first, one for each bit
// that is set in its size. The zero value is the empty tree.
type Frontier struct {
	size  uint64
	nodes []Hash
}

// FrontierOf puts a frontier together again from its size and nodes. It errs
// if the number of nodes does not fit the size.
func FrontierOf(size uint64, nodes []Hash) (Frontier, error) {
	if want := bits.OnesCount64(size); len(nodes) != want {
		return Frontier{}, fmt.Errorf("frontier of %d leaves: %d nodes expected, got %d", size, want, len(nodes))
	}
	return Frontier{size: size, nodes: slices.Clone(nodes)}, nil
}

// Size is the number of leaves.
func (f Frontier) Size() uint64 { return f.size }

// Nodes are the roots of the complete subtrees, the largest first.
func (f Frontier) Nodes() []Hash { return slices.Clone(f.nodes) }

// Clone is a frontier that goes its own way from here.
func (f Frontier) Clone() Frontier { return Frontier{size: f.size, nodes: slices.Clone(f.nodes)} }

// Add appends one leaf hash. As in a binary counter, each pair of subtrees of
// one height becomes the next larger one.
func (f *Frontier) Add(leaf Hash) {
	f.nodes = append(f.nodes, leaf)
	f.merge(f.size)
	f.size++
}

// AddTree appends the root of a complete subtree of 2^level leaves. It errs if
// the leaves so far are no multiple of that: the subtree would not be aligned.
func (f *Frontier) AddTree(level uint, root Hash) error {
	if level > 63 || f.size&(1<<level-1) != 0 {
		return errors.New("frontier: a subtree must begin at a multiple of its size")
	}
	f.nodes = append(f.nodes, root)
	f.merge(f.size >> level)
	f.size += 1 << level
	return nil
}

// merge joins the newest subtrees, once for each low bit set in trees, the
// number of trees of the newest one's height before it came.
func (f *Frontier) merge(trees uint64) {
	for ; trees&1 == 1; trees >>= 1 {
		last := len(f.nodes) - 1
		f.nodes[last-1] = NodeHash(f.nodes[last-1], f.nodes[last])
		f.nodes = f.nodes[:last]
	}
}

// Root is the hash over all leaves, as in RFC 6962 section 2.1.
func (f Frontier) Root() Hash {
	if len(f.nodes) == 0 {
		return EmptyRoot()
	}
	root := f.nodes[len(f.nodes)-1]
	for i := len(f.nodes) - 2; i >= 0; i-- {
		root = NodeHash(f.nodes[i], root)
	}
	return root
}
