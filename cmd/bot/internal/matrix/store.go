//go:build goolm

package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/crypto/goolm/libolmpickle"
	"maunium.net/go/mautrix/crypto/olm"
	"maunium.net/go/mautrix/id"
)

// store keeps everything about encryption in the pocket. Nothing of it is on
// disk before the keep commits, which it does before anything leaves that
// depends on it (barrier.go).
type store struct {
	*keep
	pickle []byte // the key that private keys lie under
	now    func() time.Time

	mu      sync.Mutex
	account *crypto.OlmAccount
	// The machine fetches a session before it takes its lock and uses it after:
	// there must be one object for each session, or a step of the ratchet is lost.
	sessions map[id.SenderKey]map[id.SessionID]*crypto.OlmSession
}

var _ crypto.Store = (*store)(nil)

func newStore(k *keep, pickle []byte, now func() time.Time) *store {
	return &store{keep: k, pickle: pickle, now: now, sessions: map[id.SenderKey]map[id.SessionID]*crypto.OlmSession{}}
}

// Flush has nothing to do: what must be on disk is brought there by the barrier.
func (s *store) Flush(context.Context) error { return nil }

var errPickle = errors.New("matrix: the bot's keys cannot be opened with this pickle key; the one that they were made with is needed")

type accountRecord struct {
	Pickle []byte
	Shared bool
	Backup id.KeyBackupVersion
}

// PutAccount keeps the account's keys.
func (s *store) PutAccount(_ context.Context, a *crypto.OlmAccount) error {
	b, err := a.Internal.Pickle(s.pickle)
	if err != nil {
		return err
	}
	s.mu.Lock()
	s.account = a
	s.mu.Unlock()
	return s.set("acct", accountRecord{b, a.Shared, a.KeyBackupVersion})
}

// GetAccount returns the account's keys, nil if there are none yet.
func (s *store) GetAccount(context.Context) (*crypto.OlmAccount, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.account != nil {
		return s.account, nil
	}
	var r accountRecord
	if ok, err := s.read("acct", &r); err != nil || !ok {
		return nil, err
	}
	a := &crypto.OlmAccount{Internal: olm.NewBlankAccount(), Shared: r.Shared, KeyBackupVersion: r.Backup}
	if err := a.Internal.Unpickle(r.Pickle, s.pickle); err != nil {
		return nil, fmt.Errorf("%w: %w", errPickle, err)
	}
	s.account = a
	return a, nil
}

type olmRecord struct {
	Pickle                        []byte
	Created, Encrypted, Decrypted time.Time
}

// keepSession writes a session; s.mu is held.
func (s *store) keepSession(k id.SenderKey, o *crypto.OlmSession) error {
	b, err := o.Internal.Pickle(s.pickle)
	if err != nil {
		return err
	}
	return s.set(key("olm", string(k), string(o.ID())), olmRecord{b, o.CreationTime, o.LastEncryptedTime, o.LastDecryptedTime})
}

// AddSession keeps a new session.
func (s *store) AddSession(_ context.Context, k id.SenderKey, o *crypto.OlmSession) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	known, err := s.load(k)
	if err != nil {
		return err
	}
	known[o.ID()] = o
	return s.keepSession(k, o)
}

// UpdateSession keeps a session that was used.
func (s *store) UpdateSession(_ context.Context, k id.SenderKey, o *crypto.OlmSession) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.keepSession(k, o)
}

// DeleteSession forgets a session.
func (s *store) DeleteSession(_ context.Context, k id.SenderKey, o *crypto.OlmSession) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.sessions[k], o.ID())
	s.put(key("olm", string(k), string(o.ID())), nil)
	return nil
}

