package commands

import (
	"context"
	"encoding/hex"
	"errors"
	"slices"
	"sync"
	"time"

	"drumhead/commands/beacon"
)

// mostRounds is how many signatures of rounds the desk remembers; older ones
// are fetched again where somebody still waits for one.
const mostRounds = 256

// rounds is what the desk knows of the beacon: signatures that were fetched or
// handed in, and rounds that somebody waits for. Fetching is for Fetch alone,
// so that no message ever waits for a network.
type rounds struct {
	mu     sync.Mutex
	have   map[uint64]string // round → signature in hex, verified
	order  []uint64
	wanted map[uint64]attempt
	seen   uint64 // the latest round known to be out
}

// attempt is when a round is asked for again, and how often it was.
type attempt struct {
	next  time.Time
	tries int
}

func newRounds() *rounds { return &rounds{have: map[uint64]string{}, wanted: map[uint64]attempt{}} }

// get gives the signature of a round, or notes that it is wanted.
func (r *rounds) get(round uint64) (string, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	s, ok := r.have[round]
	if _, asked := r.wanted[round]; !ok && !asked {
		r.wanted[round] = attempt{}
	}
	return s, ok
}

// put remembers a verified signature.
func (r *rounds) put(round uint64, signature string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	delete(r.wanted, round)
	r.seen = max(r.seen, round)
	if _, ok := r.have[round]; ok {
		return
	}
	r.have[round] = signature
	if r.order = append(r.order, round); len(r.order) > mostRounds {
		delete(r.have, r.order[0])
		r.order = r.order[1:]
	}
}

// latest is the latest round known to be out, 0 if none is.
func (r *rounds) latest() uint64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.seen
}

// due lists the wanted rounds that may be asked for now, and forgets one that
// was asked for often enough: who still waits for it wants it again.
func (r *rounds) due(now time.Time) []uint64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []uint64
	for round, a := range r.wanted {
		if !now.Before(a.next) {
			out = append(out, round)
		}
	}
	slices.Sort(out)
	return out
}

// failed puts a round off: longer each time, a minute at the most.
func (r *rounds) failed(round uint64, now time.Time, pause time.Duration) {
	r.mu.Lock()
	defer r.mu.Unlock()
	a := r.wanted[round]
	a.tries++
	a.next = now.Add(min(pause<<min(a.tries-1, 6), time.Minute))
	r.wanted[round] = a
}

// Fetch asks for the rounds that entries wait for and that are out, and tells
// whether one came: then Tick has something to do. It may take as long as the
// source takes, and holds nobody up meanwhile. A beacon that cannot be reached
// is no error: the dice wait, and any player may hand the signature in.
func (d *Desk) Fetch(ctx context.Context) (came bool) {
	if d.beacon == nil {
		return false
	}
	for _, round := range d.rounds.due(d.clock()) {
		signature, err := d.beacon.Round(ctx, round)
		switch {
		case ctx.Err() != nil:
			return came
		case errors.Is(err, beacon.ErrEarly):
			d.rounds.failed(round, d.clock(), time.Second)
		case err != nil:
			d.rounds.failed(round, d.clock(), d.chain.Period)
			d.log.Warn("a round of the beacon could not be had", "round", round, "err", err)
		default:
			if _, err := d.chain.Verify(round, hex.EncodeToString(signature)); err != nil {
				d.rounds.failed(round, d.clock(), d.chain.Period)
				d.log.Warn("the source of rounds gave no signature of that round", "round", round, "err", err)
				continue
			}
			d.rounds.put(round, hex.EncodeToString(signature))
			came = true
		}
	}
	return came
}
