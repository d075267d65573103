package discord

import (
	"context"
	"sync"
)

// turns lets one at a time into a place, in the order in which they came: posts
// stay in order, and none runs ahead of the limit that the one before brings
// back. Nothing is kept of a place where nobody is.
type turns struct {
	mu   sync.Mutex
	last map[string]chan struct{} // closed when the last in a place's queue is done
}

// turn is somebody's place in a queue.
type turn struct {
	turns  *turns
	place  string
	before <-chan struct{} // nil: nobody
	mine   chan struct{}
}

// join stands in line, and does not wait.
func (t *turns) join(place string) *turn {
	t.mu.Lock()
	defer t.mu.Unlock()
	out := &turn{turns: t, place: place, before: t.last[place], mine: make(chan struct{})}
	if t.last == nil {
		t.last = map[string]chan struct{}{}
	}
	t.last[place] = out.mine
	return out
}

// wait waits for the turn. After an error there is none, and nothing to be done.
func (t *turn) wait(ctx context.Context) error {
	if t.before == nil {
		return nil
	}
	select {
	case <-t.before:
		return nil
	case <-ctx.Done():
		go func() { // who comes later still waits for those before
			<-t.before
			t.done()
		}()
		return ctx.Err()
	}
}

// done ends the turn.
func (t *turn) done() {
	t.turns.mu.Lock()
	defer t.turns.mu.Unlock()
	if t.turns.last[t.place] == t.mine {
		delete(t.turns.last, t.place)
	}
	close(t.mine)
}

// take waits for a turn, and gives what must be called when it is over.
func (t *turns) take(ctx context.Context, place string) (func(), error) {
	mine := t.join(place)
	if err := mine.wait(ctx); err != nil {
		return nil, err
	}
	return mine.done, nil
}
