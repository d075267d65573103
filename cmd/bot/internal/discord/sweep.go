package discord

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"time"
)

// How long it is kept where a post stands. Who picks from an older one is told
// that it is old; an older board that changes is posted anew.
const (
	sweepAfter   = 10 * time.Minute // the start, which has other things to do
	sweepEvery   = 24 * time.Hour
	keepWhispers = 24 * time.Hour       // what one person saw: it cannot be changed after 15 minutes
	keepPosts    = 400 * 24 * time.Hour // a season and the year after it
	sweepAtOnce  = 5000                 // keys in one commit
	sweepMost    = 20 * sweepAtOnce     // keys of one look through the pocket
	sweepBreath  = 1000                 // keys, after which others have a turn: nobody waits for this
)

// sweep throws away where old posts stand, so that the pocket holds a year and
// not all time.
func (a *Adapter) sweep(ctx context.Context, now time.Time) error {
	for {
		old, err := a.old(ctx, now)
		if err != nil {
			return err
		}
		for part := range slices.Chunk(old, sweepAtOnce) {
			changes := map[string][]byte{}
			for _, key := range part {
				changes[key] = nil
			}
			if err := a.book.put(ctx, changes); err != nil {
				return err
			}
		}
		if len(old) < sweepMost {
			return nil
		}
	}
}

// old looks for what is thrown away, slowly. It ends early when the program does.
func (a *Adapter) old(ctx context.Context, now time.Time) (old []string, err error) {
	seen := 0
	look := func(prefix string, isOld func(key string, value []byte) bool) {
		if err != nil {
			return
		}
		err = a.book.pocket.Scan(prefix, func(key string, value []byte) error {
			if seen++; seen%sweepBreath == 0 && !sleep(ctx, time.Millisecond) {
				return ctx.Err()
			}
			if len(old) < sweepMost && isOld(key, value) {
				old = append(old, key)
			}
			return nil
		})
	}
	look(keyPost, func(_ string, value []byte) bool {
		var s sent
		return json.Unmarshal(value, &s) != nil || now.Sub(s.Time) > s.lasts()
	})
	look(keyMsg, func(key string, _ []byte) bool { return now.Sub(created(strings.TrimPrefix(key, keyMsg))) > keepPosts })
	look(keyWait, func(key string, _ []byte) bool { return stale(key, now) })
	return old, err
}

// lasts is how long it is worth knowing where a post stands.
func (s sent) lasts() time.Duration {
	switch {
	case s.Waits:
		return keepWaiting
	case s.Only != "":
		return keepWhispers
	}
	return keepPosts
}
