package discord

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"runtime"
	"strings"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

// answerer is a desk that answers everything with one post.
type answerer struct{ chattest.Desk }

func (*answerer) Handle(_ context.Context, m chat.Message) ([]chat.Post, error) {
	p := told("free/"+string(m.Source), "Ann rolls 12d6 for 4+: 5 successes.", "6 6 5 4 4 · 3 3 3 2 1 1 1 (#3, sealed)")
	p.To.Place = m.Place
	p.Choices = []chat.Choice{{Number: 1, Label: "4+"}, {Number: 2, Label: "5+"}}
	return []chat.Post{p}, nil
}

// Of an interaction that is over nothing is kept but where its post stands, and
// what its message tells of.
func TestNothingIsKept(t *testing.T) {
	t.Parallel()
	now := newHours()
	p := play(t, discordtest.Options{Now: now.now}, &answerer{})
	const many = 200
	for range many {
		i := p.Server.Do(p.ann(), discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1})
		i.Answer(t.Context())
	}
	now.pass(20 * time.Minute)
	p.Server.Until("all is thrown away", func() bool {
		if err := p.bot.forget(t.Context()); err != nil {
			t.Fatal(err)
		}
		asked, kept := 0, 0
		err := p.pocket.Scan("", func(key string, _ []byte) error {
			if strings.HasPrefix(key, keyAsk) || strings.HasPrefix(key, keyTry) {
				asked++
			}
			kept++
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		p.bot.mu.Lock()
		defer p.bot.mu.Unlock()
		p.bot.asked.mu.Lock()
		defer p.bot.asked.mu.Unlock()
		return asked == 0 && kept <= 2*many+3 && len(p.bot.replies)+len(p.bot.latest)+len(p.bot.before)+len(p.bot.asked.last) == 0
	})
}

// BenchmarkAnswers takes interactions at 200 a second to a desk that answers at once,
// and holds the time until Discord has the answer against the server's own echo in the
// same run: the same interactions at a client that is nothing but gateway and HTTP.
// That is the floor of the goals, since every answer goes that way; a bare GET of the
// server, which knows neither gateway nor interaction, stands beside it for measure.
// Goals: p50/echo at most 3, p99-ms at most 20. BenchmarkServed in cmd/bot measures the
// whole program, with its store.
func BenchmarkAnswers(b *testing.B) {
	help := map[string]any{"id": "1", "name": "help", "type": 1}
	p := play(b, discordtest.Options{Unchecked: true}, &answerer{})
	bare := discordtest.Start(b, discordtest.Options{Unchecked: true, Guilds: []discordtest.Guild{{ID: discordtest.StageGuild, Name: "Fen"}}})
	bare.Echo(b, callback{answerPost, compose(told("free/1/0", "Ann rolls 12d6 for 4+: 5 successes.", "6 6 5 4 4 · 3 3 3 2 1 1 1 (#3, sealed)"))})
	p.Server.Load(b, 100, help) // so that lines are open on both
	bare.Load(b, 100, help)
	echo := bare.Load(b, 1000, help)
	get := gets(b, bare, 1000)
	b.ResetTimer()
	took := p.Server.Load(b, b.N, help)
	b.ReportMetric(float64(took.At(0.5))/float64(echo.At(0.5)), "p50/echo")
	b.ReportMetric(float64(took.At(0.99))/float64(echo.At(0.99)), "p99/echo")
	b.ReportMetric(float64(took.At(0.5))/float64(get.At(0.5)), "p50/get")
	b.ReportMetric(took.At(0.5).Seconds()*1000, "p50-ms")
	b.ReportMetric(took.At(0.99).Seconds()*1000, "p99-ms")
}

// gets asks the server n times, one after the other, for what costs it nothing.
func gets(b *testing.B, s *discordtest.Server, n int) discordtest.Times {
	took := make(discordtest.Times, n)
	for i := range took {
		began := time.Now()
		r, err := http.Get(s.URL + "/api/v10/gateway")
		if err != nil {
			b.Fatal(err)
		}
		_, _ = io.Copy(io.Discard, r.Body)
		_ = r.Body.Close()
		took[i] = time.Since(began)
	}
	return took
}

// BenchmarkServers connects to 2,500 servers of 26 KB and tells what the bot keeps of
// them; the floor is the size of what Discord sends.
func BenchmarkServers(b *testing.B) {
	const servers, size = 2500, 26 << 10
	var guilds []discordtest.Guild
	for n := range servers {
		guilds = append(guilds, discordtest.Guild{ID: fmt.Sprint((int64(n) + 2) << 22), Name: "Osier", More: map[string]any{"roles": []any{map[string]any{"id": "1", "name": strings.Repeat("x", size)}}}})
	}
	heap := func() float64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.GC()
		runtime.ReadMemStats(&m)
		return float64(m.HeapAlloc) / (1 << 20)
	}
	for b.Loop() {
		before := heap()
		p := play(b, discordtest.Options{Unchecked: true, Guilds: guilds}, &answerer{})
		p.Server.Until("all servers are known", func() bool {
			p.bot.guilds.mu.Lock()
			defer p.bot.guilds.mu.Unlock()
			return len(p.bot.guilds.known) > servers
		})
		p.Server.Do(p.ann(), discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1}).Answer(b.Context()) // after all of them
		kept := heap() - before
		b.ReportMetric(kept, "kept-MB")
		b.ReportMetric(kept/(servers*size/float64(1<<20)), "kept/sent")
	}
}
