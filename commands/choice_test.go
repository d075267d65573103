package commands

import (
	"context"
	"testing"
	"time"
)

// TestChoicesLapse: posts without an entry whose choices nobody can pick any more
// leave the store.
func TestChoicesLapse(t *testing.T) {
	tb := newTable(t)
	count := func(shelf string) (n int) {
		for range tb.store.Shelf(shelf).Each(context.Background(), "") {
			n++
		}
		return n
	}
	const asked = 50
	for range asked {
		tb.say("Ann", "@dm", "/force add Weir Militia, 500 points; 10 Pikes")
	}
	if n := count(shelfPosts); n != asked || count(shelfLapses) != asked {
		t.Fatalf("%d posts are kept, want %d", n, asked)
	}
	tb.now = tb.now.Add(KeepChoices + time.Hour)
	for range 4 {
		tb.say("Ann", "@dm", "/force add Weir Militia, 500 points; 10 Pikes")
	}
	if n := count(shelfPosts); n != 4 || count(shelfLapses) != 4 {
		t.Errorf("%d posts are kept after a month, %d listed; want 4", n, count(shelfLapses))
	}
}
