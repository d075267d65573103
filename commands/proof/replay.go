package proof

import (
	"errors"
	"slices"

	"drumhead/engine/dice"
	"drumhead/storage"
)

// Replay makes the events of recorded entries once more, to see that the rules
// lead to them. Entry is called with every entry that was found good, in
// order; its Args and Events, the opened values among them, are the record's
// own. d gives the recorded dice. Of an entry that waits it returns no events;
// at its cut it returns the events of the command that waited.
//
// An error that wraps *MissingFile says that a pinned file is not there: the
// entry counts as not replayed and the next is tried. Any other error, dice
// that the rules do not ask for, or other events are a fault of the ledger.
type Replay interface {
	Entry(rec storage.Record, d dice.Drawer) ([]storage.Object, error)
}

// replay holds one entry against its rules.
func (c *checker) replay(rec storage.Record) error {
	if c.opt.Replay == nil {
		return nil
	}
	shown := dice.NewShown(rec.Faces)
	var events []storage.Object
	err := dice.Try(func() (err error) {
		if events, err = c.opt.Replay.Entry(rec, shown); err == nil {
			err = shown.Done()
		}
		return err
	})
	var missing *MissingFile
	if errors.As(err, &missing) {
		if !slices.Contains(c.Missing, missing.Hash) {
			c.Missing = append(c.Missing, missing.Hash)
		}
		return nil
	}
	var dice *dice.Mismatch
	var fault *Fault
	switch {
	case errors.As(err, &fault):
		return fault
	case errors.As(err, &dice):
		return breaks(RuleEvents, "events.dice", "die", int64(dice.Die+1))
	case err != nil:
		return breaks(RuleEvents, "events.refused", "what", err.Error())
	}
	for i := range max(len(events), len(rec.Events)) {
		if i >= len(events) || i >= len(rec.Events) || string(events[i]) != string(rec.Events[i]) {
			return breaks(RuleEvents, "events.other", "event", int64(i+1))
		}
	}
	c.Replayed++
	return nil
}
