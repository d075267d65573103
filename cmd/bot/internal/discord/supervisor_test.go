package discord

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
)

// quick are bounds for tests: a hundredth of the usual ones and less. discordgo
// sleeps a second with each line that it closes, so unlock is longer than that.
var quick = bounds{
	silence: time.Second, open: 2 * time.Second, unlock: 4 * time.Second, refill: 300 * time.Millisecond,
	apart: time.Millisecond, first: 20 * time.Millisecond, most: 40 * time.Millisecond, worst: 80 * time.Millisecond, quiet: time.Second,
}

// listener is a supervisor before a Discord for tests, and what it heard.
type listener struct {
	*supervisor
	end  chan error
	stop context.CancelFunc

	mu    sync.Mutex
	heard []string // kinds of events
	seen  []string // ids of interactions
	log   bytes.Buffer
}

func (l *listener) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.log.Write(b)
}

func (l *listener) hears(kind string, data json.RawMessage) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.heard = append(l.heard, kind)
	if kind == "INTERACTION_CREATE" {
		var i struct{ ID string }
		_ = json.Unmarshal(data, &i) // no id: the test sees that
		l.seen = append(l.seen, i.ID)
	}
}

func (l *listener) count(kind string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Count(fmt.Sprint(l.heard), kind)
}

func (l *listener) interactions() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]string(nil), l.seen...)
}

// listen starts a supervisor that ends with the test.
func listen(t *testing.T, s *discordtest.Server, token Token) *listener {
	t.Helper()
	l := &listener{end: make(chan error, 1)}
	w, err := wire(Config{Token: token, Base: s.URL, TLS: s.TLS, Log: slog.New(slog.NewTextHandler(l, nil))})
	if err != nil {
		t.Fatal(err)
	}
	l.supervisor = w.supervisor(0, 1, l.hears)
	l.bounds = quick
	ctx, cancel := context.WithCancel(t.Context())
	l.stop = cancel
	over := make(chan struct{})
	go func() {
		defer close(over)
		l.end <- l.run(ctx)
	}()
	t.Cleanup(func() {
		cancel()
		<-over
		if t.Failed() {
			t.Log(l.log.String())
		}
		if strings.Contains(l.log.String(), string(token)) {
			t.Error("the token stands in the log")
		}
	})
	return l
}

var fen = discordtest.Who{ID: "11", Name: "Ann", Guild: "4194304", Channel: "21"}

func serve(t *testing.T, o discordtest.Options) *discordtest.Server {
	o.Guilds = []discordtest.Guild{{ID: fen.Guild, Name: "Fen"}}
	if o.Heartbeat == 0 {
		o.Heartbeat = 200 * time.Millisecond
	}
	return discordtest.Start(t, o)
}

// press lets something happen and waits until it was heard.
func press(t *testing.T, s *discordtest.Server, l *listener) {
	t.Helper()
	i := s.Do(fen, discordtest.SlashCommand, map[string]any{"id": "1", "name": "roll", "type": 1})
	s.Until("interaction "+i.ID+" is heard", func() bool { return strings.Contains(fmt.Sprint(l.interactions()), i.ID) })
}

func begin(t *testing.T, s *discordtest.Server) *listener {
	t.Helper()
	l := listen(t, s, discordtest.Token)
	s.Until("a session begins", func() bool { return l.count("GUILD_CREATE") == 1 })
	return l
}

// Over TLS and without, a bot asks for two intents and for nothing that it must
// be allowed, and says good-bye when it stops.
func TestBeginsAndEnds(t *testing.T) {
	t.Parallel()
	for _, secure := range []bool{false, true} {
		s := serve(t, discordtest.Options{TLS: secure})
		l := begin(t, s)
		press(t, s, l)
		if id := s.Lines().Identifies; len(id) != 1 || id[0].Intents != int(intents) || id[0].Shard != nil {
			t.Errorf("identified as %+v", id)
		}
		l.stop()
		if err := <-l.end; err != nil {
			t.Error(err)
		}
		s.Until("the line is closed", func() bool { return s.Lines().Open == 0 })
		if got := s.Lines().Closes; fmt.Sprint(got) != "[1000]" {
			t.Errorf("closed with %v", got)
		}
	}
}

