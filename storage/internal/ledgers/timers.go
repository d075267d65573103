package ledgers

import (
	"fmt"

	"drumhead/storage"
	"drumhead/storage/internal/layout"
)

// writeTimers takes what fired, cancels, then sets, so that one batch can fire
// a timer and set it again.
func writeTimers(d *draft, p *part) error {
	for _, f := range p.Fired {
		due, ok, err := dueOf(d, p.ledger(), f.Name)
		if err != nil {
			return err
		}
		if !ok || int64(due) != layout.Millis(f.Due) {
			return fmt.Errorf("%w (timer %q of ledger %s)", storage.ErrFired, f.Name, p.ledger())
		}
		dropTimer(d, p.ledger(), f.Name, due)
	}
	for _, name := range p.Cancel {
		if err := clearTimer(d, p.ledger(), name); err != nil {
			return err
		}
	}
	for _, t := range p.Set {
		if err := clearTimer(d, p.ledger(), t.Name); err != nil {
			return err
		}
		due := uint64(layout.Millis(t.Due))
		at, message := layout.TimerKey(p.ledger(), t.Name), layout.DueKey(due, p.ledger(), t.Name)
		d.Put(layout.Ledgers, at, layout.EncodeDue(at, due))
		d.Put(layout.Timers, message, layout.EncodeTimer(message, t.Bytes))
	}
	return nil
}

// dueOf gives when a timer is due, and whether there is one.
func dueOf(tx Tx, l storage.LedgerID, name string) (uint64, bool, error) {
	key := layout.TimerKey(l, name)
	rec := tx.Get(layout.Ledgers, key)
	if rec == nil {
		return 0, false, nil
	}
	due, err := layout.DecodeDue(key, rec)
	if err != nil {
		return 0, false, layout.Damage(l, 0, "timer "+name, err)
	}
	return due, true, nil
}

func dropTimer(d *draft, l storage.LedgerID, name string, due uint64) {
	d.Delete(layout.Ledgers, layout.TimerKey(l, name))
	d.Delete(layout.Timers, layout.DueKey(due, l, name))
}

// clearTimer drops a timer if there is one.
func clearTimer(d *draft, l storage.LedgerID, name string) error {
	due, ok, err := dueOf(d, l, name)
	if err != nil || !ok {
		return err
	}
	dropTimer(d, l, name, due)
	return nil
}
