package discord

import (
	"net/http"
	"testing"
	"time"
)

// The worked example of Discord's documentation ("Snowflakes", repository
// discord/discord-api-docs): 175928847299117063 was made at 1462015105796 ms.
func TestCreated(t *testing.T) {
	if got := created("175928847299117063").UnixMilli(); got != 1462015105796 {
		t.Errorf("made at %d", got)
	}
	at := time.UnixMilli(1462015105796)
	if id := snowflake(at); !created(id).Equal(at) || id > "175928847299117063" {
		t.Errorf("the first id of that time is %s", id)
	}
	for _, bad := range []string{"", "-1", "ann", "99999999999999999999"} {
		if !created(bad).IsZero() {
			t.Errorf("%q was made at %v", bad, created(bad))
		}
	}
}

// A clock that is wrong by 90 s is known to within half a second after a few
// answers, though a Date has whole seconds; one that is set anew is found again.
func TestClock(t *testing.T) {
	var c clock
	local := time.Date(2026, 10, 10, 12, 0, 0, 0, time.UTC)
	for _, behind := range []time.Duration{90 * time.Second, -7300 * time.Millisecond} {
		for i := range 20 {
			sent := local.Add(time.Duration(i) * 1370 * time.Millisecond)
			got := sent.Add(40 * time.Millisecond)
			date := sent.Add(20*time.Millisecond + behind).UTC().Format(http.TimeFormat)
			c.learn(date, sent, got)
		}
		if off := (c.behind() - behind).Abs(); off > 100*time.Millisecond {
			t.Errorf("behind by %v, taken for %v", behind, c.behind())
		}
	}
	c.learn("yesterday", local, local)
	id := snowflake(local.Add(-7300*time.Millisecond - 4*time.Second))
	if age := c.age(id, local); (age - 4*time.Second).Abs() > 100*time.Millisecond {
		t.Errorf("4 s old, taken for %v", age)
	}
}

// Sessions begin five seconds apart in each row of shards, whichever process they
// are in (documentation, "Sharding", max_concurrency).
func TestPace(t *testing.T) {
	now := time.Now()
	p := newPace(now)
	for i, c := range []struct{ shard, rows, want int }{{4, 1, 20}, {5, 1, 25}, {4, 1, 30}, {0, 16, 0}, {17, 16, 5}, {1, 16, 10}, {33, 16, 15}} {
		if i == 3 {
			p = newPace(now)
		}
		if got := p.turn(c.shard, c.rows, 5*time.Second, now).Sub(now); got != time.Duration(c.want)*time.Second {
			t.Errorf("shard %d of rows of %d: %v, want %d s", c.shard, c.rows, got, c.want)
		}
	}
}
