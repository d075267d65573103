//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/id"
)

// deviceName is what people see in the bot's list of devices.
const deviceName = "Drumhead"

// Login logs the bot in with its password, which is not kept: a token and a new
// device, its keys, keys for signing, and the device signed with them. It returns
// the recovery key, which is shown once and opens the account's secrets on the
// homeserver: without it a lost device cannot be replaced without everybody being
// warned. After a soft logout the device stays, and there is no new recovery key.
//
// A login that broke off is gone on with, and one whose recovery key nobody wrote
// down is done again, until the bot is started: then nobody trusts its keys yet.
func Login(ctx context.Context, s Settings, p Parts, password string) (recovery string, err error) {
	l, err := newLine(s, p)
	if err != nil {
		return "", err
	}
	var in login
	known, err := l.keep.read(loginKey, &in)
	if err != nil {
		return "", err
	}
	var made signing
	begun, err := l.keep.read(signingKey, &made)
	switch {
	case err != nil:
		return "", err
	case known && !begun:
		return "", l.again(ctx, in, password)
	case known:
		l.as(in)
		err = l.start(ctx)
	default:
		if err = l.keep.set(signingKey, made); err == nil { // with the token
			err = l.enter(ctx, s, password, "")
		}
	}
	if err != nil {
		return "", err
	}
	have, err := l.mach.GetOwnCrossSigningPublicKeys(ctx)
	switch {
	case err != nil:
		return "", err
	case have != nil && have.MasterKey != made.Master:
		return "", errors.Join(ErrSignedUp, l.leave(ctx))
	}
	return l.signUp(ctx, password)
}

// signing is the key for signing that a login has made, until the bot is started.
type signing struct {
	Master id.Ed25519 `json:",omitempty"`
	Done   bool       `json:",omitempty"` // everything is signed with it
}

const signingKey = "signing"

// signUp makes the account's keys for signing and signs the device with them. Which
// they are is kept before they leave: if this breaks off, they are ours to replace.
func (l *line) signUp(ctx context.Context, password string) (recovery string, err error) {
	failed := func(err error) (string, error) {
		return "", fmt.Errorf("matrix: signing keys: %w; run bot matrix login again", explained(err))
	}
	vault, err := l.mach.SSSS.GenerateAndUploadKey(ctx, "")
	if err != nil {
		return failed(err)
	}
	keys, err := l.mach.GenerateCrossSigningKeys()
	if err != nil {
		return failed(err)
	}
	master := keys.MasterKey.PublicKey()
	if _, err := l.keep.drop(key("xsk", string(l.cli.UserID))+sep, func([]byte) bool { return true }); err != nil {
		return failed(err)
	}
	if err := l.keep.set(signingKey, signing{Master: master}); err != nil {
		return failed(err)
	}
	if err := l.mach.UploadCrossSigningKeysToSSSS(ctx, vault, keys); err != nil {
		return failed(err)
	}
	err = l.mach.PublishCrossSigningKeys(ctx, keys, func(ui *mautrix.RespUserInteractive) any {
		return l.proof(password, ui.Session)
	})
	if err != nil {
		return failed(err)
	}
	if err := l.mach.SSSS.SetDefaultKeyID(ctx, vault.ID); err != nil {
		return failed(err)
	}
	if err := l.sign(ctx); err != nil {
		return failed(err)
	}
	if err := l.forget(ctx, "", password); err != nil { // what a login that broke off may have left
		l.log.Warn("matrix: looking for devices of logins that broke off", "err", err)
	}
	if err := l.keep.set(signingKey, signing{Master: master, Done: true}); err != nil {
		return failed(err)
	}
	return vault.RecoveryKey(), l.keep.commit(ctx)
}

// started takes note that the bot is started: from now on others trust its keys.
func (l *line) started(ctx context.Context) error {
	var made signing
	begun, err := l.keep.read(signingKey, &made)
	switch {
	case err != nil || !begun:
		return err
	case !made.Done:
		return ErrHalfway
	}
	l.keep.put(signingKey, nil)
	return l.keep.commit(ctx)
}

// again logs in with the same device after a soft logout.
func (l *line) again(ctx context.Context, in login, password string) error {
	l.as(in)
	if _, err := l.cli.Whoami(ctx); err == nil {
		return ErrLoggedIn
	} else if !errors.Is(explained(err), errSoft) {
		return explained(err)
	}
	l.cli.AccessToken = "" // refused, and no business of the login
	return l.ask(ctx, string(in.User), password, in.Device)
}

// ask gets a token for the password and keeps it at once.
func (l *line) ask(ctx context.Context, user, password string, device id.DeviceID) error {
	r, err := l.cli.Login(ctx, &mautrix.ReqLogin{
		Type: mautrix.AuthTypePassword, Identifier: mautrix.UserIdentifier{Type: mautrix.IdentifierTypeUser, User: user},
		Password: password, DeviceID: device, InitialDeviceDisplayName: deviceName, RefreshToken: true,
	})
	switch {
	case errors.Is(err, mautrix.MForbidden):
		return fmt.Errorf("matrix: the homeserver refused user %s with this password", user)
	case err != nil:
		return fmt.Errorf("matrix: login: %w", err)
	case string(r.UserID) != user:
		return fmt.Errorf("matrix: the homeserver calls the bot %s, the configuration %s; put the first into the configuration", r.UserID, user)
	}
	in := login{User: r.UserID, Device: r.DeviceID, Token: r.AccessToken, Refresh: r.RefreshToken, Renew: renewal(l.now(), r.ExpiresInMS)}
	if err := l.keep.set(loginKey, in); err != nil {
		return err
	}
	if err := l.keep.commit(ctx); err != nil {
		return err
	}
	l.as(in)
	return nil
}

