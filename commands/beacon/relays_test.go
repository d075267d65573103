package beacon

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// relay serves the published rounds on loopback as drand's public JSON API
// does, and may misbehave. It counts how often it was asked.
type relay struct {
	*httptest.Server
	asked atomic.Int32
}

func serve(t *testing.T, misbehave http.HandlerFunc) *relay {
	v := vectors(t)
	r := &relay{}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /"+v.Chain.Hash+"/public/{round}", func(w http.ResponseWriter, q *http.Request) {
		r.asked.Add(1)
		if misbehave != nil {
			misbehave(w, q)
			return
		}
		n, _ := strconv.ParseUint(q.PathValue("round"), 10, 64)
		for _, known := range v.Rounds {
			if known.Round == n {
				fmt.Fprintf(w, `{"round":%d,"randomness":%q,"signature":%q}`, n, known.Randomness, known.Signature)
				return
			}
		}
		http.NotFound(w, q)
	})
	r.Server = httptest.NewServer(mux)
	t.Cleanup(r.Close)
	return r
}

func relays(t *testing.T, c Config, of ...*relay) *Relays {
	var urls []string
	for _, r := range of {
		urls = append(urls, r.URL)
	}
	r, err := NewRelays(Quicknet(), urls, c)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// quick keeps tests short: whoever is silent for long is slow.
var quick = Config{Patience: 300 * time.Millisecond, Stagger: 30 * time.Millisecond}

// patient waits for each relay to the end, so that each is heard.
var patient = Config{Patience: 5 * time.Second, Stagger: 5 * time.Second}

func TestRelaysGivePublishedRounds(t *testing.T) {
	honest := serve(t, nil)
	source := relays(t, patient, honest)
	for _, v := range vectors(t).Rounds {
		got, err := source.Round(t.Context(), v.Round)
		if err != nil || hex.EncodeToString(got) != v.Signature {
			t.Errorf("round %d: %x, %v", v.Round, got, err)
		}
	}
	if _, err := source.Round(t.Context(), 1006); !errors.Is(err, ErrEarly) || errors.Is(err, ErrUnreachable) {
		t.Errorf("a round that is not out: %v", err)
	}
	for _, none := range []uint64{0, 1 << 63} {
		if _, err := source.Round(t.Context(), none); !errors.Is(err, ErrEarly) {
			t.Errorf("round %d: %v", none, err)
		}
	}
	if got := source.Tally(); len(got) != 1 || got[0] != (Tally{honest.URL, 7, 1, 0, 0}) {
		t.Errorf("%+v", got)
	}
}

// answers a relay with a fixed text.
func says(text string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, text) }
}

// hang answers nothing until it is no longer waited for.
func hang(_ http.ResponseWriter, q *http.Request) { <-q.Context().Done() }

