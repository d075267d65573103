//go:build goolm

package matrix

import (
	"context"
	"errors"
	"slices"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/id"
)

// fallbackMaker is what the pure Go account can do beyond the library's interface. It
// opens messages that were written to its last fallback key and to the one before.
type fallbackMaker interface {
	GenFallbackKey() error
	FallbackKey() map[string]id.Curve25519
}

const fallbackKey = "fallback"

// fallback gives a homeserver that knows fallback keys one, where the last was
// used: one-time keys can be drained by anybody who claims them all. Which
// homeservers know them is seen by what a sync answer says; nil: not this one.
//
// A key that was made and may not have arrived is uploaded again before another is
// made: two that never arrived would push out the one that people use.
func (a *Adapter) fallback(ctx context.Context, unused []id.KeyAlgorithm) error {
	account := a.mach.GetAccount()
	maker, ok := account.Internal.(fallbackMaker)
	if unused == nil || !ok {
		return nil
	}
	left, err := a.keep.get(fallbackKey)
	if err != nil {
		return err
	}
	if slices.Contains(unused, id.KeyAlgorithmSignedCurve25519) {
		if left != nil {
			a.keep.put(fallbackKey, nil) // it arrived
		}
		return nil
	}
	if !a.pace.may("leave a fallback key", 1, time.Minute) { // an answer may lag behind what was left
		return nil
	}
	if left == nil {
		if err := maker.GenFallbackKey(); err != nil {
			return err
		}
		if err := a.store.PutAccount(ctx, account); err != nil {
			return err
		}
		a.keep.put(fallbackKey, []byte("made"))
	}
	return a.leaveFallback(ctx, maker.FallbackKey())
}

// leaveFallback signs and uploads a fallback key.
func (a *Adapter) leaveFallback(ctx context.Context, key map[string]id.Curve25519) error {
	keys := map[id.KeyID]any{}
	for kid, k := range key {
		signed := map[string]any{"key": k, "fallback": true}
		sig, err := a.mach.GetAccount().SignJSON(signed)
		if err != nil {
			return err
		}
		signed["signatures"] = map[id.UserID]map[string]string{a.cli.UserID: {"ed25519:" + string(a.cli.DeviceID): sig}}
		keys[id.NewKeyID(id.KeyAlgorithmSignedCurve25519, kid)] = signed
	}
	_, err := a.cli.MakeRequest(ctx, "POST", a.cli.BuildClientURL("v3", "keys", "upload"), map[string]any{"fallback_keys": keys}, nil)
	switch {
	case errors.Is(err, mautrix.MUnknownToken):
		return explained(err)
	case err != nil:
		a.log.Warn("matrix: a fallback key could not be left; again with the next answer", "err", err)
	default:
		a.keep.put(fallbackKey, nil)
	}
	return nil
}
