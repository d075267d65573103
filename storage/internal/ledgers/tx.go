package ledgers

import (
	"bytes"
	"iter"
	"slices"

	"drumhead/storage/internal/layout"
)

// Tx is one transaction over a backend's tables. Slices it gives are valid
// until it ends and must not be changed; slices it is given must not be changed
// until it ends. A transaction for reading panics on Put and Delete.
type Tx interface {
	Get(t layout.Table, key []byte) []byte // nil: no such key
	Put(t layout.Table, key, value []byte)
	Delete(t layout.Table, key []byte)
	Ascend(t layout.Table, from []byte) iter.Seq2[[]byte, []byte] // keys from that one on, in order
	Last(t layout.Table) []byte                                   // the last key, nil if there is none
}

// draft collects the changes of one member of a transaction, so that a member
// that is refused half-way has written nothing. Get sees the draft's own
// changes; Ascend and Last see only what lies under it.
type draft struct {
	Tx
	changes []change
	at      map[string]int // table and key: index of the change; only once there are many
}

type change struct {
	table      layout.Table
	key, value []byte // nil value: delete
}

// fewChanges are looked through one by one, which is quicker than a map.
const fewChanges = 32

func newDraft(tx Tx) *draft { return &draft{Tx: tx, changes: make([]change, 0, 12)} }

func draftKey(t layout.Table, key []byte) string { return string(byte(t)) + string(key) }

// find gives the index of the change to a key, or -1.
func (d *draft) find(t layout.Table, key []byte) int {
	if d.at != nil {
		if i, ok := d.at[draftKey(t, key)]; ok {
			return i
		}
		return -1
	}
	return slices.IndexFunc(d.changes, func(c change) bool { return c.table == t && bytes.Equal(c.key, key) })
}

func (d *draft) Get(t layout.Table, key []byte) []byte {
	if i := d.find(t, key); i >= 0 {
		return d.changes[i].value
	}
	return d.Tx.Get(t, key)
}

func (d *draft) Put(t layout.Table, key, value []byte) { d.note(change{t, key, value}) }

func (d *draft) Delete(t layout.Table, key []byte) { d.note(change{t, key, nil}) }

func (d *draft) note(c change) {
	if i := d.find(c.table, c.key); i >= 0 {
		d.changes[i] = c
		return
	}
	d.changes = append(d.changes, c)
	switch n := len(d.changes); {
	case d.at != nil:
		d.at[draftKey(c.table, c.key)] = n - 1
	case n > fewChanges:
		d.at = make(map[string]int, 2*n)
		for i, c := range d.changes {
			d.at[draftKey(c.table, c.key)] = i
		}
	}
}

// write passes the changes on.
func (d *draft) write() {
	for _, c := range d.changes {
		if c.value == nil {
			d.Tx.Delete(c.table, c.key)
		} else {
			d.Tx.Put(c.table, c.key, c.value)
		}
	}
}
