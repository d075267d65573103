package bolt

import (
	"fmt"
	"iter"
	"slices"

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

// transaction gives the tables of one bbolt transaction: a bucket each, found
// when it is first asked for.
type transaction struct {
	tx      *bbolt.Tx
	buckets *[len(tables)]*bbolt.Bucket // of the tables, in their order
}

var _ ledgers.Tx = transaction{}

func over(tx *bbolt.Tx) transaction { return transaction{tx, new([len(tables)]*bbolt.Bucket)} }

// tables are all of them, in their order.
var tables = [8]table(layout.Tables())

// in gives the bucket of a table. A table that is missing is damage; whoever
// runs the transaction turns the panic into an error.
func (t transaction) in(table table) *bbolt.Bucket {
	i := slices.Index(tables[:], table)
	if b := t.buckets[i]; b != nil {
		return b
	}
	b := t.tx.Bucket([]byte{byte(table)})
	if b == nil {
		panic(fmt.Sprintf("table %c is missing", table))
	}
	if table == layout.Ledgers || table == layout.Sent {
		b.FillPercent = fill
	}
	t.buckets[i] = b
	return b
}

func (t transaction) Get(table layout.Table, key []byte) []byte {
	if len(key) == 0 {
		return nil
	}
	return t.in(table).Get(key)
}

// Put panics if bbolt refuses: keys and values were tested before, so it is a
// bug, and the whole transaction is rolled back.
func (t transaction) Put(table layout.Table, key, value []byte) {
	if err := t.in(table).Put(key, value); err != nil {
		panic(fmt.Errorf("put into table %c: %w", table, err))
	}
}

func (t transaction) Delete(table layout.Table, key []byte) {
	if err := t.in(table).Delete(key); err != nil {
		panic(fmt.Errorf("delete from table %c: %w", table, err))
	}
}

func (t transaction) Ascend(table layout.Table, from []byte) iter.Seq2[[]byte, []byte] {
	return func(yield func(k, v []byte) bool) {
		c := t.in(table).Cursor()
		for k, v := c.Seek(from); k != nil; k, v = c.Next() {
			if !yield(k, v) {
				return
			}
		}
	}
}

// Last looks for a first key before the last: where every page of a table lost
// its keys in this very transaction, bbolt 1.5.0 would look for the last of them
// for ever.
func (t transaction) Last(table layout.Table) []byte {
	c := t.in(table).Cursor()
	if k, _ := c.First(); k == nil {
		return nil
	}
	k, _ := c.Last()
	return k
}
