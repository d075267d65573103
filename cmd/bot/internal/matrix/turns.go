package matrix

import (
	"maps"
	"slices"
	"strings"
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
	return p.mayAt(p.now(), what, most, within)
}

// mayAt does the same for what happened at a time: what was missed comes all at once.
func (p *pace) mayAt(at time.Time, what string, most int, within time.Duration) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.times == nil {
		p.times = map[string][]time.Time{}
	}
	if len(p.times) > mostPaced { // of a crowd of strangers; what is not theirs goes on counting
		maps.DeleteFunc(p.times, func(what string, _ []time.Time) bool { return strings.Contains(what, "@") })
	}
	if len(p.times[what]) >= most { // few ever come so far
		p.times[what] = slices.DeleteFunc(p.times[what], func(t time.Time) bool { return at.Sub(t).Abs() >= within })
	}
	if len(p.times[what]) >= most {
		return false
	}
	p.times[what] = append(p.times[what], at)
	return true
}
