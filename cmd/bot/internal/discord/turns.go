package discord

import (
	"context"
	"sync"
)

// turns lets one sender at a time into a place, in the order in which they came:
// posts stay in order, and none runs ahead of the limit that the one before
// brings back. Nothing is kept of a place where nobody sends.
type turns struct {
	mu   sync.Mutex
	last map[string]chan struct{} // closed when the last in a place's queue is done
}

// take waits for its turn, and gives what must be called when it is over. After
// an error there is no turn.
func (t *turns) take(ctx context.Context, place string) (func(), error) {
	t.mu.Lock()
	before, mine := t.last[place], make(chan struct{})
	if t.last == nil {
		t.last = map[string]chan struct{}{}
	}
	t.last[place] = mine
	t.mu.Unlock()
	done := func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		if t.last[place] == mine {
			delete(t.last, place)
		}
		close(mine)
	}
	if before == nil {
		return done, nil
	}
	select {
	case <-before:
		return done, nil
	case <-ctx.Done():
		go func() { // who comes later still waits for those before
			<-before
			done()
		}()
		return nil, ctx.Err()
	}
}
