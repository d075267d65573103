package beacon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"
)

// Limits of asking relays.
const (
	MostRelays = 16                     // that one Source asks
	Patience   = 5 * time.Second        // with one relay
	Stagger    = 400 * time.Millisecond // before the next relay is asked as well
	mostBody   = 4 << 10                // bytes of one answer; a good one has about 250
	mostHeader = 16 << 10               // bytes of its header
)

// Config is what relays are asked with. Its zero value is the usual one.
type Config struct {
	Patience time.Duration     // 0: Patience
	Stagger  time.Duration     // 0: Stagger
	Base     http.RoundTripper // nil: the net, over connections of its own
	Log      *slog.Logger      // hears once of each relay that lies; nil: nobody
}

// Relays is a Source: public relays of the chain's rounds, asked over HTTP. No
// relay is trusted. The one that answered last is asked first; the next is asked
// as well once it has failed, or was slow; a relay that gave a wrong signature
// is asked last from then on.
type Relays struct {
	chain    *Chain
	urls     []string
	client   *http.Client
	patience time.Duration
	stagger  time.Duration
	log      *slog.Logger

	mu    sync.Mutex
	last  int // the relay that gave the last good answer
	tally []Tally
}

// Tally is how one relay has behaved so far.
type Tally struct {
	Relay  string // its URL
	Good   int    // signatures that were right
	Early  int    // times that it had not got the round yet
	Failed int    // times that it did not answer, or not with a round
	Lies   int    // signatures, or rounds, that were not those asked for
}

// ParseRelays reads the addresses of relays, with commas between, as in
// https://relay.example,https://other.example/drand.
func ParseRelays(list string) ([]string, error) {
	var urls []string
	for text := range strings.SplitSeq(list, ",") {
		text = strings.TrimRight(strings.TrimSpace(text), "/")
		u, err := url.Parse(text)
		if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Hostname() == "" || u.User != nil || strings.ContainsAny(text, "?#") {
			return nil, fmt.Errorf("relay %q: the address of a relay expected, as in https://relay.example", text)
		}
		if !slices.Contains(urls, text) {
			urls = append(urls, text)
		}
	}
	if len(urls) > MostRelays {
		return nil, fmt.Errorf("%d relays: at most %d expected", len(urls), MostRelays)
	}
	return urls, nil
}

// NewRelays asks relays, one at least, for the rounds of a chain; the URLs as
// ParseRelays gives them.
func NewRelays(chain *Chain, urls []string, c Config) (*Relays, error) {
	if len(urls) == 0 || len(urls) > MostRelays {
		return nil, fmt.Errorf("%d relays: 1 to %d expected", len(urls), MostRelays)
	}
	r := &Relays{chain: chain, urls: slices.Clone(urls), patience: c.Patience, stagger: c.Stagger, log: c.Log}
	if r.patience == 0 {
		r.patience = Patience
	}
	if r.stagger == 0 {
		r.stagger = Stagger
	}
	if r.log == nil {
		r.log = slog.New(slog.DiscardHandler)
	}
	if c.Base == nil {
		c.Base = &http.Transport{
			Proxy: http.ProxyFromEnvironment, DialContext: (&net.Dialer{Timeout: r.patience}).DialContext,
			TLSHandshakeTimeout: r.patience, MaxResponseHeaderBytes: mostHeader, MaxIdleConnsPerHost: 1,
			IdleConnTimeout: time.Minute, ForceAttemptHTTP2: true,
		}
	}
	// A relay that sends elsewhere is not followed: it would choose whom we ask.
	r.client = &http.Client{Transport: c.Base, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	for _, u := range urls {
		r.tally = append(r.tally, Tally{Relay: u})
	}
	return r, nil
}

// Tally tells how each relay has behaved so far, in the order given.
func (r *Relays) Tally() []Tally {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.tally)
}

// Round asks the relays until one has the right signature.
func (r *Relays) Round(ctx context.Context, round uint64) ([]byte, error) {
	if round < 1 || round > r.chain.last() {
		return nil, fmt.Errorf("%w: the chain has no round %d", ErrEarly, round)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop() // ends the questions that are still open
	order := r.order()
	answers := make(chan answer, len(order)) // so that nobody waits to be heard
	slow := time.NewTicker(r.stagger)
	defer slow.Stop()
	var failed []error
	for asked, open := 0, 0; asked < len(order) || open > 0; {
		if asked < len(order) {
			go func(relay int) { answers <- r.ask(ctx, relay, round) }(order[asked])
			asked, open = asked+1, open+1
			slow.Reset(r.stagger)
		}
		for heard := false; !heard && open > 0; {
			select {
			case a := <-answers:
				open, heard = open-1, true
				r.count(ctx, a)
				if a.err == nil {
					return a.signature, nil
				}
				failed = append(failed, fmt.Errorf("%s: %w", r.urls[a.relay], a.err))
			case <-slow.C:
				heard = asked < len(order)
			case <-ctx.Done():
				return nil, fmt.Errorf("%w: %w", ErrUnreachable, ctx.Err())
			}
		}
	}
	return nil, verdict(round, failed)
}

// verdict is the error for a round that no relay gave: early, if one said so.
func verdict(round uint64, failed []error) error {
	for _, err := range failed {
		if errors.Is(err, ErrEarly) {
			return fmt.Errorf("%w: round %d", ErrEarly, round)
		}
	}
	return fmt.Errorf("%w: round %d: %w", ErrUnreachable, round, errors.Join(failed...))
}

// order is whom to ask after whom: the relay that answered last, the others in
// turn, and at the end those that ever gave a wrong signature.
func (r *Relays) order() []int {
	r.mu.Lock()
	defer r.mu.Unlock()
	var honest, lying []int
	for i := range r.urls {
		relay := (r.last + i) % len(r.urls)
		if r.tally[relay].Lies > 0 {
			lying = append(lying, relay)
		} else {
			honest = append(honest, relay)
		}
	}
	return append(honest, lying...)
}

// count remembers how a relay behaved. One that was interrupted, since another
// was quicker, did nothing wrong.
func (r *Relays) count(ctx context.Context, a answer) {
	r.mu.Lock()
	defer r.mu.Unlock()
	t := &r.tally[a.relay]
	switch {
	case a.err == nil:
		t.Good++
		r.last = a.relay
	case errors.Is(a.err, errLie):
		if t.Lies++; t.Lies == 1 {
			r.log.WarnContext(ctx, "a relay of the beacon gave a wrong signature; it is skipped, dice cannot be changed by it", "relay", t.Relay, "err", a.err)
		}
	case errors.Is(a.err, ErrEarly):
		t.Early++
	default:
		t.Failed++
	}
}