// TestRelaysThatMisbehave asks one relay that misbehaves, alone and then with
// an honest one after it: alone it gives no round, and it never stops the other.
func TestRelaysThatMisbehave(t *testing.T) {
	v := vectors(t)
	first, second := v.Rounds[1], v.Rounds[2]
	round := func(n uint64, signature string) string {
		return fmt.Sprintf(`{"round":%d,"randomness":%q,"signature":%q}`, n, first.Randomness, signature)
	}
	uncompressed := ""
	for _, bad := range v.Signatures.MustFail {
		if strings.Contains(bad.What, "uncompressed") {
			uncompressed = bad.Signature
		}
	}
	if len(uncompressed) != 192 {
		t.Fatal("no uncompressed signature among the reference values")
	}
	const early, failed, lie = "early", "failed", "lie"
	for _, c := range []struct {
		name string
		how  http.HandlerFunc
		is   string
	}{
		{"nothing", says(""), failed},
		{"garbage", says("<html>welcome</html>"), failed},
		{"wrong kinds", says(`{"round":"1000","signature":7}`), failed},
		{"huge", func(w http.ResponseWriter, _ *http.Request) {
			for range 1 << 10 {
				if _, err := w.Write(bytes.Repeat([]byte(" "), 1<<10)); err != nil {
					return
				}
			}
		}, failed},
		{"broken", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusInternalServerError) }, failed},
		{"sends elsewhere", func(w http.ResponseWriter, q *http.Request) {
			http.Redirect(w, q, "/elsewhere", http.StatusFound)
		}, failed},
		{"cuts off", func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }, failed},
		{"hangs", hang, failed},
		{"drips", func(w http.ResponseWriter, q *http.Request) {
			io.WriteString(w, "{")
			w.(http.Flusher).Flush()
			<-q.Context().Done()
		}, failed},
		{"too early", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusTooEarly) }, early},
		{"not found", http.NotFound, early},
		{"other round", says(round(second.Round, second.Signature)), lie},
		{"other round under this name", says(round(first.Round, second.Signature)), lie},
		{"no signature", says(round(first.Round, "")), lie},
		{"uncompressed", says(round(first.Round, uncompressed)), lie},
		{"another spelling", says(round(first.Round, strings.ToUpper(first.Signature))), lie},
		{"one bit", says(round(first.Round, first.Signature[:95]+"8")), lie},
	} {
		t.Run(c.name, func(t *testing.T) {
			bad := serve(t, c.how)
			config := patient
			if c.name == "hangs" || c.name == "drips" {
				config = quick
			}
			want := Tally{Relay: bad.URL}
			err := ErrUnreachable
			switch c.is {
			case early:
				want.Early, err = 1, ErrEarly
			case failed:
				want.Failed = 1
			case lie:
				want.Lies = 1
			}
			alone := relays(t, config, bad)
			if _, got := alone.Round(t.Context(), first.Round); !errors.Is(got, err) {
				t.Errorf("alone: %v, want %v", got, err)
			}
			if got := alone.Tally()[0]; got != want {
				t.Errorf("%+v, want %+v", got, want)
			}
			both := relays(t, config, bad, serve(t, nil))
			if got, err := both.Round(t.Context(), first.Round); err != nil || hex.EncodeToString(got) != first.Signature {
				t.Errorf("with an honest one: %x, %v", got, err)
			}
		})
	}
}

// TestRelaysThatLieAreAskedLast: and the log hears of it once.
func TestRelaysThatLieAreAskedLast(t *testing.T) {
	v := vectors(t)
	wrong := fmt.Sprintf(`{"round":%d,"signature":%q}`, v.Rounds[1].Round, v.Rounds[2].Signature)
	var log bytes.Buffer
	liar, honest := serve(t, says(wrong)), serve(t, nil)
	config := patient
	config.Log = slog.New(slog.NewTextHandler(&log, nil))
	source := relays(t, config, liar, honest)
	for range 5 {
		if _, err := source.Round(t.Context(), v.Rounds[1].Round); err != nil {
			t.Fatal(err)
		}
	}
	if n := liar.asked.Load(); n != 1 {
		t.Errorf("the liar was asked %d times", n)
	}
	honest.Close()
	for range 2 {
		if _, err := source.Round(t.Context(), v.Rounds[1].Round); !errors.Is(err, ErrUnreachable) {
			t.Errorf("only the liar is left: %v", err)
		}
	}
	if n := liar.asked.Load(); n != 3 {
		t.Errorf("as the last one left, the liar was asked %d times", n-1)
	}
	if n := strings.Count(log.String(), "wrong signature"); n != 1 {
		t.Errorf("%d times in the log:\n%s", n, log.String())
	}
}

