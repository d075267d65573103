//go:build goolm

package matrix

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat"
)

// Adapter is one account of the bot. Send may be called by many goroutines.
type Adapter struct {
	*line
	settings Settings
	parts    Parts
	turns    turns  // of those who send into one room
	cards    *cards // posts of ours whose choices can be picked
	pace     pace   // of people and of rooms
	running  sync.Mutex
	taking   sync.Mutex    // while it is noted that the homeserver has something
	soon     chan struct{} // what waits in the store can go out now
	away     time.Time     // when the answer before was taken in; only for who listens

	mu        sync.Mutex
	caught    bool                    // an answer came since the start: who is in a room is known
	doubt     bool                    // something may have been taken without our knowing: look first, then send
	looked    int                     // answers since the doubt without anything of ours
	asked     time.Time               // when the wait for the next answer began
	interrupt context.CancelFunc      // ends the wait for the next answer
	came      map[id.SessionID]bool   // sessions whose key may have come since the last answer
	failures  map[id.EventID]int      // of the desk
	unread    map[string]time.Time    // what was told to whom, so that it is told once a day
	expected  map[id.RoomID]time.Time // rooms that were made or joined and did not come by sync yet
	uploads   map[chat.PostID]int     // that failed
	zones     map[id.UserID]zoneAsked // of people's profiles
	pruned    time.Time               // when what is old was forgotten last
	waiting   bool                    // posts wait in the pocket for a room or the homeserver
}

var _ chat.Adapter = (*Adapter)(nil)

// New makes an adapter of an account that has logged in. Nothing is asked of the
// homeserver before Run.
func New(s Settings, p Parts) (*Adapter, error) {
	l, err := open(s, p)
	if err != nil {
		return nil, err
	}
	p, err = p.filled()
	if err != nil {
		return nil, err
	}
	if err := l.started(context.Background()); err != nil {
		return nil, err
	}
	a := &Adapter{
		line: l, settings: s, parts: p, soon: make(chan struct{}, 1), doubt: true, waiting: true,
		failures: map[id.EventID]int{}, uploads: map[chat.PostID]int{}, zones: map[id.UserID]zoneAsked{}, unread: map[string]time.Time{}, expected: map[id.RoomID]time.Time{},
	}
	a.pace.now = l.now
	if a.came, err = l.waitsLate(); err != nil {
		return nil, err
	}
	if a.cards, err = openCards(l.keep, l.now); err != nil {
		return nil, err
	}
	if err := l.mach.Load(context.Background()); err != nil { // from the pocket
		return nil, err
	}
	l.mach.GetAccount().Keys() // filled in lazily and without a lock otherwise
	l.mach.NeedsUnwedgeCallback = a.wedged
	l.mach.SessionReceived = func(_ context.Context, _ id.RoomID, s id.SessionID, _ uint32) {
		a.mu.Lock()
		defer a.mu.Unlock()
		a.came[s] = true
	}
	return a, nil
}

// Limits of Matrix: an event holds 65,536 bytes, of which text and its HTML are
// encrypted together; choices are typed, so that few can be told apart.
func (a *Adapter) Limits() chat.Limits {
	return chat.Limits{Characters: mostText, Choices: 20, FileBytes: mostHandedIn}
}

// sentFor is how long it is remembered which message a post became: so long it can
// be edited, and sent twice it is told once.
const sentFor = 180 * 24 * time.Hour

// Bounds of what people send and get.
const (
	mostText     = 20_000
	mostHandedIn = 8 << 20
)

// Run listens until ctx ends or the homeserver does not know the bot any more.
func (a *Adapter) Run(ctx context.Context, d chat.Desk) error {
	if ctx.Err() != nil {
		return nil
	}
	if !a.running.TryLock() {
		return errors.New("matrix: it runs already")
	}
	defer a.running.Unlock()
	ctx, stop := context.WithCancel(ctx)
	var settler sync.WaitGroup
	settler.Go(func() { a.settle(ctx) })
	defer settler.Wait()
	defer stop()
	err := a.listen(ctx, d)
	if ctx.Err() != nil {
		err = nil
	}
	a.catch(false)
	if e := a.keep.commit(context.WithoutCancel(ctx)); err == nil {
		err = e
	}
	return err
}

// settle sends what waits in the store whenever there may be something.
func (a *Adapter) settle(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-a.soon:
		}
		if a.parts.Settle == nil {
			continue
		}
		if err := a.parts.Settle(ctx); err != nil && ctx.Err() == nil {
			a.log.Error("what waits could not be sent", "err", err)
		}
	}
}

// catch notes whether it is known who is in the rooms now; before that nothing is
// sent, because somebody may have left while nobody listened.
func (a *Adapter) catch(up bool) {
	a.mu.Lock()
	before := a.caught
	a.caught = up
	a.mu.Unlock()
	if up && !before {
		a.nudge()
	}
}

func (a *Adapter) caughtUp() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.caught
}

// nudge lets what waits in the store be sent soon.
func (a *Adapter) nudge() {
	select {
	case a.soon <- struct{}{}:
	default:
	}
}

// doubts tells whether something may have been taken without our knowing.
func (a *Adapter) doubts() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.doubt
}

func (a *Adapter) setDoubt(yes bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if yes && !a.doubt {
		a.log.Log(context.Background(), slog.LevelInfo, "a request may have been taken; looking before anything is sent again")
	}
	a.doubt, a.looked = yes, 0
	if yes && a.interrupt != nil { // not in half a minute: now; but never while the homeserver is busy with it
		time.AfterFunc(time.Until(a.asked.Add(settled)), a.interrupt)
	}
}

// settled is when a wait for news has become one: before, a homeserver is busy with
// the question, and some break when it is taken back then.
const settled = time.Second

// look counts an answer that was looked at in doubt; quiet: it had nothing of ours.
// After a few such nothing is under way any more, and what waits may go out.
func (a *Adapter) look(quiet bool) {
	a.mu.Lock()
	if a.looked++; !quiet {
		a.looked = 0
	}
	over := a.doubt && a.looked >= looks
	if over {
		a.doubt = false
	}
	a.mu.Unlock()
	if over {
		a.nudge()
	}
}

// once a day is how often somebody is told the same.
const toldFor = 24 * time.Hour

// firstToday tells whether something was not told to somebody today and may be now,
// and notes that it is.
func (a *Adapter) firstToday(what string, place chat.Place, who chat.Person, may func() bool) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	now, at := a.now(), what+"\x00"+string(place)+"\x00"+string(who)
	if t, ok := a.unread[at]; ok && now.Sub(t) < toldFor || !may() {
		return false
	}
	const most = 4096
	if len(a.unread) >= most {
		clear(a.unread)
	}
	a.unread[at] = now
	return true
}
