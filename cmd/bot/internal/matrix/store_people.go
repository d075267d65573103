//go:build goolm

package matrix

import (
	"context"
	"encoding/json"
	"errors"

	"maunium.net/go/mautrix/id"
)

// tracked tells that somebody's devices are known, and whether still.
type tracked struct {
	User     id.UserID
	Outdated bool
	Tries    int
	Tried    int64 // seconds
}

// deviceRecord is a device of somebody's; the library's Trust writes itself
// through a pointer only.
type deviceRecord struct {
	id.Device
	Trust int
}

func (s *store) devices(u id.UserID, f func(*id.Device)) error {
	return s.scan(key("dev", string(u))+sep, func(_ string, b []byte) error {
		var r deviceRecord
		if err := json.Unmarshal(b, &r); err != nil {
			return err
		}
		r.Device.Trust = id.TrustState(r.Trust)
		f(&r.Device)
		return nil
	})
}

// GetDevices returns the devices that somebody has. A nil map means that they
// were never asked for, an empty one that there are none.
func (s *store) GetDevices(_ context.Context, u id.UserID) (map[id.DeviceID]*id.Device, error) {
	var t tracked
	if ok, err := s.read(key("trk", string(u)), &t); err != nil || !ok {
		return nil, err
	}
	all := map[id.DeviceID]*id.Device{}
	return all, s.devices(u, func(d *id.Device) {
		if !d.Deleted {
			all[d.DeviceID] = d
		}
	})
}

// GetDevice returns a device, also one that is gone, nil if it was never there.
func (s *store) GetDevice(_ context.Context, u id.UserID, device id.DeviceID) (*id.Device, error) {
	var r deviceRecord
	if ok, err := s.read(key("dev", string(u), string(device)), &r); err != nil || !ok {
		return nil, err
	}
	r.Device.Trust = id.TrustState(r.Trust)
	return &r.Device, nil
}

// FindDeviceByKey finds a device by its key, nil if nobody has it.
func (s *store) FindDeviceByKey(_ context.Context, u id.UserID, k id.IdentityKey) (found *id.Device, err error) {
	err = s.devices(u, func(d *id.Device) {
		if d.IdentityKey == k && (found == nil || found.Deleted) {
			found = d
		}
	})
	return found, err
}

// PutDevice keeps a device. Its signing key, once seen, stays.
func (s *store) PutDevice(ctx context.Context, u id.UserID, d *id.Device) error {
	kept := *d
	before, err := s.GetDevice(ctx, u, d.DeviceID)
	if err != nil {
		return err
	}
	if before != nil {
		kept.SigningKey = before.SigningKey
	}
	r := deviceRecord{Device: kept, Trust: int(kept.Trust)}
	r.Device.Trust = 0
	return s.set(key("dev", string(u), string(d.DeviceID)), r)
}

// PutDevices keeps all devices that somebody has; others are gone.
func (s *store) PutDevices(ctx context.Context, u id.UserID, devices map[id.DeviceID]*id.Device) error {
	var gone []*id.Device
	err := s.devices(u, func(d *id.Device) {
		if devices[d.DeviceID] == nil && !d.Deleted {
			d.Deleted = true
			gone = append(gone, d)
		}
	})
	for _, d := range gone {
		err = errors.Join(err, s.PutDevice(ctx, u, d))
	}
	for _, d := range devices {
		err = errors.Join(err, s.PutDevice(ctx, u, d))
	}
	return errors.Join(err, s.set(key("trk", string(u)), tracked{User: u}))
}

// FilterTrackedUsers keeps those whose devices are known.
func (s *store) FilterTrackedUsers(_ context.Context, users []id.UserID) (known []id.UserID, err error) {
	for _, u := range users {
		b, err := s.get(key("trk", string(u)))
		if err != nil {
			return nil, err
		}
		if b != nil {
			known = append(known, u)
		}
	}
	return known, nil
}

// track changes what is noted of those whose devices are known.
func (s *store) track(users []id.UserID, change func(*tracked)) error {
	for _, u := range users {
		var t tracked
		ok, err := s.read(key("trk", string(u)), &t)
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		change(&t)
		if err := s.set(key("trk", string(u)), t); err != nil {
			return err
		}
	}
	return nil
}

// MarkTrackedUsersOutdated notes that somebody's devices changed.
func (s *store) MarkTrackedUsersOutdated(_ context.Context, users []id.UserID) error {
	return s.track(users, func(t *tracked) { t.Outdated = true })
}

