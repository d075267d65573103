package layout

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/klauspost/compress/zstd"

	"drumhead/storage"
)

// Page is the part of a page that can be had without unpacking it.
type Page struct {
	Root   storage.Hash     // root of the subtree over its entries
	Prints [PageSize]uint64 // fingerprints of their sources
	packed []byte           // valid as long as the record it was read from
}

// maxUnpacked bounds what a page may become: entries of full length and the line ends between them.
const maxUnpacked = PageSize*(storage.MaxEntry+1) - 1

// Packer makes and unpacks pages; it may be used by many goroutines.
type Packer struct {
	in  *zstd.Encoder
	out *zstd.Decoder
}

// NewPacker prepares the compressor. It fails only if the options are not
// taken, which is a bug and panics.
func NewPacker() *Packer {
	in, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderCRC(false))
	if err != nil {
		panic(err)
	}
	out, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(maxUnpacked))
	if err != nil {
		panic(err)
	}
	return &Packer{in: in, out: out}
}

// Encode gives the record of a page of PageSize entries, none of which holds a
// line end.
func (p *Packer) Encode(key []byte, root storage.Hash, prints [PageSize]uint64, entries [][]byte) []byte {
	joined := bytes.Join(entries, []byte{'\n'})
	w := record(64 + 8*PageSize + len(joined)/3)
	w.u8(PageSize)
	w.raw(root[:])
	for _, f := range prints {
		w.u64(f)
	}
	w.b = p.in.EncodeAll(joined, w.b)
	return w.closed(Ledgers, key)
}

// DecodePage reads a page's root and fingerprints and checks the whole record.
func DecodePage(key, rec []byte) (Page, error) {
	_, r, err := opened(Ledgers, key, rec, Format)
	if err != nil {
		return Page{}, err
	}
	if n := r.u8(); n != PageSize {
		return Page{}, fmt.Errorf("it claims %d entries, a page has %d", n, PageSize)
	}
	page := Page{Root: r.hash()}
	for i := range page.Prints {
		page.Prints[i] = r.u64()
	}
	page.packed = r.b
	if r.short {
		return Page{}, errShort
	}
	return page, nil
}

// Unpack gives a page's entries; they were hashed to the page's root.
func (p *Packer) Unpack(page Page) ([][]byte, error) {
	joined, err := p.out.DecodeAll(page.packed, nil)
	if err != nil {
		return nil, fmt.Errorf("it does not unpack: %w", err)
	}
	entries := bytes.Split(joined, []byte{'\n'})
	if len(entries) != PageSize {
		return nil, fmt.Errorf("it holds %d entries, a page has %d", len(entries), PageSize)
	}
	var tree storage.Frontier
	for _, e := range entries {
		tree.Add(storage.LeafHash(e))
	}
	if tree.Root() != page.Root {
		return nil, errors.New("its entries do not hash to its root")
	}
	return entries, nil
}

// Clone is a page that outlives the record it was read from.
func (p Page) Clone() Page {
	p.packed = bytes.Clone(p.packed)
	return p
}

// Len is how many bytes the page has packed.
func (p Page) Len() int { return len(p.packed) }
