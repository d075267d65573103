package layout

import (
	"errors"
	"math/bits"

	"drumhead/storage"
)

// PageSize is how many entries are packed into one page, and PageLevel the
// height of their subtree.
const (
	PageSize  = 32
	PageLevel = 5
)

// Packed is how many of a ledger's entries lie in pages.
func Packed(size uint64) uint64 { return size &^ (PageSize - 1) }

// Head is all that is needed to append to a ledger.
type Head struct {
	Size     uint64
	Last     storage.Hash   // leaf hash of the newest entry
	Root     storage.Hash   // root of the whole ledger
	Frontier []storage.Hash // roots of the complete subtrees, the largest first
	Prints   []uint64       // fingerprints of the sources of the tail
	About    storage.About
}

// EncodeHead gives the record for a head that is not empty.
func EncodeHead(key []byte, h Head) []byte {
	w := record(128 + 32*len(h.Frontier) + 8*len(h.Prints) + len(h.About.Community) + len(h.About.Place))
	w.u64(h.Size)
	w.raw(h.Last[:])
	w.raw(h.Root[:])
	for _, n := range h.Frontier {
		w.raw(n[:])
	}
	for _, p := range h.Prints {
		w.u64(p)
	}
	w.name(h.About.Community)
	w.name(h.About.Place)
	w.raw(h.About.Salt)
	return w.closed(Ledgers, key)
}

// SaltLen is the length of every salt.
const SaltLen = 16

// DecodeHead reads a head and checks that its frontier gives its root.
func DecodeHead(key, rec []byte) (Head, error) {
	_, r, err := opened(Ledgers, key, rec, Format)
	if err != nil {
		return Head{}, err
	}
	h := Head{Size: r.u64(), Last: r.hash(), Root: r.hash()}
	for range bits.OnesCount64(h.Size) {
		h.Frontier = append(h.Frontier, r.hash())
	}
	for range h.Size % PageSize {
		h.Prints = append(h.Prints, r.u64())
	}
	h.About = storage.About{Community: r.name(), Place: r.name(), Salt: append([]byte{}, r.take(SaltLen)...)}
	if err := r.end(); err != nil {
		return Head{}, err
	}
	f, err := storage.FrontierOf(h.Size, h.Frontier)
	if err != nil {
		return Head{}, err
	}
	if f.Root() != h.Root {
		return Head{}, errors.New("its frontier does not give its root")
	}
	return h, nil
}
