// Package beacontest is a beacon for tests: its secret stands here, so anybody
// can work out every round ahead. No verifier of ours knows its chain by itself.
// It signs with another library than the one that beacon checks with, so that
// each is held against the other.
package beacontest

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"sync"
	"time"

	"drumhead/commands/beacon"

	"github.com/cloudflare/circl/ecc/bls12381"
)

// suite is the domain of the hash to a point, as beacon checks it (RFC 9380).
const suite = "BLS_SIG_BLS12381G1_XMD:SHA-256_SSWU_RO_NUL_"

// ErrDown is what a beacon says that is down.
var ErrDown = fmt.Errorf("%w: the test lets it be down", beacon.ErrUnreachable)

// Beacon gives the rounds of its chain once they are due by its clock. It may
// be asked by many goroutines.
type Beacon struct {
	secret *bls12381.Scalar
	chain  *beacon.Chain
	now    func() time.Time

	mu    sync.Mutex
	down  bool
	signs map[uint64]string
	asked int
}

// New makes a beacon whose first round was due at a whole hour of 2026. now is
// its clock.
func New(now func() time.Time) *Beacon {
	b := &Beacon{secret: new(bls12381.Scalar), now: now, signs: map[uint64]string{}}
	b.secret.SetUint64(20261010)
	var public bls12381.G2
	public.ScalarMult(b.secret, bls12381.G2Generator())
	name := sha256.Sum256([]byte("drumhead/beacontest"))
	var err error
	b.chain, err = beacon.NewChain(hex.EncodeToString(name[:]), hex.EncodeToString(public.BytesCompressed()),
		time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), 3*time.Second)
	if err != nil {
		panic(err) // the point was just made
	}
	return b
}

// Chain is the beacon's chain.
func (b *Beacon) Chain() *beacon.Chain { return b.chain }

// Sign gives the signature of a round in hex, due or not.
func (b *Beacon) Sign(round uint64) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	if s, ok := b.signs[round]; ok {
		return s
	}
	message := sha256.Sum256(binary.BigEndian.AppendUint64(nil, round))
	var point, hashed bls12381.G1
	hashed.Hash(message[:], []byte(suite))
	point.ScalarMult(b.secret, &hashed)
	b.signs[round] = hex.EncodeToString(point.BytesCompressed())
	return b.signs[round]
}

// Down lets the beacon be down, or come back.
func (b *Beacon) Down(down bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.down = down
}

// Asked tells how often a round was asked for.
func (b *Beacon) Asked() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.asked
}

// Round is the Source.
func (b *Beacon) Round(ctx context.Context, round uint64) ([]byte, error) {
	b.mu.Lock()
	down := b.down
	b.asked++
	b.mu.Unlock()
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case down:
		return nil, ErrDown
	case round == 0:
		return nil, errors.New("beacontest: rounds count from 1")
	case b.now().Before(b.chain.Due(round)):
		return nil, fmt.Errorf("%w: round %d", beacon.ErrEarly, round)
	}
	return hex.DecodeString(b.Sign(round))
}
