package layout

import (
	"crypto/cipher"
	"errors"
	"fmt"
	"io"

	"golang.org/x/crypto/chacha20poly1305"
)

// KeyLen is the length of a key for secrets.
const KeyLen = chacha20poly1305.KeySize

// The two formats of a secret.
const (
	secretClear  = 1
	secretSealed = 2
)

// Vault seals secrets with a key (XChaCha20-Poly1305, RFC 8439 with a nonce of
// 24 bytes, and the record's key as additional data), or leaves them in clear
// if it has none. Secrets that an older key sealed still open.
type Vault struct {
	keys   []cipher.AEAD // the first seals, all open
	random io.Reader
}

// NewVault takes the key for new secrets (nil: none), keys that were used
// before, and a source of random bytes.
func NewVault(key []byte, old [][]byte, random io.Reader) (*Vault, error) {
	if key == nil && len(old) > 0 {
		return nil, errors.New("old keys for secrets were given, but no new one")
	}
	v := &Vault{random: random}
	if key == nil {
		return v, nil
	}
	for _, k := range append([][]byte{key}, old...) {
		aead, err := chacha20poly1305.NewX(k)
		if err != nil {
			return nil, fmt.Errorf("a key for secrets has %d bytes, %d expected (head -c 32 /dev/urandom makes one)", len(k), KeyLen)
		}
		v.keys = append(v.keys, aead)
	}
	return v, nil
}

// bound is what a sealed secret is tied to: its place in the store.
func bound(key []byte) []byte { return append([]byte{byte(Ledgers)}, key...) }

// Seal gives the record of a secret. It errs only if there are no random bytes.
func (v *Vault) Seal(key, secret []byte) ([]byte, error) {
	if len(v.keys) == 0 {
		return bare(Ledgers, key, secret), nil
	}
	nonce := make([]byte, chacha20poly1305.NonceSizeX)
	if _, err := io.ReadFull(v.random, nonce); err != nil {
		return nil, fmt.Errorf("no random bytes to seal a secret: %w", err)
	}
	w := &writer{b: []byte{secretSealed}}
	w.raw(nonce)
	w.b = v.keys[0].Seal(w.b, nonce, secret, bound(key))
	return w.closed(Ledgers, key), nil
}

// Open gives a secret in clear.
func (v *Vault) Open(key, rec []byte) ([]byte, error) {
	format, r, err := opened(Ledgers, key, rec, secretSealed)
	if err != nil {
		return nil, err
	}
	if format == secretClear {
		return r.rest(), nil
	}
	if len(v.keys) == 0 {
		return nil, errors.New("it is sealed, and no key for secrets is set")
	}
	nonce, sealed := r.take(chacha20poly1305.NonceSizeX), r.b
	if r.short {
		return nil, errShort
	}
	for _, aead := range v.keys {
		if secret, err := aead.Open(nil, nonce, sealed, bound(key)); err == nil {
			return secret, nil
		}
	}
	return nil, errors.New("it does not open: the key for secrets is another one, or the secret belongs to another ledger")
}
