package commands

import (
	"context"
	"crypto/ed25519"
	"encoding/json"
	"fmt"
	"strings"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// shelfFiles keeps pack and campaign files that entries pin, by SHA-256 in hex.
const shelfFiles = "files"

// public is the key that checkpoints are checked with.
func (d *Desk) public() ed25519.PublicKey { return d.key.Public().(ed25519.PublicKey) }

// file finds a pinned file; it is the Files of every game of this desk.
func (d *Desk) file(hash string) ([]byte, bool) {
	b, err := d.store.Shelf(shelfFiles).Get(context.Background(), hash)
	return b, err == nil
}

// Make writes the file or draws the picture of a recipe. Entries never change,
// so made again it is the same bytes.
func (d *Desk) Make(ctx context.Context, r chat.Recipe) ([]byte, error) {
	make, ok := makers[r.Kind]
	if !ok {
		return nil, fmt.Errorf("commands: no recipe is called %q", r.Kind)
	}
	return make(ctx, d, r)
}

// makeEntries writes entries First to Last, one a line.
func makeEntries(ctx context.Context, d *Desk, r chat.Recipe) ([]byte, error) {
	l, err := storage.ParseLedgerID(r.Ledger)
	if err != nil {
		return nil, err
	}
	var out []byte
	for e, err := range d.store.Read(ctx, l, uint64(r.First), uint64(r.Last)+1) {
		if err != nil {
			return nil, err
		}
		out = append(append(out, e.Bytes...), '\n')
	}
	return out, nil
}

// makeCheckpoint signs the ledger as it stood at size Last.
func makeCheckpoint(ctx context.Context, d *Desk, r chat.Recipe) ([]byte, error) {
	l, err := storage.ParseLedgerID(r.Ledger)
	if err != nil {
		return nil, err
	}
	return d.Checkpoint(ctx, l, uint64(r.Last))
}

// Checkpoint signs a ledger as it stood when it had size entries.
func (d *Desk) Checkpoint(ctx context.Context, l storage.LedgerID, size uint64) ([]byte, error) {
	var tree storage.Frontier
	for e, err := range d.store.Read(ctx, l, 0, size) {
		if err != nil {
			return nil, err
		}
		tree.Add(storage.LeafHash(e.Bytes))
	}
	if tree.Size() != size {
		return nil, fmt.Errorf("commands: ledger %s has no %d entries", l, size)
	}
	return storage.Checkpoint{Name: d.name, Ledger: l, Size: size, Root: tree.Root()}.Sign(d.key)
}

// fileName turns a place into the beginning of a file's name: letters, digits
// and hyphens of its last part.
func fileName(p chat.Place) string {
	s := string(p)
	if i := strings.LastIndexAny(s, ":#/@"); i >= 0 {
		s = s[i+1:]
	}
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' {
			b.WriteRune(r)
		}
	}
	if b.Len() == 0 {
		return "here"
	}
	return b.String()
}

// encodePost writes a post as it is stored: with its lines as they will be read,
// and without an id, because the store numbers it.
func encodePost(p chat.Post) ([]byte, error) {
	p.ID = ""
	p.Lines = chat.Fold(p.Lines)
	return json.Marshal(p)
}
