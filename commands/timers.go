package commands

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/chat"
	"drumhead/engine/reason"
	"drumhead/storage"
)

// call is what a timer says to the desk when it falls due.
type call struct {
	Command string      `json:"command"` // a command marked `timer`
	Values  args.Values `json:"values,omitempty"`
}

// timer makes a timer that gives a command of the bot's own. Its name is unique
// in the ledger: setting it again moves it.
func timer(name string, due time.Time, command string, values args.Values) (storage.Timer, error) {
	b, err := json.Marshal(call{Command: command, Values: values})
	return storage.Timer{TimerRef: storage.TimerRef{Name: name, Due: due.UTC().Truncate(time.Millisecond)}, Bytes: b}, err
}

// timersAtOnce is how many due timers are taken from the store at a time.
const timersAtOnce = 64

// Tick does what has fallen due and returns when the next timer is due (zero:
// none). Every timer that acts makes an entry; one whose state has moved on is
// set aside until the program starts again, and logged.
func (d *Desk) Tick(ctx context.Context) (time.Time, error) {
	if err := d.endDays(ctx, d.clock()); err != nil {
		return time.Time{}, err
	}
	for {
		now := d.clock()
		due, next, err := d.store.Due(ctx, now, timersAtOnce+len(d.idle))
		if err != nil {
			return time.Time{}, err
		}
		acted := 0
		for _, t := range due {
			if later, put := d.idle.until(t); put && (later.IsZero() || now.Before(later)) {
				next = earlier(next, later)
				continue
			}
			err := d.fire(ctx, t)
			switch {
			case errors.Is(err, errNotYet), errors.As(err, new(frozen)):
				d.idle[d.idle.key(t)] = now.Add(soon)
				next = earlier(next, now.Add(soon))
			case errors.Is(err, storage.ErrFired), errors.Is(err, errIdle), refusal(err):
				d.idle[d.idle.key(t)] = time.Time{}
				d.log.Warn("timer came to nothing", "ledger", t.Ledger, "timer", t.Name, "err", err)
			case err != nil:
				return time.Time{}, err
			default:
				acted++
			}
		}
		if acted == 0 {
			return next, nil
		}
	}
}

var errIdle = errors.New("commands: the timer has nothing to do")

// fire gives one timer's command, as a message of the bot's own.
func (d *Desk) fire(ctx context.Context, t storage.Timer) error {
	about, err := d.store.About(ctx, t.Ledger)
	if err != nil {
		return err
	}
	var c call
	if err := json.Unmarshal(t.Bytes, &c); err != nil {
		return fmt.Errorf("timer %s: %w", t.Name, err)
	}
	cmd, ok := d.commands[c.Command]
	if !ok || !cmd.timer {
		return fmt.Errorf("%w: %q is no command of a timer", errIdle, c.Command)
	}
	defer d.turns.take(about.Community)()
	if err := d.loadPeople(ctx, chat.Community(about.Community)); err != nil {
		return err
	}
	m := chat.Message{Community: chat.Community(about.Community), Place: chat.Place(about.Place),
		Source: chat.Source(fmt.Sprintf("timer:%s/%d", t.Name, t.Due.UnixMilli())), Time: t.Due}
	for try := 0; ; try++ {
		err := d.fireOnce(ctx, m, cmd, c.Values, t.TimerRef)
		if !errors.Is(err, storage.ErrConflict) || try == MostTries {
			return err
		}
	}
}

func (d *Desk) fireOnce(ctx context.Context, m chat.Message, cmd *command, v args.Values, ref storage.TimerRef) error {
	a := d.ask(m)
	a.command, a.values, a.fired = cmd, v, &ref
	var err error
	if a.here, err = d.view(ctx, m.Place); err != nil {
		return err
	}
	a.ctx, a.views[m.Place] = ctx, a.here
	answer, err := cmd.plan(a)
	if errors.Is(err, errNotYet) {
		return err
	}
	if err != nil {
		return fmt.Errorf("%w: %w", errIdle, err)
	}
	if answer == nil || len(answer.acts) == 0 {
		return errIdle
	}
	err = a.carryOut(answer.acts)
	var seen *storage.Seen
	if errors.As(err, &seen) {
		return fmt.Errorf("%w: %w", errIdle, err)
	}
	return err
}

// soon is when a timer that cannot act yet is tried again.
const soon = time.Second

// earlier is the earlier of two times, of which zero is none.
func earlier(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}

func refusal(err error) bool {
	var r *reason.Refusal
	return errors.As(err, &r)
}

// idleTimers are those that came to nothing since the program started (zero),
// or cannot act before some time.
type idleTimers map[string]time.Time

func (i idleTimers) key(t storage.Timer) string {
	return fmt.Sprintf("%s/%s/%d", t.Ledger, t.Name, t.Due.UnixMilli())
}

func (i idleTimers) until(t storage.Timer) (time.Time, bool) {
	later, ok := i[i.key(t)]
	return later, ok
}
