package storagetest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"drumhead/storage"
)

// kindOf names the kind of an error, "" for none.
func kindOf(err error) string {
	var seen *storage.Seen
	var damaged *storage.Damaged
	switch {
	case err == nil:
		return ""
	case errors.As(err, &seen):
		return fmt.Sprintf("seen %d to %d %v", seen.First, seen.Last, seen.Posts)
	case errors.As(err, &damaged):
		return fmt.Sprintf("damaged: %v", damaged)
	}
	for kind, target := range map[string]error{
		"conflict": storage.ErrConflict, "fired": storage.ErrFired, "invalid": storage.ErrInvalid, "none": storage.ErrNone,
		"full": storage.ErrFull, "closed": storage.ErrClosed, "unknown": storage.ErrUnknown,
	} {
		if errors.Is(err, target) {
			return kind
		}
	}
	return "error " + err.Error()
}

// Snapshot writes down everything that can be asked of a store about some
// ledgers and places, byte for byte.
func Snapshot(s storage.Store, ledgers []storage.LedgerID, places []string, now time.Time) string {
	var out strings.Builder
	note := func(format string, args ...any) { fmt.Fprintf(&out, format+"\n", args...) }
	ctx := context.Background()
	for h, err := range s.Ledgers(ctx) {
		note("ledger %v %d %v %v %s", h.Ledger, h.Size, h.Root, h.Last, kindOf(err))
	}
	for _, l := range ledgers {
		snapshotLedger(s, l, note)
	}
	for _, place := range places {
		of, err := s.Of(ctx, place)
		note("of %s: %v %s", place, of, kindOf(err))
		open, err := s.Open(ctx, place)
		note("open in %s: %v %s", place, open, kindOf(err))
		for n := range 4 {
			id, err := s.PostOf(ctx, place, fmt.Sprint("m", n))
			note("receipt m%d: %v %s", n, id, kindOf(err))
		}
	}
	for _, max := range []int{3, 1000} {
		posts, err := s.Outbox(ctx, max)
		note("outbox %s", kindOf(err))
		for _, p := range posts {
			note("  %v %s %d %q %v", p.ID, p.Place, p.Waiting.UnixMicro(), p.Bytes, p.Open)
		}
		timers, next, err := s.Due(ctx, now, max)
		note("due, then %v: %s", next, kindOf(err))
		for _, t := range timers {
			note("  %v %s %v %q", t.Ledger, t.Name, t.Due, t.Bytes)
		}
	}
	for kv, err := range s.Shelf("settings").Each(ctx, "") {
		note("setting %s=%q %s", kv.Key, kv.Value, kindOf(err))
	}
	return out.String()
}

func snapshotLedger(s storage.Store, l storage.LedgerID, note func(string, ...any)) {
	ctx := context.Background()
	about, err := s.About(ctx, l)
	note("about %v: %q %q %x %s", l, about.Community, about.Place, about.Salt, kindOf(err))
	for e, err := range s.Read(ctx, l, 0, 1<<40) {
		note("%d %s %s", e.Seq, e.Bytes, kindOf(err))
		words, err := s.Words(ctx, l, e.Seq)
		note("words %v %s", words, kindOf(err))
		for n := range 3 {
			post, receipt, err := s.Post(ctx, storage.PostID{Ledger: l, Seq: e.Seq, N: n})
			if err == nil {
				note("post %d: %s %v %q %q", n, post.Place, post.Open, post.Bytes, receipt)
			}
		}
	}
	players, err := s.Players(ctx, l)
	note("players %v %s", players, kindOf(err))
	secret, err := s.Secret(ctx, l)
	note("secret %q %s", secret, kindOf(err))
}
