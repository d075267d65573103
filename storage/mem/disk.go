package mem

import (
	"bytes"
	"iter"
	"sort"
	"sync"

	"drumhead/storage/internal/layout"
)

// Disk holds the tables of one store. It outlives the store, as a file does.
type Disk struct {
	mu     sync.RWMutex
	tables map[layout.Table]*table
}

// NewDisk is an empty disk.
func NewDisk() *Disk {
	d := &Disk{tables: map[layout.Table]*table{}}
	for _, t := range layout.Tables() {
		d.tables[t] = &table{}
	}
	return d
}

// Copy is another disk with the same records: what a copy of a data directory is.
func (d *Disk) Copy() *Disk {
	d.mu.RLock()
	defer d.mu.RUnlock()
	c := NewDisk()
	for name, t := range d.tables {
		for key, value := range t.ascend(nil) {
			c.tables[name].put(key, value)
		}
	}
	return c
}

// reading and writing are transactions over a disk whose lock is held.
type reading struct{ *Disk }

type writing struct{ reading }

func (d reading) Get(t layout.Table, key []byte) []byte { return d.tables[t].get(key) }

func (d reading) Ascend(t layout.Table, from []byte) iter.Seq2[[]byte, []byte] {
	return d.tables[t].ascend(from)
}

func (d reading) Last(t layout.Table) []byte { return d.tables[t].last() }

func (d reading) Put(layout.Table, []byte, []byte) { panic("mem: put while reading") }

func (d reading) Delete(layout.Table, []byte) { panic("mem: delete while reading") }

func (d writing) Put(t layout.Table, key, value []byte) { d.tables[t].put(key, value) }

func (d writing) Delete(t layout.Table, key []byte) { d.tables[t].remove(key) }

// blockSize is where a table's block of rows is cut in two.
const blockSize = 256

type row struct{ key, value []byte }

// table is an ordered map: blocks of rows, each sorted, one after the other.
type table struct{ blocks [][]row }

// find gives the block and the place in it where a key is or would be.
func (t *table) find(key []byte) (block, at int, found bool) {
	block = max(sort.Search(len(t.blocks), func(i int) bool { return bytes.Compare(t.blocks[i][0].key, key) > 0 })-1, 0)
	if block == len(t.blocks) {
		return block, 0, false
	}
	rows := t.blocks[block]
	at = sort.Search(len(rows), func(i int) bool { return bytes.Compare(rows[i].key, key) >= 0 })
	return block, at, at < len(rows) && bytes.Equal(rows[at].key, key)
}

func (t *table) get(key []byte) []byte {
	if block, at, found := t.find(key); found {
		return t.blocks[block][at].value
	}
	return nil
}

// put keeps copies: the caller may use its slices again.
func (t *table) put(key, value []byte) {
	block, at, found := t.find(key)
	value = append([]byte{}, value...)
	switch {
	case found:
		t.blocks[block][at].value = value
		return
	case block == len(t.blocks):
		t.blocks = append(t.blocks, nil)
	}
	rows := append(t.blocks[block], row{})
	copy(rows[at+1:], rows[at:])
	rows[at] = row{bytes.Clone(key), value}
	t.blocks[block] = rows
	if half := len(rows) / 2; len(rows) > blockSize {
		t.blocks = append(t.blocks, nil)
		copy(t.blocks[block+2:], t.blocks[block+1:])
		t.blocks[block], t.blocks[block+1] = rows[:half:half], append([]row{}, rows[half:]...)
	}
}

func (t *table) remove(key []byte) {
	block, at, found := t.find(key)
	if !found {
		return
	}
	rows := t.blocks[block]
	t.blocks[block] = append(rows[:at], rows[at+1:]...)
	if len(t.blocks[block]) == 0 {
		t.blocks = append(t.blocks[:block], t.blocks[block+1:]...)
	}
}

func (t *table) ascend(from []byte) iter.Seq2[[]byte, []byte] {
	return func(yield func(k, v []byte) bool) {
		block, at, _ := t.find(from)
		for ; block < len(t.blocks); block, at = block+1, 0 {
			for _, r := range t.blocks[block][at:] {
				if !yield(r.key, r.value) {
					return
				}
			}
		}
	}
}

func (t *table) last() []byte {
	if len(t.blocks) == 0 {
		return nil
	}
	rows := t.blocks[len(t.blocks)-1]
	return rows[len(rows)-1].key
}
