// Package ledgers is what every backend does with one transaction over its
// tables: test a batch, write it, find things again, check that all is whole.
// A backend brings the transaction (see Tx), durability, and its own order of
// writers; so two backends give the same answers because they ask here.
package ledgers

import (
	"crypto/rand"
	"fmt"
	"io"
	"time"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// Options are what a store is told by the program. The zero value will do.
type Options struct {
	Now     func() time.Time // the clock; time.Now if nil
	Key     []byte           // seals secrets, 32 bytes; nil leaves them in clear
	OldKeys [][]byte         // keys that sealed secrets before
	Random  io.Reader        // random bytes; those of the system if nil
	Print   layout.Print     // fingerprint of a source; layout.Fingerprint if nil
}

// Keeper knows how ledgers are kept; it holds nothing that is not in the
// tables. One goroutine at a time may write with it, any number may read.
type Keeper struct {
	now     func() time.Time
	random  io.Reader
	vault   *layout.Vault
	packer  *layout.Packer
	print   layout.Print
	sources sources
}

// New makes a keeper. It errs on a key of the wrong length.
func New(o Options) (*Keeper, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Random == nil {
		o.Random = rand.Reader
	}
	if o.Print == nil {
		o.Print = layout.Fingerprint
	}
	vault, err := layout.NewVault(o.Key, o.OldKeys, o.Random)
	if err != nil {
		return nil, err
	}
	return &Keeper{now: o.Now, random: o.Random, vault: vault, packer: layout.NewPacker(), print: o.Print}, nil
}

// Now is the store's clock.
func (k *Keeper) Now() time.Time { return k.now() }

// Fill fills b with random bytes.
func (k *Keeper) Fill(b []byte) error {
	_, err := io.ReadFull(k.random, b)
	return err
}

// Forget drops what is remembered of uncommitted pages, after a commit failed.
func (k *Keeper) Forget() { k.sources.forget() }

func invalid(format string, args ...any) error {
	return fmt.Errorf("%w: %s", storage.ErrInvalid, fmt.Sprintf(format, args...))
}

// expired tells whether a post stored at since (microseconds) is older than
// storage.KeepPosts.
func (k *Keeper) expired(since uint64) bool {
	return k.now().Sub(layout.TimeOfMicros(since)) > storage.KeepPosts
}
