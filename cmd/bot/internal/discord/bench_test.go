package discord

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"runtime"
	"slices"
	"strings"
	"sync"
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

// at is a part of measured times, 0.5 for the median.
func at(times []time.Duration, part float64) time.Duration {
	slices.Sort(times)
	return times[int(part*float64(len(times)-1))]
}

// load lets somebody give commands at 200 a second, and gives the times until Discord
// had the answers.
func load(b *testing.B, s *discordtest.Server, n int) []time.Duration {
	took := make([]time.Duration, n)
	var all sync.WaitGroup
	tick := time.NewTicker(time.Second / 200)
	defer tick.Stop()
	for i := range n {
		<-tick.C
		all.Go(func() {
			who := discordtest.Who{ID: "4194304011", Name: "Ann", Guild: discordtest.StageGuild, Channel: fmt.Sprint(4194304500 + i%50)}
			began := time.Now()
			s.Do(who, discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1}).Answer(b.Context())
			took[i] = time.Since(began)
		})
	}
	all.Wait()
	return took
}

// plainest is the floor: a client that knows only one answer, and gives it by
// net/http as soon as the gateway tells of an interaction.
func plainest(b *testing.B) *discordtest.Server {
	s := discordtest.Start(b, discordtest.Options{Unchecked: true, Guilds: []discordtest.Guild{{ID: discordtest.StageGuild, Name: "Fen"}}})
	body, err := json.Marshal(callback{answerPost, compose(told("free/1/0", "Ann rolls 12d6 for 4+: 5 successes.", "6 6 5 4 4 · 3 3 3 2 1 1 1 (#3, sealed)"))})
	if err != nil {
		b.Fatal(err)
	}
	w, err := wire(Config{Token: discordtest.Token, Base: s.URL})
	if err != nil {
		b.Fatal(err)
	}
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: idleLines}}
	ctx, cancel := context.WithCancel(context.Background())
	over := make(chan error, 1)
	go func() {
		over <- w.supervisor(0, 1, func(kind string, data json.RawMessage) {
			var i interaction
			if kind != "INTERACTION_CREATE" || json.Unmarshal(data, &i) != nil {
				return
			}
			go func() {
				r, err := client.Post(s.URL+"/api/v10/interactions/"+i.ID+"/"+i.Token+"/callback?with_response=true", "application/json", bytes.NewReader(body))
				if err == nil {
					_, _ = io.Copy(io.Discard, r.Body)
					_ = r.Body.Close()
				}
			}()
		}).run(ctx)
	}()
	b.Cleanup(func() { cancel(); <-over })
	s.Until("the floor is there", func() bool { return s.Lines().Sessions == 1 })
	return s
}

// BenchmarkAnswers takes interactions at 200 a second to a desk that answers at
// once, and holds the time until Discord has the answer against that of the
// plainest client in the same run.
func BenchmarkAnswers(b *testing.B) {
	p := play(b, discordtest.Options{Unchecked: true}, &answerer{})
	bare := plainest(b)
	load(b, p.Server, 100) // so that lines are open on both
	load(b, bare, 100)
	floor := load(b, bare, 1000)
	b.ResetTimer()
	took := load(b, p.Server, b.N)
	b.ReportMetric(float64(at(took, 0.5))/float64(at(floor, 0.5)), "p50/floor")
	b.ReportMetric(float64(at(took, 0.99))/float64(at(floor, 0.99)), "p99/floor")
	b.ReportMetric(at(took, 0.5).Seconds()*1000, "p50-ms")
	b.ReportMetric(at(took, 0.99).Seconds()*1000, "p99-ms")
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