// TestSlowRelay: the next one is asked while the first still thinks, and is
// asked first the next time.
func TestSlowRelay(t *testing.T) {
	slow, honest := serve(t, hang), serve(t, nil)
	source := relays(t, Config{Patience: time.Minute, Stagger: 20 * time.Millisecond}, slow, honest)
	if _, err := source.Round(t.Context(), 1000); err != nil {
		t.Fatal(err)
	}
	if slow.asked.Load() != 1 || honest.asked.Load() != 1 {
		t.Errorf("asked %d and %d times", slow.asked.Load(), honest.asked.Load())
	}
	if got := source.order(); got[0] != 1 {
		t.Errorf("the next time asked in the order %d", got)
	}
	if got := source.Tally()[0]; got.Failed != 0 {
		t.Errorf("interrupted counts as failed: %+v", got)
	}
}

// TestNoNetwork: nobody there is an error of its own, and so is a caller who
// will not wait.
func TestNoNetwork(t *testing.T) {
	gone := serve(t, nil)
	gone.Close()
	if _, err := relays(t, patient, gone).Round(t.Context(), 1000); !errors.Is(err, ErrUnreachable) || errors.Is(err, ErrEarly) {
		t.Errorf("%v", err)
	}
	ctx, stop := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer stop()
	_, err := relays(t, patient, serve(t, hang)).Round(ctx, 1000)
	if !errors.Is(err, ErrUnreachable) || !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("%v", err)
	}
}

// TestRelaysAtOnce: many ask at once, and nobody is left behind.
func TestRelaysAtOnce(t *testing.T) {
	source := relays(t, Config{Patience: time.Minute, Stagger: time.Millisecond}, serve(t, hang), serve(t, nil), serve(t, nil))
	before := runtime.NumGoroutine()
	var all sync.WaitGroup
	for _, v := range vectors(t).Rounds {
		all.Go(func() {
			if got, err := source.Round(t.Context(), v.Round); err != nil || hex.EncodeToString(got) != v.Signature {
				t.Errorf("round %d: %x, %v", v.Round, got, err)
			}
		})
	}
	all.Wait()
	source.client.CloseIdleConnections()
	for range 200 {
		if runtime.NumGoroutine() <= before {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Errorf("%d goroutines before, %d after", before, runtime.NumGoroutine())
}

func TestParseRelays(t *testing.T) {
	got, err := ParseRelays(" https://relay.example/ , http://127.0.0.1:81/drand,https://relay.example")
	if err != nil || strings.Join(got, " ") != "https://relay.example http://127.0.0.1:81/drand" {
		t.Errorf("%q, %v", got, err)
	}
	many := "http://a.example"
	for i := range MostRelays {
		many += fmt.Sprintf(",http://a%d.example", i)
	}
	for _, bad := range []string{"", ",", "relay.example", "ftp://relay.example", "https://", "https://u:p@relay.example", "https://relay.example?x=1", "https://relay.example#x", many} {
		if got, err := ParseRelays(bad); err == nil {
			t.Errorf("%q: %q", bad, got)
		}
	}
	for _, n := range []int{0, MostRelays + 1} {
		if _, err := NewRelays(Quicknet(), make([]string, n), Config{}); err == nil {
			t.Errorf("%d relays", n)
		}
	}
}

func TestFixed(t *testing.T) {
	fixed := Fixed{}
	for _, v := range vectors(t).Rounds {
		fixed[v.Round] = v.Signature
	}
	if got, err := fixed.Round(t.Context(), 1000); err != nil || hex.EncodeToString(got) != fixed[1000] {
		t.Errorf("%x, %v", got, err)
	}
	if _, err := fixed.Round(t.Context(), 999); !errors.Is(err, ErrEarly) {
		t.Errorf("a round that it does not know: %v", err)
	}
	fixed[999] = fixed[1000]
	if _, err := fixed.Round(t.Context(), 999); !errors.Is(err, ErrSignature) || !errors.Is(err, ErrUnreachable) {
		t.Errorf("a wrong signature: %v", err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := fixed.Round(ctx, 1000); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

var _, _ Source = (*Relays)(nil), Fixed(nil)
