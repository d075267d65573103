package commands

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"drumhead/commands/chat"
)

// beaconLate is how long after a round was due a place is told that it cannot be had.
const beaconLate = 30 * time.Second

// notices are what places are told besides their entries: said once, kept in no
// store, and lost without harm.
type notices struct {
	mu    sync.Mutex
	wait  []notice
	aware map[chat.Place]bool // has been told that the beacon cannot be reached
	told  map[string]bool     // what is told once
}

// notice is one of them, and what is done once it was said; nil for nothing.
type notice struct {
	what string // what it is about, "" if it is never taken back
	post chat.Post
	said func(ctx context.Context) error
}

func (n *notices) add(list ...notice) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.wait = append(n.wait, list...)
}

// once tells whether something is told for the first time.
func (n *notices) once(what string) bool {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.told == nil {
		n.told = map[string]bool{}
	}
	first := !n.told[what]
	n.told[what] = true
	return first
}

// drop takes back what was not said yet.
func (n *notices) drop(what string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.wait = slices.DeleteFunc(n.wait, func(w notice) bool { return w.what == what })
}

// beaconGone notes that a round which something here waits for cannot be had: the
// place is told once, and again only after the beacon was back in between.
func (a *ask) beaconGone(round uint64, entry uint64) {
	v, n := a.here, &a.desk.notices
	if a.now.Before(v.book.Chain().Due(round).Add(beaconLate)) {
		return
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.aware[v.place] {
		return
	}
	if n.aware == nil {
		n.aware = map[chat.Place]bool{}
	}
	n.aware[v.place] = true
	n.wait = append(n.wait, notice{post: chat.Post{ID: chat.PostID(freeID(chat.Source(fmt.Sprintf("beacon:%s:%d", v.place, round)), 0)), To: chat.Destination{Place: v.place}, Entry: -1,
		Lines: []chat.Line{a.say("cut.gone", "entry", number(int64(entry)), "round", round), a.say("cut.gone_means"), a.say("cut.gone_hand")}}})
}

// beaconBack forgets that a place was told.
func (d *Desk) beaconBack(p chat.Place) {
	d.notices.mu.Lock()
	defer d.notices.mu.Unlock()
	delete(d.notices.aware, p)
}

// take gives the notices that wait, and forgets them.
func (n *notices) take() []notice {
	n.mu.Lock()
	defer n.mu.Unlock()
	out := n.wait
	n.wait = nil
	return out
}

// notify says what stands in no store. A place that can take nothing now is told later.
func (p *Pump) notify(ctx context.Context) error {
	for _, n := range p.desk.notices.take() {
		name, _, _ := strings.Cut(string(n.post.To.Place), ":")
		adapter, ok := p.adapters[name]
		err := chat.ErrLater
		if ok {
			n.post.Lines = chat.Fold(n.post.Lines)
			_, err = adapter.Send(ctx, n.post)
		}
		switch {
		case errors.Is(err, chat.ErrLater):
			p.desk.notices.add(n)
			continue
		case err != nil:
			p.desk.log.Warn("a notice could not be shown", "place", n.post.To.Place, "err", err)
		}
		if n.said != nil {
			if err := n.said(ctx); err != nil {
				return err
			}
		}
	}
	return nil
}
