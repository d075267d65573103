package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"drumhead/cmd/bot/internal/discord/discordtest"
)

// BenchmarkServed gives /roll to the whole program at 200 a second, in 50 places, with
// its store and its pocket on the disk, and holds the time until Discord has the answer
// against the echo of the loopback server and against one bare commit of bbolt on the
// same disk, which is what one append costs at least. Goal: p99-ms at most 20 more than
// append-p99-ms.
func BenchmarkServed(b *testing.B) {
	guild := []discordtest.Guild{{ID: discordtest.StageGuild, Name: "Osier"}}
	server := discordtest.Start(b, discordtest.Options{Unchecked: true, Guilds: guild})
	bare := discordtest.Start(b, discordtest.Options{Unchecked: true, Guilds: guild})
	for i := range 50 {
		server.Add(discordtest.Channel{ID: fmt.Sprint(4194304500 + i), Guild: discordtest.StageGuild, Name: "fen"})
	}
	bare.Echo(b, map[string]any{"type": discordtest.AnswerMessage, "data": map[string]any{"content": "Ann rolls 12d6 for 4+: 5 successes."}})
	stop := serving(b, server, filepath.Join(b.TempDir(), "games"))
	roll := map[string]any{"id": "1", "name": "roll", "type": 1, "options": []any{map[string]any{"name": "dice", "type": 3, "value": "12d6 4+"}}}
	server.Load(b, 200, roll) // so that lines and ledgers are open
	bare.Load(b, 100, roll)
	echo := bare.Load(b, 1000, roll)
	floor := commits(b, 400)
	b.ResetTimer()
	took := server.Load(b, b.N, roll)
	b.StopTimer()
	stop()
	b.ReportMetric(float64(took.At(0.5))/float64(echo.At(0.5)+floor.At(0.5)), "p50/echo+append")
	b.ReportMetric(took.At(0.5).Seconds()*1000, "p50-ms")
	b.ReportMetric(took.At(0.99).Seconds()*1000, "p99-ms")
	b.ReportMetric(floor.At(0.5).Seconds()*1000, "append-p50-ms")
	b.ReportMetric(floor.At(0.99).Seconds()*1000, "append-p99-ms")
	b.ReportMetric(echo.At(0.5).Seconds()*1000, "echo-p50-ms")
}

// serving starts `bot serve` in a directory; what it gives stops it in order.
func serving(b *testing.B, server *discordtest.Server, data string) (stop func()) {
	path := filepath.Join(b.TempDir(), "drumhead.toml")
	b.Setenv("DRUMHEAD_TEST_TOKEN", discordtest.Token)
	config := fmt.Sprintf("data = %q\n[discord]\ntoken-env = \"DRUMHEAD_TEST_TOKEN\"\nbase = %q\nfiles = %[2]q\n", data, server.URL)
	if err := os.WriteFile(path, []byte(config), 0o600); err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var errs shared
	end := make(chan int, 1)
	go func() { end <- Run(ctx, []string{"serve", "--config", path}, strings.NewReader(""), io.Discard, &errs) }()
	server.Until("the bot is there", func() bool { return server.Lines().Sessions > 0 })
	return func() {
		cancel()
		if code := <-end; code != good {
			b.Fatalf("it ended with %d: %s", code, errs.String())
		}
	}
}

// commits are n bare commits of one small value, at 200 a second.
func commits(b *testing.B, n int) discordtest.Times {
	db, err := bbolt.Open(filepath.Join(b.TempDir(), "floor.db"), 0o600, nil)
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	took := make(discordtest.Times, n)
	tick := time.NewTicker(time.Second / 200)
	defer tick.Stop()
	for i := range took {
		<-tick.C
		began := time.Now()
		err := db.Update(func(tx *bbolt.Tx) error {
			room, err := tx.CreateBucketIfNotExists([]byte("floor"))
			if err != nil {
				return err
			}
			return room.Put([]byte(fmt.Sprint(i)), make([]byte, 600))
		})
		if err != nil {
			b.Fatal(err)
		}
		took[i] = time.Since(began)
	}
	return took
}