// Whatever breaks a line, the session goes on and loses nothing: RESUME, and no
// second IDENTIFY; nothing is heard twice.
func TestResumes(t *testing.T) {
	t.Parallel()
	for name, harm := range map[string]func(*discordtest.Server){
		"cut":         (*discordtest.Server).Cut,
		"closed 4000": func(s *discordtest.Server) { s.CloseAll(4000) },
		"closed 1001": func(s *discordtest.Server) { s.CloseAll(1001) },
		"closed 4009": func(s *discordtest.Server) { s.CloseAll(4009) },
		"reconnect":   func(s *discordtest.Server) { s.Op(discordtest.OpReconnect, nil) },
		"silence":     func(s *discordtest.Server) { s.Acknowledge(false) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := serve(t, discordtest.Options{})
			l := begin(t, s)
			press(t, s, l)
			harm(s)
			s.Until("the line is lost", func() bool { return s.Lines().Open == 0 })
			s.Acknowledge(true)
			press(t, s, l)
			if seen := l.interactions(); len(seen) != 2 {
				t.Errorf("%d interactions were heard, 2 happened", len(seen))
			}
			if lines := s.Lines(); len(lines.Identifies) != 1 || lines.Resumes < 1 || len(lines.Closes) != 0 {
				t.Errorf("%d IDENTIFY, %d RESUME, closed with %v", len(lines.Identifies), lines.Resumes, lines.Closes)
			}
		})
	}
}

// A lost session is begun anew, without a storm.
func TestBeginsAnewWhenForgotten(t *testing.T) {
	t.Parallel()
	s := serve(t, discordtest.Options{})
	l := begin(t, s)
	s.Forget()
	s.Cut()
	s.Until("a second session", func() bool { return l.count("READY") == 2 })
	press(t, s, l)
	if n := len(s.Lines().Identifies); n != 2 {
		t.Errorf("%d IDENTIFY, want 2", n)
	}
}

// What locks discordgo up is left behind, and a new session begins: op 7 in the
// place of READY, op 11 before it, a gateway that says nothing.
func TestLeavesDeadlocksBehind(t *testing.T) {
	t.Parallel()
	for name, harm := range map[string]func(c *discordtest.Conn){
		"op 7 for READY":     func(c *discordtest.Conn) { c.Send(discordtest.OpReconnect, nil) },
		"op 11 before READY": func(c *discordtest.Conn) { c.Send(discordtest.OpACK, nil) },
		"silence":            func(*discordtest.Conn) {},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var mu sync.Mutex
			first := true
			s := serve(t, discordtest.Options{Begin: func(c *discordtest.Conn, _ int) bool {
				mu.Lock()
				defer mu.Unlock()
				if !first {
					return false
				}
				first = false
				harm(c)
				return true
			}})
			press(t, s, begin(t, s))
		})
	}
	t.Run("no HELLO", func(t *testing.T) {
		t.Parallel()
		var mu sync.Mutex
		silences := 2
		s := serve(t, discordtest.Options{Hello: func(*discordtest.Conn) bool {
			mu.Lock()
			defer mu.Unlock()
			silences--
			return silences >= 0
		}})
		press(t, s, begin(t, s))
	})
}

// A gateway that answers every IDENTIFY with op 9 gets four on a line, then
// another line, not hundreds on one.
func TestNoIdentifyStorm(t *testing.T) {
	t.Parallel()
	s := serve(t, discordtest.Options{Begin: func(c *discordtest.Conn, _ int) bool {
		c.Send(discordtest.OpInvalidSession, false)
		return true
	}})
	listen(t, s, discordtest.Token)
	s.Until("three lines", func() bool { return s.Lines().Opened >= 4 })
	l := s.Lines()
	if most := (writesAllowed + 2) * l.Opened; len(l.Identifies) <= l.Opened || len(l.Identifies) > most {
		t.Errorf("%d IDENTIFY on %d lines, %d at the most", len(l.Identifies), l.Opened, most)
	}
}

// Close codes after which connecting again is no use end the bot with a sentence
// that says what to do; the token is named by none.
func TestFatalCloseCodes(t *testing.T) {
	t.Parallel()
	for code, want := range map[int]string{4004: "token", 4010: "--shards", 4011: "--shards", 4012: "newer version", 4013: "newer version", 4014: "privileged intent"} {
		s := serve(t, discordtest.Options{Begin: func(c *discordtest.Conn, _ int) bool { c.Close(code); return true }})
		l := listen(t, s, discordtest.Token)
		select {
		case err := <-l.end:
			if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), discordtest.Token) {
				t.Errorf("%d: %v", code, err)
			}
			l.end <- err
		case <-time.After(20 * time.Second):
			t.Errorf("%d: the bot goes on", code)
		}
	}
}

