package faulty

import (
	"errors"
	"math/rand/v2"
	"time"

	"drumhead/storage"
)

// Chances are how often a call meets a fault, each from 0 to 1.
type Chances struct {
	Full     float64       // an append or put finds no room; nothing is stored
	Unstored float64       // the store fails before an append or put is stored, and cannot tell
	Lost     float64       // it fails after that, and cannot tell
	Broken   float64       // a reading call fails
	Late     float64       // any call comes late,
	Longest  time.Duration // by up to this
}

// ErrBroken is what a reading call fails with.
var ErrBroken = errors.New("faulty: the disk does not answer")

// writes are the calls that store something durably.
func writes(c Call) bool { return c == Append || c == ShelfPut }

// By makes a plan from chances; the same source of luck gives the same plan.
// Marks are never lost here: a mark that fails is simply set again.
func By(rng *rand.Rand, c Chances) Plan {
	return func(call Call) (f Fault) {
		// Every call takes the same number of draws, so that faults of one kind
		// do not shift those of another.
		luck, late, delay := rng.Float64(), rng.Float64(), rng.Float64()
		if late < c.Late {
			f.Delay = time.Duration(delay * float64(c.Longest))
		}
		switch {
		case !writes(call):
			if luck < c.Broken {
				f.Before = ErrBroken
			}
		case luck < c.Full:
			f.Before = storage.ErrFull
		case luck < c.Full+c.Unstored:
			f.Before = storage.ErrUnknown
		case luck < c.Full+c.Unstored+c.Lost:
			f.After = storage.ErrUnknown
		}
		return f
	}
}

// Once is a plan in which the n-th call of one kind (from 1 on) meets a fault.
func Once(call Call, n int, f Fault) Plan {
	return func(c Call) Fault {
		if c != call {
			return Fault{}
		}
		if n--; n == 0 {
			return f
		}
		return Fault{}
	}
}
