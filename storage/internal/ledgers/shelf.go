package ledgers

import (
	"bytes"
	"context"
	"iter"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// Shelf is the reading half of a storage.Shelf.
type Shelf struct {
	reader *Reader
	name   string
}

// OnShelf gives the reading half of a shelf.
func (r *Reader) OnShelf(name string) Shelf { return Shelf{r, name} }

// Get returns the value, or ErrNone for an unknown key.
func (s Shelf) Get(ctx context.Context, key string) (value []byte, err error) {
	err = s.reader.view(ctx, func(tx Tx) error {
		at := layout.ShelfKey(s.name, key)
		rec := tx.Get(layout.Shelves, at)
		if rec == nil {
			return storage.ErrNone
		}
		var bad error
		if value, bad = layout.DecodeValue(at, rec); bad != nil {
			return s.damage(key, bad)
		}
		return nil
	})
	return value, err
}

func (s Shelf) damage(key string, err error) error {
	return layout.Damage(storage.LedgerID{}, 0, "key "+key+" of shelf "+s.name, err)
}

// What one transaction reads of a shelf at most; the last value may go beyond.
const (
	valuesAtOnce     = 256
	valueBytesAtOnce = 1 << 20
)

// Each yields the pairs whose key begins with prefix, in order of key. Pairs
// put while it runs may be missing or there.
func (s Shelf) Each(ctx context.Context, prefix string) iter.Seq2[storage.KeyValue, error] {
	return func(yield func(storage.KeyValue, error) bool) {
		from, start := layout.ShelfKey(s.name, prefix), layout.ShelfKey(s.name, prefix)
		for from != nil {
			var pairs []storage.KeyValue
			err := s.reader.view(ctx, func(tx Tx) (err error) {
				pairs, from, err = s.some(tx, from, start)
				return err
			})
			for _, p := range pairs {
				if !yield(p, nil) {
					return
				}
			}
			if err != nil {
				yield(storage.KeyValue{}, err)
				return
			}
		}
	}
}

// some reads the next pairs under start, and gives where to go on (nil: at the end).
func (s Shelf) some(tx Tx, from, start []byte) (pairs []storage.KeyValue, next []byte, err error) {
	size := 0
	for key, rec := range tx.Ascend(layout.Shelves, from) {
		if !bytes.HasPrefix(key, start) {
			return pairs, nil, nil
		}
		if len(pairs) == valuesAtOnce || size >= valueBytesAtOnce {
			return pairs, bytes.Clone(key), nil
		}
		_, name, _ := layout.ParseShelfKey(key)
		value, err := layout.DecodeValue(key, rec)
		if err != nil {
			return pairs, nil, s.damage(name, err)
		}
		pairs = append(pairs, storage.KeyValue{Key: name, Value: value})
		size += len(value)
	}
	return pairs, nil, nil
}

// maxPairs is how many pairs one Put takes.
const maxPairs = storage.MaxParts

// CheckPairs tests what is to be put on a shelf. Its errors are ErrInvalid.
func CheckPairs(shelf string, pairs []storage.KeyValue) error {
	if err := checkName("the name of a shelf", shelf); err != nil {
		return err
	}
	if len(pairs) > maxPairs {
		return invalid("%d pairs, at most %d are taken", len(pairs), maxPairs)
	}
	taken := map[string]bool{}
	for _, p := range pairs {
		if err := checkName("a key of shelf "+shelf, p.Key); err != nil {
			return err
		}
		if len(p.Value) > storage.MaxValue {
			return invalid("the value of key %q has %d bytes, at most %d are taken", p.Key, len(p.Value), storage.MaxValue)
		}
		if taken[p.Key] {
			return invalid("key %q is put twice", p.Key)
		}
		taken[p.Key] = true
	}
	return nil
}

// PutPairs puts them; a nil value deletes.
func PutPairs(tx Tx, shelf string, pairs []storage.KeyValue) {
	for _, p := range pairs {
		key := layout.ShelfKey(shelf, p.Key)
		if p.Value == nil {
			tx.Delete(layout.Shelves, key)
		} else {
			tx.Put(layout.Shelves, key, layout.EncodeValue(key, p.Value))
		}
	}
}