// IncrementTrackedUsersErrorCount notes that somebody's devices could not be fetched.
func (s *store) IncrementTrackedUsersErrorCount(_ context.Context, users []id.UserID) error {
	return s.track(users, func(t *tracked) {
		if t.Outdated {
			t.Tries, t.Tried = t.Tries+1, s.now().Unix()
		}
	})
}

// Patience with servers whose people's devices cannot be fetched: five tries at
// once, then the cube of their number in seconds, three hours at the most.
const (
	quickTries   = 5
	longestPause = 3 * 3600
)

// GetOutdatedTrackedUsers lists those whose devices must be fetched again.
func (s *store) GetOutdatedTrackedUsers(context.Context) (users []id.UserID, err error) {
	err = s.scan("trk"+sep, func(_ string, b []byte) error {
		var t tracked
		if err := json.Unmarshal(b, &t); err != nil {
			return err
		}
		pause := int64(longestPause)
		if t.Tries < 22 {
			pause = min(pause, int64(t.Tries*t.Tries*t.Tries))
		}
		if t.Outdated && (t.Tries < quickTries || t.Tried+pause < s.now().Unix()) {
			users = append(users, t.User)
		}
		return nil
	})
	return users, err
}

type crossKey struct {
	Usage id.CrossSigningUsage
	Key   id.CrossSigningKey
}

// PutCrossSigningKey keeps a key of somebody's. Which one was seen first stays:
// trust on first use hangs on it.
func (s *store) PutCrossSigningKey(_ context.Context, u id.UserID, usage id.CrossSigningUsage, k id.Ed25519) error {
	at := key("xsk", string(u), string(usage))
	r := crossKey{usage, id.CrossSigningKey{First: k}}
	if _, err := s.read(at, &r); err != nil {
		return err
	}
	r.Key.Key = k
	return s.set(at, r)
}

// GetCrossSigningKeys returns the keys of somebody's.
func (s *store) GetCrossSigningKeys(_ context.Context, u id.UserID) (map[id.CrossSigningUsage]id.CrossSigningKey, error) {
	keys := map[id.CrossSigningUsage]id.CrossSigningKey{}
	err := s.scan(key("xsk", string(u))+sep, func(_ string, b []byte) error {
		var r crossKey
		err := json.Unmarshal(b, &r)
		keys[r.Usage] = r.Key
		return err
	})
	return keys, err
}

// ResetMasterKeyTOFU trusts somebody's new master key as if it were the first.
func (s *store) ResetMasterKeyTOFU(_ context.Context, u id.UserID, k id.Ed25519) error {
	at := key("xsk", string(u), string(id.XSUsageMaster))
	var r crossKey
	if _, err := s.read(at, &r); err != nil {
		return err
	}
	if r.Key.Key != k {
		return errors.New("matrix: that is not the master key that is known")
	}
	r.Key.First = k
	return s.set(at, r)
}

type signature struct {
	By        id.UserID
	ByKey     id.Ed25519
	Signature string
}

// PutSignature keeps a signature on a key.
func (s *store) PutSignature(_ context.Context, u id.UserID, k id.Ed25519, by id.UserID, byKey id.Ed25519, sig string) error {
	return s.set(key("sig", string(u), string(k), string(by), string(byKey)), signature{by, byKey, sig})
}

// GetSignaturesForKeyBy returns somebody's signatures on a key.
func (s *store) GetSignaturesForKeyBy(_ context.Context, u id.UserID, k id.Ed25519, by id.UserID) (map[id.Ed25519]string, error) {
	sigs := map[id.Ed25519]string{}
	err := s.scan(key("sig", string(u), string(k), string(by))+sep, func(_ string, b []byte) error {
		var r signature
		err := json.Unmarshal(b, &r)
		sigs[r.ByKey] = r.Signature
		return err
	})
	return sigs, err
}

// IsKeySignedBy tells whether a key has a signature by another.
func (s *store) IsKeySignedBy(_ context.Context, u id.UserID, k id.Ed25519, by id.UserID, byKey id.Ed25519) (bool, error) {
	b, err := s.get(key("sig", string(u), string(k), string(by), string(byKey)))
	return b != nil, err
}

// DropSignaturesByKey forgets what a key signed.
func (s *store) DropSignaturesByKey(_ context.Context, by id.UserID, byKey id.Ed25519) (int64, error) {
	return s.drop("sig"+sep, func(b []byte) bool {
		var r signature
		return json.Unmarshal(b, &r) == nil && r.By == by && r.ByKey == byKey
	})
}
