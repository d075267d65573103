package beacon

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
)

// Source finds signatures of rounds, wherever it gets them. What it returns was
// verified: 48 bytes that are the signature of that round and of no other. It
// may be asked by many goroutines at once and gives up when ctx ends.
//
// An error wraps ErrEarly if the round is not out yet where it was looked for:
// ask again in a moment. It wraps ErrUnreachable if nobody gave a good answer:
// no network, or relays that are down, or lie. The dice wait then; they cannot
// change. Any player may still hand in the signature.
type Source interface {
	Round(ctx context.Context, round uint64) (signature []byte, err error)
}

// Errors of a Source.
var (
	ErrEarly       = errors.New("the round is not out yet")
	ErrUnreachable = errors.New("no relay of the beacon gave a good answer")
)

// Fixed is a Source that knows some rounds and no other, for tests and
// practice: the signature in hex by its round. A round that it does not know is
// not out yet. It is only read.
type Fixed map[uint64]string

// Round finds and verifies one of the fixed rounds, of the chain quicknet.
func (f Fixed) Round(ctx context.Context, round uint64) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	text, ok := f[round]
	if !ok {
		return nil, fmt.Errorf("%w: round %d", ErrEarly, round)
	}
	if _, err := Quicknet().Verify(round, text); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrUnreachable, err)
	}
	return hex.DecodeString(text)
}
