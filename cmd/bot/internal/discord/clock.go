package discord

import (
	"net/http"
	"strconv"
	"sync"
	"time"
)

// epoch is the first millisecond of 2015, from which Discord's ids count
// (documentation, "Snowflakes").
const epoch = 1420070400000

// created is when an id was made, by Discord's clock; zero if it is none.
func created(id string) time.Time {
	n, err := strconv.ParseUint(id, 10, 63)
	if err != nil {
		return time.Time{}
	}
	return time.UnixMilli(int64(n>>22) + epoch)
}

// snowflake is the lowest id of a time, for asking what came after it.
func snowflake(at time.Time) string {
	return strconv.FormatInt(max(0, at.UnixMilli()-epoch)<<22, 10)
}

// clock knows how far our clock is behind Discord's, from the Date of its
// answers. A Date has whole seconds, so each answer only narrows the bounds.
type clock struct {
	mu      sync.Mutex
	low     time.Duration
	high    time.Duration
	learned bool
}

// learn takes the Date of an answer to a request sent and answered at these times.
func (c *clock) learn(date string, sent, got time.Time) {
	at, err := http.ParseTime(date)
	if err != nil {
		return
	}
	low, high := at.Sub(got), at.Add(time.Second).Sub(sent)
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.learned && max(low, c.low) <= min(high, c.high) {
		low, high = max(low, c.low), min(high, c.high)
	}
	c.low, c.high, c.learned = low, high, true // bounds that contradict each other: a clock was set anew
}

// behind is what to add to our time to have Discord's.
func (c *clock) behind() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return (c.low + c.high) / 2
}

// age is how old what has this id is at a time of ours.
func (c *clock) age(id string, now time.Time) time.Duration {
	return now.Add(c.behind()).Sub(created(id))
}
