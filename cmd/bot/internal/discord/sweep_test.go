package discord

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"strings"
	"testing"
	"time"

	"drumhead/commands/chat/chattest"
)

// Where old posts stand is forgotten, a whisper's after a day; what is younger
// stays, and so does everything else.
func TestSweep(t *testing.T) {
	now := time.Date(2026, 11, 27, 12, 0, 0, 0, time.UTC)
	pocket := chattest.NewPocket()
	a := &Adapter{Parts: Parts{Pocket: pocket, Log: slog.New(slog.DiscardHandler)}, book: &book{pocket: pocket}}
	message := func(age time.Duration) string {
		return strconv.FormatInt((now.Add(-age).UnixMilli()-1420070400000)<<22, 10) // Discord's epoch: documentation, "Snowflakes"
	}
	kept := map[string][]byte{keyHome + "7": []byte("9"), keyMute + "3": value(mute{Since: now.Add(-10000 * time.Hour)})}
	gone := 0
	put := func(post string, age time.Duration, only string, stays bool) {
		id := message(age)
		changes := map[string][]byte{keyPost + post: value(sent{Channel: "1", Message: id, Only: only, Time: now.Add(-age)})}
		if only == "" {
			changes[keyMsg+id] = value(tells{})
		}
		for key, v := range changes {
			if stays {
				kept[key] = v
			} else {
				gone++
			}
		}
		if err := pocket.Commit(t.Context(), changes); err != nil {
			t.Fatal(err)
		}
	}
	if err := pocket.Commit(t.Context(), kept); err != nil {
		t.Fatal(err)
	}
	put("new", time.Hour, "", true)
	put("young", keepPosts-time.Hour, "", true)
	put("old", keepPosts+time.Hour, "", false)
	put("whisper", time.Hour, "7", true)
	put("old whisper", keepWhispers+time.Hour, "7", false)
	for i := range sweepAtOnce {
		put(fmt.Sprint("many/", i), keepPosts+time.Duration(i+2)*time.Hour, "", false)
	}
	before := pocket.Commits()
	if err := a.sweep(t.Context(), now); err != nil {
		t.Fatal(err)
	}
	var left []string
	if err := pocket.Scan("", func(key string, _ []byte) error { left = append(left, key); return nil }); err != nil {
		t.Fatal(err)
	}
	if len(left) != len(kept) {
		t.Errorf("%d keys are left, expected %d: %s", len(left), len(kept), strings.Join(left[:min(len(left), 20)], " "))
	}
	for key := range kept {
		if v, err := pocket.Get(key); v == nil || err != nil {
			t.Errorf("%s is gone, %v", key, err)
		}
	}
	if n := pocket.Commits() - before; n != (gone+sweepAtOnce-1)/sweepAtOnce {
		t.Errorf("%d keys in %d commits", gone, n)
	}
}

// A program that is stopped does not wait until all was looked through.
func TestSweepEnds(t *testing.T) {
	now := time.Date(2026, 11, 27, 12, 0, 0, 0, time.UTC)
	pocket := chattest.NewPocket()
	a := &Adapter{Parts: Parts{Pocket: pocket, Log: slog.New(slog.DiscardHandler)}, book: &book{pocket: pocket}}
	all := map[string][]byte{}
	for i := range sweepBreath {
		all[keyPost+fmt.Sprint(i)] = value(sent{Time: now.Add(-2 * keepPosts)})
	}
	if err := pocket.Commit(t.Context(), all); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if err := a.sweep(ctx, now); !errors.Is(err, context.Canceled) {
		t.Errorf("it went on: %v", err)
	}
}
