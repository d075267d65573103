package bolt

import (
	"fmt"
	"iter"

	bbolt "go.etcd.io/bbolt"

	"drumhead/storage/internal/layout"
	"drumhead/storage/internal/ledgers"
)

// fill is how full a page is left when it is cut in two. bbolt does not store
// it. Keys of ledgers come in order within a ledger; those of the other tables
// partly in random order, for which bbolt's own half is right.
const fill = 0.9

// table is the name of a bucket.
type table = layout.Table

// transaction gives the tables of one bbolt transaction: a bucket each.
type transaction struct {
	tx      *bbolt.Tx
	buckets map[layout.Table]*bbolt.Bucket
}

var _ ledgers.Tx = transaction{}

func over(tx *bbolt.Tx) transaction {
	t := transaction{tx: tx, buckets: make(map[layout.Table]*bbolt.Bucket, 8)}
	for _, table := range layout.Tables() {
		bucket := tx.Bucket([]byte{byte(table)})
		if bucket == nil {
			panic(fmt.Sprintf("table %c is missing", table))
		}
		t.buckets[table] = bucket
	}
	t.buckets[layout.Ledgers].FillPercent = fill
	t.buckets[layout.Sent].FillPercent = fill
	return t
}

func (t transaction) Get(table layout.Table, key []byte) []byte {
	if len(key) == 0 {
		return nil
	}
	return t.buckets[table].Get(key)
}

// Put panics if bbolt refuses: keys and values were tested before, so it is a
// bug, and the whole transaction is rolled back.
func (t transaction) Put(table layout.Table, key, value []byte) {
	if err := t.buckets[table].Put(key, value); err != nil {
		panic(fmt.Errorf("put into table %c: %w", table, err))
	}
}

func (t transaction) Delete(table layout.Table, key []byte) {
	if err := t.buckets[table].Delete(key); err != nil {
		panic(fmt.Errorf("delete from table %c: %w", table, err))
	}
}

func (t transaction) Ascend(table layout.Table, from []byte) iter.Seq2[[]byte, []byte] {
	return func(yield func(k, v []byte) bool) {
		c := t.buckets[table].Cursor()
		for k, v := c.Seek(from); k != nil; k, v = c.Next() {
			if !yield(k, v) {
				return
			}
		}
	}
}

func (t transaction) Last(table layout.Table) []byte {
	k, _ := t.buckets[table].Cursor().Last()
	return k
}
