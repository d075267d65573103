package discord

import (
	"context"
	"encoding/json"
	"strings"
	"time"
)

// How long it is kept where a post stands. Who picks from an older one is told
// that it is old; an older board that changes is posted anew.
const (
	sweepEvery   = 24 * time.Hour
	keepWhispers = 24 * time.Hour       // what one person saw: it cannot be changed after 15 minutes
	keepPosts    = 400 * 24 * time.Hour // a season and the year after it
	sweepAtOnce  = 5000                 // keys in one commit
)

// sweep throws away where old posts stand, so that the pocket holds a year and
// not all time.
func (a *Adapter) sweep(ctx context.Context, now time.Time) error {
	for {
		old := map[string][]byte{}
		full := func() bool { return len(old) >= sweepAtOnce }
		err := a.book.pocket.Scan(keyPost, func(key string, value []byte) error {
			var s sent
			if !full() && (json.Unmarshal(value, &s) != nil || now.Sub(s.Time) > s.lasts()) {
				old[key] = nil
			}
			return nil
		})
		if err == nil {
			err = a.book.pocket.Scan(keyMsg, func(key string, _ []byte) error {
				if id := strings.TrimPrefix(key, keyMsg); !full() && now.Sub(created(id)) > keepPosts {
					old[key] = nil
				}
				return nil
			})
		}
		if err != nil || len(old) == 0 {
			return err
		}
		if err := a.book.put(ctx, old); err != nil {
			return err
		}
	}
}

// lasts is how long it is worth knowing where a post stands.
func (s sent) lasts() time.Duration {
	if s.Only != "" {
		return keepWhispers
	}
	return keepPosts
}
