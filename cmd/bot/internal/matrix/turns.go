package matrix

import (
	"slices"
	"sync"
	"time"
)

// turns lets one at a time into a room. Nothing is kept of a room where nobody is.
type turns struct {
	mu    sync.Mutex
	rooms map[string]*turn
}

type turn struct {
	sync.Mutex
	users int
}

// take waits for its turn and returns what ends it.
func (t *turns) take(room string) func() {
	t.mu.Lock()
	if t.rooms == nil {
		t.rooms = map[string]*turn{}
	}
	one := t.rooms[room]
	if one == nil {
		one = &turn{}
		t.rooms[room] = one
	}
	one.users++
	t.mu.Unlock()
	one.Lock()
	return func() {
		one.Unlock()
		t.mu.Lock()
		defer t.mu.Unlock()
		if one.users--; one.users == 0 {
			delete(t.rooms, room)
		}
	}
}

// Bounds of how often something may happen.
const (
	joinsAnHour = 30 // of the bot
	mostPaced   = 4096
)

// pace counts what happens by whom.
type pace struct {
	now   func() time.Time
	mu    sync.Mutex
	times map[string][]time.Time
}

// may tells whether something may happen once more within a time, and counts it.
func (p *pace) may(what string, most int, within time.Duration) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := p.now()
	if p.times == nil || len(p.times) > mostPaced {
		p.times = map[string][]time.Time{}
	}
	kept := slices.DeleteFunc(p.times[what], func(t time.Time) bool { return now.Sub(t) >= within })
	if len(kept) >= most {
		p.times[what] = kept
		return false
	}
	p.times[what] = append(kept, now)
	return true
}
