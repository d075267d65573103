//go:build goolm

package matrix

import (
	"context"
	"errors"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// takeKeys takes in what is for the device: who has which devices, keys and
// other encrypted messages, how many keys are left for others.
func (a *Adapter) takeKeys(ctx context.Context, r *mautrix.RespSync) error {
	if err := a.devicesChanged(ctx, r.DeviceLists.Changed); err != nil {
		return err
	}
	for _, e := range r.ToDevice.Events {
		e.Type.Class = event.ToDeviceEventType
		if !parsed(e) {
			continue
		}
		a.noted(ctx, e)
		err := a.keep.together(ctx, func(ctx context.Context) error {
			if c, ok := e.Content.Parsed.(*event.RoomKeyRequestEventContent); ok {
				a.giveAgain(ctx, e.Sender, c)
			} else {
				a.mach.HandleToDeviceEvent(ctx, e)
			}
			return a.keep.commit(ctx)
		})
		if err != nil {
			return err
		}
	}
	if err := a.leaveKeys(ctx, &r.DeviceOTKCount); err != nil {
		return err
	}
	a.mach.MarkOlmHashSavePoint(ctx)
	return a.fallback(ctx, r.FallbackKeys)
}

// leaveKeys leaves new one-time keys where few are left. An answer that does not
// say how many reads as none; then the homeserver is asked, now and then: keys
// made for nothing would push out those that others are about to use.
func (a *Adapter) leaveKeys(ctx context.Context, n *mautrix.OTKCount) error {
	if n.SignedCurve25519 > 0 {
		a.mach.HandleOTKCounts(ctx, n)
		return nil
	}
	if !a.pace.may("count keys", 1, time.Minute) {
		return nil
	}
	return explained(a.mach.ShareKeys(ctx, -1))
}

// keysAsked is how often somebody may ask for keys again, in a minute.
const keysAsked = 30

// giveAgain gives a key again to a device that had it before. The library would answer
// in a goroutine that is in nobody's turn (together).
func (a *Adapter) giveAgain(ctx context.Context, by id.UserID, c *event.RoomKeyRequestEventContent) {
	if a.pace.may("ask "+string(by), keysAsked, time.Minute) {
		a.mach.HandleRoomKeyRequest(ctx, by, c)
	}
}

// devicesChanged asks which devices people have now; the rooms with those who have
// others get new keys. Whom the homeserver does not tell of is asked for again later,
// also by another start.
func (a *Adapter) devicesChanged(ctx context.Context, users []id.UserID) error {
	users, err := a.store.FilterTrackedUsers(ctx, users)
	if err != nil || len(users) == 0 {
		return err
	}
	if err := a.store.MarkTrackedUsersOutdated(ctx, users); err != nil {
		return err
	}
	return a.keep.together(ctx, func(ctx context.Context) error {
		if _, err := a.mach.FetchKeys(ctx, users, false); err != nil {
			a.log.Warn("matrix: people's devices could not be asked for; again soon", "err", err)
			return explained(passing(err))
		}
		return nil
	})
}

// passing is an error that the bot cannot go on with, nil for one that passes.
func passing(err error) error {
	if errors.Is(err, mautrix.MUnknownToken) {
		return err
	}
	return nil
}

// devicesMissed asks again for the devices that the homeserver did not tell of.
func (a *Adapter) devicesMissed(ctx context.Context) error {
	if !a.pace.may("ask for devices", 1, time.Minute) {
		return nil
	}
	users, err := a.store.GetOutdatedTrackedUsers(ctx)
	if err != nil {
		return err
	}
	return a.devicesChanged(ctx, users)
}

// wedged notes a device whose messages to us cannot be read any more, and is given a
// new channel between two answers (wake). The library would do so in a goroutine.
func (a *Adapter) wedged(_ context.Context, who id.UserID, k id.SenderKey) {
	a.keep.put(key("wedged", string(k)), []byte(who))
}