// load reads the sessions with a device, once; s.mu is held.
func (s *store) load(k id.SenderKey) (map[id.SessionID]*crypto.OlmSession, error) {
	if known, ok := s.sessions[k]; ok {
		return known, nil
	}
	known := map[id.SessionID]*crypto.OlmSession{}
	err := s.scan(key("olm", string(k))+sep, func(at string, b []byte) error {
		var r olmRecord
		if err := json.Unmarshal(b, &r); err != nil {
			return fmt.Errorf("matrix: the pocket is damaged at %.40q: %w", at, err)
		}
		o := &crypto.OlmSession{Internal: olm.NewBlankSession()}
		o.CreationTime, o.LastEncryptedTime, o.LastDecryptedTime = r.Created, r.Encrypted, r.Decrypted
		if err := o.Internal.Unpickle(r.Pickle, s.pickle); err != nil {
			return err
		}
		known[o.ID()] = o
		return nil
	})
	if err == nil {
		s.sessions[k] = known
	}
	return known, err
}

// GetSessions returns the sessions with a device, the last to decrypt first.
func (s *store) GetSessions(_ context.Context, k id.SenderKey) (crypto.OlmSessionList, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	known, err := s.load(k)
	list := crypto.OlmSessionList{}
	for _, o := range known {
		list = append(list, o)
	}
	// The list's own order compares the time of one decryption with that of another's encryption.
	slices.SortFunc(list, func(a, b *crypto.OlmSession) int {
		if c := b.LastDecryptedTime.Compare(a.LastDecryptedTime); c != 0 {
			return c
		}
		if a.ID() > b.ID() {
			return -1
		}
		return 1
	})
	return list, err
}

// HasSession tells whether there is a session with a device.
func (s *store) HasSession(ctx context.Context, k id.SenderKey) bool {
	list, err := s.GetSessions(ctx, k)
	return err == nil && len(list) > 0
}

// GetLatestSession returns the session to encrypt with, nil if there is none.
func (s *store) GetLatestSession(ctx context.Context, k id.SenderKey) (*crypto.OlmSession, error) {
	list, err := s.GetSessions(ctx, k)
	if err != nil || len(list) == 0 {
		return nil, err
	}
	return list[0], nil
}

// GetNewestSessionCreationTS tells when the newest used session was made.
func (s *store) GetNewestSessionCreationTS(ctx context.Context, k id.SenderKey) (newest time.Time, err error) {
	list, err := s.GetSessions(ctx, k)
	for _, o := range list {
		used := !o.LastEncryptedTime.Equal(o.CreationTime) || !o.LastDecryptedTime.Equal(o.CreationTime)
		if used && o.CreationTime.After(newest) {
			newest = o.CreationTime
		}
	}
	return newest, err
}

// PutOlmHash notes that a message was handled.
func (s *store) PutOlmHash(_ context.Context, hash [32]byte, at time.Time) error {
	return s.set(key("hash", fmt.Sprintf("%x", hash)), at.UnixMilli())
}

// GetOlmHash tells when a message was handled, zero if never.
func (s *store) GetOlmHash(_ context.Context, hash [32]byte) (time.Time, error) {
	var ms int64
	if ok, err := s.read(key("hash", fmt.Sprintf("%x", hash)), &ms); err != nil || !ok {
		return time.Time{}, err
	}
	return time.UnixMilli(ms), nil
}

// DeleteOldOlmHashes forgets messages that were handled before a time.
func (s *store) DeleteOldOlmHashes(_ context.Context, before time.Time) error {
	_, err := s.drop("hash"+sep, func(b []byte) bool {
		var ms int64
		return json.Unmarshal(b, &ms) == nil && ms < before.UnixMilli()
	})
	return err
}

// PutSecret keeps a named secret.
func (s *store) PutSecret(_ context.Context, name id.Secret, value string) error {
	b, err := libolmpickle.Pickle(s.pickle, []byte(value))
	if err == nil {
		s.put(key("sec", string(name)), b)
	}
	return err
}

// GetSecret returns a named secret, "" if there is none.
func (s *store) GetSecret(_ context.Context, name id.Secret) (string, error) {
	b, err := s.get(key("sec", string(name)))
	if err != nil || b == nil {
		return "", err
	}
	b, err = libolmpickle.Unpickle(s.pickle, b)
	return string(b), err
}

// DeleteSecret forgets a named secret.
func (s *store) DeleteSecret(_ context.Context, name id.Secret) error {
	s.put(key("sec", string(name)), nil)
	return nil
}
