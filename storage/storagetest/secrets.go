package storagetest

import (
	"bytes"
	"errors"
	"strings"

	"drumhead/storage"
)

// keyOf is one of many keys for secrets.
func keyOf(n byte) []byte { return bytes.Repeat([]byte{n}, 32) }

func secretCases() []tested {
	return []tested{
		{"round trip in clear", secretRound},
		{"round trip with a key", func(b *bench) {
			b.withKeys(keyOf(1))
			secretRound(b)
		}},
		{"another key: a clear error, ledgers still read", anotherKey},
		{"a new key", func(b *bench) {
			b.withKeys(keyOf(1))
			k := b.withSecret("first")
			b.withKeys(keyOf(2), keyOf(1))
			equal(b, "with both", k.secret(), "first")
			b.withKeys(keyOf(2))
			equal(b, "sealed anew", k.secret(), "first")
		}},
		{"a key where there was none", func(b *bench) {
			k := b.withSecret("first")
			b.withKeys(keyOf(1))
			equal(b, "still readable", k.secret(), "first")
		}},
		{"a key of a wrong length", func(b *bench) {
			b.close()
			b.opts.Key = keyOf(1)[:31]
			if _, err := b.disk(b.opts); err == nil || !strings.Contains(err.Error(), "32 expected") {
				b.Errorf("got %v", err)
			}
			b.opts.Key = nil
			b.open()
		}},
	}
}

// withSecret is a ledger that has one.
func (b *bench) withSecret(secret string) *book {
	b.Helper()
	k := b.book(1)
	batch := k.next(1)
	batch.Secret = []byte(secret)
	k.append(batch)
	return k
}

// withKeys opens the store again with other keys.
func (b *bench) withKeys(key []byte, old ...[]byte) {
	b.Helper()
	b.opts.Key, b.opts.OldKeys = key, old
	b.reopen()
}

// secret is a ledger's secret, or the error.
func (k *book) secret() string {
	secret, err := k.b.store.Secret(k.b.ctx, k.id)
	if err != nil {
		return err.Error()
	}
	return string(secret)
}

func secretRound(b *bench) {
	k := b.withSecret("first")
	equal(b, "secret", k.secret(), "first")
	k.grow(1)
	equal(b, "kept", k.secret(), "first")
	batch := k.next(1)
	batch.Secret = []byte("second")
	k.append(batch)
	b.reopen()
	equal(b, "replaced", k.secret(), "second")
	batch = k.next(1)
	batch.Secret = []byte{}
	k.append(batch)
	_, err := b.store.Secret(b.ctx, k.id)
	b.refused(err, storage.ErrNone)
	b.healthy()
}

func anotherKey(b *bench) {
	b.withKeys(keyOf(1))
	k := b.withSecret("first")
	for _, wrong := range [][]byte{keyOf(2), nil} {
		b.withKeys(wrong)
		_, err := b.store.Secret(b.ctx, k.id)
		var damaged *storage.Damaged
		if !errors.As(err, &damaged) || damaged.Ledger != k.id || !strings.Contains(err.Error(), "key for secrets") {
			b.Errorf("got %v", err)
		}
		k.check()
	}
	b.withKeys(keyOf(1))
	equal(b, "with the right key", k.secret(), "first")
}
