package main

import (
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
)

// readyBytes is how large the store of BenchmarkReady is: DRUMHEAD_BENCH_MB, else the
// gigabyte that its goal is for.
func readyBytes(b *testing.B) int64 {
	text := os.Getenv("DRUMHEAD_BENCH_MB")
	if text == "" {
		return 1 << 30
	}
	mb, err := strconv.Atoi(text)
	if err != nil || mb < 1 {
		b.Fatalf("DRUMHEAD_BENCH_MB=%q: a number of megabytes expected, say 1024", text)
	}
	return int64(mb) << 20
}

// BenchmarkReady starts `bot serve` on a store of a gigabyte of ledgers and on an empty
// one, each as it lies in memory and as it comes from the disk, and measures the time
// until Discord says READY, and from there until a roll stands in its channel; the roll
// is given as soon as READY is said. The floors are the empty store and reading the
// file once. Goal: ready-ms of the gigabyte at most 1000. Making it takes a minute.
func BenchmarkReady(b *testing.B) {
	if testing.Short() {
		b.Skip("it makes a gigabyte of ledgers first")
	}
	path := b.TempDir()
	y := newYears(b, path)
	empty := filepath.Join(b.TempDir(), "games")
	y.fill(readyBytes(b))
	y.pocket()
	b.Logf("%d places, %d posts", y.places, y.posts.Load())
	for _, c := range []struct {
		name, path string
		place      string
		cold       bool
	}{{"empty", empty, "6000000", false}, {"full", path, "6000000", false}, {"full-cold", path, "6000000", true}} {
		b.Run(c.name, func(b *testing.B) {
			var before, after, read []time.Duration
			for b.Loop() {
				if c.cold {
					cold(b, c.path)
				}
				x, z := readyIn(b, c.path, c.place)
				before, after = append(before, x), append(after, z)
				if c.name != "empty" {
					if c.cold {
						cold(b, c.path)
					}
					read = append(read, reading(b, filepath.Join(c.path, storeFile)))
				}
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(middle(before).Seconds()*1000, "start-ms")
			b.ReportMetric(middle(after).Seconds()*1000, "ready-ms")
			if read != nil {
				b.ReportMetric(middle(read).Seconds()*1000, "read-ms")
				b.ReportMetric(float64(middle(after))/float64(middle(read)), "ready/read")
			}
		})
	}
}

// reading is how long it takes to read a file once.
func reading(b *testing.B, path string) time.Duration {
	began := time.Now()
	f, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	if _, err := io.Copy(io.Discard, f); err != nil {
		b.Fatal(err)
	}
	return time.Since(began)
}

// readyIn starts the bot in a directory: the time until READY, and from there until a
// roll in a place has its post.
func readyIn(b *testing.B, data, place string) (before, after time.Duration) {
	server := discordtest.Start(b, discordtest.Options{Unchecked: true, Guilds: []discordtest.Guild{{ID: "5000000", Name: "Osier"}}})
	server.Add(discordtest.Channel{ID: place, Guild: "5000000", Name: "fen"})
	began := time.Now()
	stop := serving(b, server, data)
	before = time.Since(began)
	server.Do(discordtest.Who{ID: "4194304011", Name: "Ann", Guild: "5000000", Channel: place}, discordtest.SlashCommand, map[string]any{"id": "1", "name": "roll", "type": 1,
		"options": []any{map[string]any{"name": "dice", "type": 3, "value": "12d6 4+ for lantern oil"}}})
	server.Until("the roll stands in its channel", func() bool {
		for _, m := range server.Messages(place) {
			if strings.Contains(m.Content(), "lantern oil") {
				return true
			}
		}
		return false
	})
	after = time.Since(began) - before
	stop()
	return before, after
}
