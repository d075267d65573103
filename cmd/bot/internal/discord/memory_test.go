package discord

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strconv"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
)

// sieve is a pocket that keeps nothing, so that only the adapter's own memory is
// measured.
type sieve struct{}

func (sieve) Get(string) ([]byte, error)                      { return nil, nil }
func (sieve) Scan(string, func(string, []byte) error) error   { return nil }
func (sieve) Commit(context.Context, map[string][]byte) error { return nil }

// crowd is an adapter whose Discord takes every answer and remembers none, and
// whose clock goes on 5 ms with each interaction: 200 a second.
type crowd struct {
	*ear
	clock *hours
	said  int
}

func newCrowd(t testing.TB) *crowd {
	c := &crowd{clock: newHours()}
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Date", c.clock.now().Format(http.TimeFormat)) // by which the adapter sets its own
		fmt.Fprint(w, `{"resource":{"type":4,"message":{"id":"4194304"}}}`)
	}))
	t.Cleanup(web.Close)
	t.Setenv("DRUMHEAD_TEST_TOKEN", discordtest.Token)
	a, err := New(Settings{TokenEnv: "DRUMHEAD_TEST_TOKEN", Base: web.URL, Files: web.URL}, Parts{Pocket: sieve{}, Specs: stageSpecs, Say: sayID, Now: c.clock.now})
	if err != nil {
		t.Fatal(err)
	}
	c.ear = &ear{Adapter: a, ctx: t.Context(), desk: &answerer{}}
	return c
}

// ask lets n people of as many channels give a command each, and waits for all.
func (c *crowd) ask(t testing.TB, n int) {
	for range n {
		c.said++
		c.clock.pass(5 * time.Millisecond)
		id := strconv.FormatInt((c.clock.now().UnixMilli()-1420070400000)<<22|int64(c.said)&0xfff, 10) // Discord's epoch: documentation, "Snowflakes"
		who := strconv.Itoa(1<<40 + c.said%5000)
		data, err := json.Marshal(map[string]any{"id": id, "application_id": discordtest.Application, "type": discordtest.SlashCommand, "token": "secret-" + id,
			"channel_id": who, "guild_id": discordtest.StageGuild, "app_permissions": discordtest.Invited, "data": map[string]any{"id": "1", "name": "help", "type": 1},
			"member": map[string]any{"permissions": "0", "roles": []string{}, "user": map[string]any{"id": who, "username": "ann"}}})
		if err != nil {
			t.Fatal(err)
		}
		c.hear("INTERACTION_CREATE", data)
	}
	c.going.Wait()
}

// heap is what lives, in bytes.
func heap() float64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.GC()
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc)
}

// BenchmarkMemory has b.N interactions answered and tells what each leaves behind
// when its quarter of an hour is over (0 is flat), and the most that was held: that
// of a quarter of an hour at 200 a second. Run it with -benchtime 1000000x.
func BenchmarkMemory(b *testing.B) {
	const minute = 200 * 60
	c := newCrowd(b)
	quarter := func() {
		c.clock.pass(20 * time.Minute)
		if err := c.forget(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
	c.ask(b, minute)
	quarter()
	before := heap()
	most := before
	b.ResetTimer()
	for done := 0; done < b.N; done += 200 {
		c.ask(b, min(200, b.N-done))
		if c.said%minute < 200 {
			if err := c.forget(b.Context()); err != nil {
				b.Fatal(err)
			}
			most = max(most, heap())
		}
	}
	b.StopTimer()
	quarter()
	b.ReportMetric((heap()-before)/float64(b.N), "left-B/op")
	b.ReportMetric((most-before)/(1<<20), "most-MB")
}

// An interaction that is over leaves nothing in memory: of 3,000 not one is known
// any more.
func TestCrowdLeavesNothing(t *testing.T) {
	c := newCrowd(t)
	c.ask(t, 3000)
	c.clock.pass(20 * time.Minute)
	if err := c.forget(t.Context()); err != nil {
		t.Fatal(err)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.count != 0 || len(c.of) != 0 || len(c.replies)+len(c.latest)+len(c.before)+len(c.wrong)+len(c.asked.last) != 0 {
		t.Errorf("%d at work, %d replies, %d latest, %d heard, %d places", c.count, len(c.replies), len(c.latest), len(c.before), len(c.asked.last))
	}
	if c.said != 3000 {
		t.Errorf("%d were said", c.said)
	}
}
