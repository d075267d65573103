package commands

import (
	"context"
	"sync"
	"time"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// Before the first draw of a ledger after a start our own posts there are read, lest
// keys be used that the chat has seen. Where a network fails that, nothing is rolled
// there and it is tried again; but no place is locked up for ever by a platform that
// never answers: after mostUnread tries and longestUnread it goes on as where posts
// cannot be read at all, and says so.
const (
	mostUnread    = 3
	longestUnread = 2 * time.Minute
	pauseUnread   = 5 * time.Second // between two tries
)

// unread notes the tries to read our own posts that failed, by ledger.
type unread struct {
	mu    sync.Mutex
	tries map[storage.LedgerID]tries
}

type tries struct {
	n           int
	first, last time.Time
}

// failed notes a try, and tells whether there is to be another.
func (u *unread) failed(l storage.LedgerID, now time.Time) (again bool) {
	u.mu.Lock()
	defer u.mu.Unlock()
	t := u.tries[l]
	if t.n++; t.n == 1 {
		t.first = now
	}
	t.last = now
	if u.tries == nil {
		u.tries = map[storage.LedgerID]tries{}
	}
	u.tries[l] = t
	return t.n < mostUnread || now.Sub(t.first) < longestUnread
}

// read forgets the tries that failed.
func (u *unread) read(l storage.LedgerID) {
	u.mu.Lock()
	defer u.mu.Unlock()
	delete(u.tries, l)
}

// due tells whether it is time for another try.
func (u *unread) due(l storage.LedgerID, now time.Time) bool {
	u.mu.Lock()
	defer u.mu.Unlock()
	return now.Sub(u.tries[l].last) >= pauseUnread
}

// couldNotRead marks a view whose posts could not be read: for now, or for good, which
// its place is told.
func (d *Desk) couldNotRead(v *view) {
	if v.unread = d.unread.failed(v.ledger, d.clock()); v.unread {
		return
	}
	v.blind = true
	what := "unread:" + v.ledger.String()
	if v.open() && d.notices.once(what) {
		d.notices.add(notice{what: what, post: chat.Post{ID: chat.PostID(freeID(chat.Source(what), 0)), To: chat.Destination{Place: v.place}, Entry: -1,
			Lines: []chat.Line{v.speaker().Say("restore.unread"), v.speaker().Say("restore.unread_if")}}})
	}
}

// readAgain tries again where our own posts could not be read.
func (d *Desk) readAgain(ctx context.Context, v *view) (*view, error) {
	if !v.unread || !d.unread.due(v.ledger, d.clock()) {
		return v, nil
	}
	w := v.copy(nil)
	w.unread = false
	if err := d.doubts(ctx, w); err != nil {
		return nil, err
	}
	d.live.put(v.place, w)
	return w, nil
}