// A live line closed with 4004 is swallowed by discordgo and shows at the next.
func TestTokenTakenAway(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	taken := false
	s := serve(t, discordtest.Options{Begin: func(c *discordtest.Conn, _ int) bool {
		mu.Lock()
		defer mu.Unlock()
		if taken {
			c.Close(4004)
		}
		return taken
	}})
	l := begin(t, s)
	mu.Lock()
	taken = true
	mu.Unlock()
	s.CloseAll(4004)
	if err := <-l.end; !errors.Is(err, ErrToken) {
		t.Error(err)
	}
	l.end <- nil
	other := listen(t, serve(t, discordtest.Options{}), "wrong-token-of-osier")
	if err := <-other.end; !errors.Is(err, ErrToken) {
		t.Errorf("a wrong token: %v", err)
	}
	other.end <- nil
}

// With too few sessions left to start, the bot starts none and says so.
func TestKeepsTheLastStarts(t *testing.T) {
	t.Parallel()
	s := serve(t, discordtest.Options{Starts: startsKept - 1})
	l := listen(t, s, discordtest.Token)
	s.Until("the log says so", func() bool {
		l.mu.Lock()
		defer l.mu.Unlock()
		return strings.Contains(l.log.String(), "too many sessions")
	})
	if n := s.Lines().Opened; n != 0 {
		t.Errorf("%d lines were opened", n)
	}
}

// A storm ends before the sessions of the day are used up.
func TestStormSparesTheLastStarts(t *testing.T) {
	t.Parallel()
	s := serve(t, discordtest.Options{Starts: startsKept + 2, Begin: func(c *discordtest.Conn, _ int) bool {
		c.Send(discordtest.OpInvalidSession, false)
		return true
	}})
	l := listen(t, s, discordtest.Token)
	s.Until("the log says so", func() bool {
		l.mu.Lock()
		defer l.mu.Unlock()
		return strings.Contains(l.log.String(), "too many sessions")
	})
	if n := len(s.Lines().Identifies); n < 3 || n > 2+writesAllowed+2 {
		t.Errorf("%d sessions were started", n)
	}
}

// Breaks of every kind one after another: every interaction is heard, none twice.
func TestManyBreaks(t *testing.T) {
	t.Parallel()
	const breaks = 8
	var mu sync.Mutex
	r := rand.New(rand.NewPCG(2026, 10))
	s := serve(t, discordtest.Options{Begin: func(c *discordtest.Conn, op int) bool {
		mu.Lock()
		defer mu.Unlock()
		if op != discordtest.OpResume || r.IntN(4) > 0 {
			return false
		}
		c.Cut() // in the place of RESUMED
		return true
	}})
	l := begin(t, s)
	for i := range breaks {
		[]func(){s.Cut, func() { s.CloseAll(4000) }, func() { s.CloseAll(1001) }, func() { s.Op(discordtest.OpReconnect, nil) }}[r.IntN(4)]()
		press(t, s, l)
		if n := len(l.interactions()); n != i+1 {
			t.Fatalf("%d interactions were heard, %d happened", n, i+1)
		}
	}
}

// The usual bounds hold against the numbers that Discord documents or uses: a
// heartbeat of 41.25 s (from memory) with its jitter, 10,000 refusals in
// ten minutes, 50 requests a second.
func TestUsualBounds(t *testing.T) {
	t.Parallel()
	const heartbeat = 41250 * time.Millisecond
	if usual.silence <= heartbeat+usual.open/2 || usual.silence > 2*heartbeat {
		t.Errorf("silence of %v: one heartbeat must fit, two must not be missed", usual.silence)
	}
	if usual.refill >= heartbeat {
		t.Errorf("a write each %v starves heartbeats", usual.refill)
	}
	if invalidAllowed >= 10000 || perSecond >= 50 {
		t.Error("Discord shuts out at 10,000 refusals, and limits at 50 requests a second")
	}
}

// A shard says which one it is, and hears of its own servers.
func TestShard(t *testing.T) {
	t.Parallel()
	s := serve(t, discordtest.Options{})
	w, err := wire(Config{Token: discordtest.Token, Base: s.URL})
	if err != nil {
		t.Fatal(err)
	}
	l := &listener{}
	v := w.supervisor(1, 2, l.hears)
	v.bounds = quick
	ctx, cancel := context.WithCancel(t.Context())
	over := make(chan error, 1)
	go func() { over <- v.run(ctx) }()
	s.Until("guild 4194304 = 1 << 22 of shard 1 of 2", func() bool { return l.count("GUILD_CREATE") == 1 })
	if got := fmt.Sprint(s.Lines().Identifies[0].Shard); got != "[1 2]" {
		t.Errorf("shard %s", got)
	}
	cancel()
	if err := <-over; err != nil {
		t.Error(err)
	}
}
