package commands

import (
	"context"
	"errors"
	"sync"
	"time"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// Limits of sending side by side.
const (
	mostLanes = 64 // places that are sent to at the same time
	firstRest = time.Second
	mostRest  = time.Minute // after a place that can take nothing
)

// lanes are the places that are sent to now, one goroutine each, and those that
// could take nothing lately and rest.
type lanes struct {
	mu   sync.Mutex
	busy map[string]bool
	rest map[string]rest
	err  error // that ended a lane: the store's
	all  sync.WaitGroup
}

// rest is how long a place is left alone.
type rest struct {
	until time.Time
	pause time.Duration // doubled each time
}

// Flow starts to send what waits, each place's posts in order and places side by
// side, so that one that is slow holds up no other, and returns at once. Woken is
// called whenever a place is done, for Flow to be called again. Next is when a
// place that could take nothing is worth another try, zero for none. The error
// is the store's, and what a lane met since.
func (p *Pump) Flow(ctx context.Context, woken func()) (next time.Time, err error) {
	l := &p.lanes
	l.mu.Lock()
	defer l.mu.Unlock()
	if err, l.err = l.err, nil; err != nil {
		return time.Time{}, err
	}
	if l.busy == nil {
		l.busy, l.rest = map[string]bool{}, map[string]rest{}
	}
	now := p.desk.clock()
	// The outbox gives one post of each place before the second of any: so many
	// reach beyond the places that cannot be served now.
	posts, err := p.desk.store.Outbox(ctx, pumpAtOnce+len(l.busy)+len(l.rest))
	if err != nil {
		return time.Time{}, err
	}
	var order []string
	of := map[string][]storage.Post{}
	for _, post := range posts {
		if of[post.Place] == nil {
			order = append(order, post.Place)
		}
		of[post.Place] = append(of[post.Place], post)
	}
	for _, place := range order {
		r, resting := l.rest[place]
		switch {
		case l.busy[place] || len(l.busy) == mostLanes:
		case resting && r.until.After(now):
			if next.IsZero() || r.until.Before(next) {
				next = r.until
			}
		default:
			l.busy[place] = true
			l.all.Add(1)
			go p.lane(ctx, place, of[place], woken)
		}
	}
	return next, nil
}

// lane sends posts of one place until they are sent or it can take none.
func (p *Pump) lane(ctx context.Context, place string, posts []storage.Post, woken func()) {
	defer p.lanes.all.Done()
	var err error
	for _, post := range posts {
		if err = p.send(ctx, post); err != nil {
			break
		}
	}
	p.lanes.ended(place, err, p.desk.clock())
	if ctx.Err() == nil {
		woken()
	}
}

// ended notes how a lane ended: a place that can take nothing now rests, longer
// each time; any other error is told by Flow.
func (l *lanes) ended(place string, err error, now time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.busy, place)
	switch {
	case err == nil:
		delete(l.rest, place)
	case errors.Is(err, chat.ErrLater):
		pause := min(max(2*l.rest[place].pause, firstRest), mostRest)
		l.rest[place] = rest{until: now.Add(pause), pause: pause}
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
	default:
		l.err = err
	}
}

// Wait returns when every lane has ended; end their context first.
func (p *Pump) Wait() { p.lanes.all.Wait() }
