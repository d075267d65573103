package discord

import (
	"context"
	"sync"
	"time"
)

// pace keeps sessions from being started at once: Discord lets max_concurrency m
// shards begin in five seconds, one of each row shard % m. The first time a shard
// waits as if all before it began at the same moment in other processes.
type pace struct {
	began time.Time

	mu   sync.Mutex
	next map[int]time.Time // by row: when the next may begin
}

func newPace(now time.Time) *pace { return &pace{began: now, next: map[int]time.Time{}} }

// wait waits until a shard may begin, of rows that begin side by side.
func (p *pace) wait(ctx context.Context, shard, rows int, apart time.Duration) error {
	if !sleep(ctx, time.Until(p.turn(shard, max(1, rows), apart, time.Now()))) {
		return ctx.Err()
	}
	return nil
}

// turn is when a shard may begin, and takes that moment.
func (p *pace) turn(shard, rows int, apart time.Duration, now time.Time) time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	row, at := shard%rows, now
	if first := p.began.Add(time.Duration(shard/rows) * apart); at.Before(first) {
		at = first
	}
	if next := p.next[row]; at.Before(next) {
		at = next
	}
	p.next[row] = at.Add(apart)
	return at
}