// enter logs a new device in and uploads its keys.
func (l *line) enter(ctx context.Context, s Settings, password string, device id.DeviceID) error {
	if err := l.ask(ctx, s.User, password, device); err != nil {
		return err
	}
	return l.start(ctx)
}

// sign signs the device and the master key with each other.
func (l *line) sign(ctx context.Context) error {
	if err := l.mach.SignOwnDevice(ctx, l.mach.OwnIdentity()); err != nil {
		return fmt.Errorf("matrix: signing the device: %w", err)
	}
	if err := l.mach.SignOwnMasterKey(ctx); err != nil {
		return fmt.Errorf("matrix: signing the account: %w", err)
	}
	return nil
}

// leave deletes the device on the homeserver and empties the pocket.
func (l *line) leave(ctx context.Context) error {
	_, err := l.cli.Logout(ctx)
	if err != nil && !errors.Is(err, mautrix.MUnknownToken) {
		return fmt.Errorf("matrix: logout: %w", err)
	}
	return l.wipe(ctx)
}

// wipe empties the pocket.
func (l *line) wipe(ctx context.Context) error {
	if _, err := l.keep.drop("", func([]byte) bool { return true }); err != nil {
		return err
	}
	return l.keep.commit(ctx)
}

// Recover logs the bot in as a new device where the old one, or its pocket, was
// lost or restored from a backup. The recovery key lets it sign the new device,
// so that nobody is warned; the old device is deleted.
func Recover(ctx context.Context, s Settings, p Parts, password, recovery string) error {
	l, err := newLine(s, p)
	if err != nil {
		return err
	}
	var old login
	if _, err := l.keep.read(loginKey, &old); err != nil {
		return err
	}
	made := &scratch{} // beside the old one, which a slip of the pen must not cost
	p.Pocket = made
	fresh, err := newLine(s, p)
	if err != nil {
		return err
	}
	if err := fresh.enter(ctx, s, password, ""); err != nil {
		return err
	}
	if err := fresh.mach.VerifyWithRecoveryKey(ctx, recovery); err != nil {
		return errors.Join(fmt.Errorf("matrix: the recovery key: %w; expected the one that bot matrix login showed, as in EsTc 1234 …", err), fresh.leave(ctx))
	}
	if err := fresh.keep.commit(ctx); err != nil {
		return err
	}
	if err := l.become(ctx, made); err != nil {
		return errors.Join(err, fresh.leave(ctx))
	}
	return fresh.forget(ctx, old.Device, password)
}

// become puts what a new device keeps in the place of all that the old one kept.
func (l *line) become(ctx context.Context, made *scratch) error {
	if _, err := l.keep.drop("", func([]byte) bool { return true }); err != nil {
		return err
	}
	for k, v := range made.kept {
		l.keep.put(k, v)
	}
	return l.keep.commit(ctx)
}

// scratch is a pocket for as long as it is not sure that what is in it will be kept.
type scratch struct {
	mu   sync.Mutex
	kept map[string][]byte
}

// Get returns what is kept, nil if nothing is.
func (s *scratch) Get(key string) ([]byte, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.kept[key]), nil
}

// Scan calls f with every key that begins with prefix, in order.
func (s *scratch) Scan(prefix string, f func(key string, value []byte) error) error {
	s.mu.Lock()
	all := maps.Clone(s.kept)
	s.mu.Unlock()
	for _, key := range slices.Sorted(maps.Keys(all)) {
		if !strings.HasPrefix(key, prefix) {
			continue
		}
		if err := f(key, all[key]); err != nil {
			return err
		}
	}
	return nil
}

// Commit keeps changes.
func (s *scratch) Commit(_ context.Context, changes map[string][]byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.kept == nil {
		s.kept = map[string][]byte{}
	}
	maps.Copy(s.kept, changes)
	maps.DeleteFunc(s.kept, func(_ string, v []byte) bool { return v == nil })
	return nil
}

// forget deletes the bot's earlier devices: whoever has one could read and write
// as the bot. A device that somebody else named, for looking after the account,
// stays.
func (l *line) forget(ctx context.Context, old id.DeviceID, password string) error {
	have, err := l.cli.GetDevicesInfo(ctx)
	if err != nil {
		return err
	}
	for _, d := range have.Devices {
		if d.DeviceID == l.cli.DeviceID || d.DeviceID != old && d.DisplayName != deviceName {
			continue
		}
		if err := l.deleteDevice(ctx, d.DeviceID, password); err != nil {
			return fmt.Errorf("matrix: the old device %s could not be deleted: %w", d.DeviceID, err)
		}
	}
	return nil
}

// proof is the password where the homeserver asks for it once more.
func (l *line) proof(password, session string) any {
	return mautrix.ReqUIAuthLogin{
		BaseAuthData: mautrix.BaseAuthData{Type: mautrix.AuthTypePassword, Session: session}, User: string(l.cli.UserID), Password: password,
	}
}

func (l *line) deleteDevice(ctx context.Context, d id.DeviceID, password string) error {
	auth := func(session string) *mautrix.ReqDeleteDevice[any] {
		return &mautrix.ReqDeleteDevice[any]{Auth: l.proof(password, session)}
	}
	err := l.cli.DeleteDevice(ctx, d, auth(""))
	var h mautrix.HTTPError
	if !errors.As(err, &h) || h.RespError == nil {
		return err
	}
	session, _ := h.RespError.ExtraData["session"].(string)
	if session == "" {
		return err
	}
	return l.cli.DeleteDevice(ctx, d, auth(session))
}

// Logout deletes the bot's device on the homeserver and empties the pocket.
func Logout(ctx context.Context, s Settings, p Parts) error {
	l, err := open(s, p)
	if err != nil {
		return err
	}
	return l.leave(ctx)
}
