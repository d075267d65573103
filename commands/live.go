package commands

import (
	"container/list"
	"sync"

	"drumhead/commands/chat"
)

// MostLive is how many ledgers' folded states the desk keeps in memory; others
// are folded again from the store when somebody speaks there.
const MostLive = 4096

// live keeps the newest views, the least used of which is dropped first. The
// store's guard proves a view fresh, so a stale one costs a retry and no more.
type live struct {
	mu    sync.Mutex
	byKey map[chat.Place]*list.Element
	order *list.List // front: used last
}

func newLive() *live { return &live{byKey: map[chat.Place]*list.Element{}, order: list.New()} }

func (l *live) get(p chat.Place) (*view, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	e, ok := l.byKey[p]
	if !ok {
		return nil, false
	}
	l.order.MoveToFront(e)
	return e.Value.(*view), true
}

func (l *live) put(p chat.Place, v *view) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if e, ok := l.byKey[p]; ok {
		e.Value = v
		l.order.MoveToFront(e)
		return
	}
	l.byKey[p] = l.order.PushFront(v)
	if l.order.Len() > MostLive {
		old := l.order.Back()
		l.order.Remove(old)
		delete(l.byKey, old.Value.(*view).place)
	}
}

func (l *live) drop(p chat.Place) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if e, ok := l.byKey[p]; ok {
		l.order.Remove(e)
		delete(l.byKey, p)
	}
}
