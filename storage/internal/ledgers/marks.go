package ledgers

import (
	"maps"
	"sync"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// Mark says that a post was sent.
type Mark struct {
	ID      storage.PostID
	Place   string
	Receipt string
	At      uint64 // milliseconds since 1970
}

// Marks are those that are not written yet; readers look through them, so that
// a post is not offered again while its mark waits to be written.
type Marks struct {
	mu      sync.Mutex
	waiting []Mark // in the order in which they came
	of      map[storage.PostID]Mark
	byName  map[string]storage.PostID // place and receipt
}

// Add keeps a mark unless the post has one already.
func (m *Marks) Add(mark Mark) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, twice := m.of[mark.ID]; twice {
		return
	}
	if m.of == nil {
		m.of, m.byName = map[storage.PostID]Mark{}, map[string]storage.PostID{}
	}
	m.waiting = append(m.waiting, mark)
	m.of[mark.ID] = mark
	if mark.Receipt != "" {
		m.byName[string(layout.ReceiptKey(mark.Place, mark.Receipt))] = mark.ID
	}
}

// Take gives the marks that are to be written now.
func (m *Marks) Take() []Mark {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.waiting[:len(m.waiting):len(m.waiting)]
}

// Written drops marks that Take gave, now that they are in the tables.
func (m *Marks) Written(done []Mark) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, mark := range done {
		delete(m.of, mark.ID)
		name := string(layout.ReceiptKey(mark.Place, mark.Receipt))
		if m.byName[name] == mark.ID {
			delete(m.byName, name)
		}
	}
	m.waiting = m.waiting[len(done):]
	if len(m.waiting) == 0 {
		m.waiting = nil
	}
}

// A reader asks for marks before its transaction begins: what is not marked
// here is then in the tables that it sees.

// find gives the mark of a post.
func (m *Marks) find(id storage.PostID) (Mark, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	mark, ok := m.of[id]
	return mark, ok
}

// named gives the post that was marked with a receipt.
func (m *Marks) named(place, receipt string) (storage.PostID, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	id, ok := m.byName[string(layout.ReceiptKey(place, receipt))]
	return id, ok
}

// all gives every marked post.
func (m *Marks) all() map[storage.PostID]Mark {
	m.mu.Lock()
	defer m.mu.Unlock()
	return maps.Clone(m.of)
}
