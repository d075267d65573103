//go:build goolm

package matrixtest

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"
)

// Fake is a small homeserver for what Dendrite does not have: logins that expire and
// are refreshed, and fallback keys (both as the Matrix client-server specification
// 1.16 says, from memory). It knows one account and no rooms; what a sync answers is
// put there by the test. Everything else is tested against the real one.
type Fake struct {
	URL   string
	Lives time.Duration // of a token

	mu       sync.Mutex
	issued   int
	valid    map[string]time.Time // access tokens, until when
	spent    map[string]bool      // tokens that were used
	renews   map[string]string    // refresh token: the one that replaced it, "" if none was asked for
	gone     bool                 // the device was deleted
	keys     map[string]json.RawMessage
	fallback []map[string]FallbackKey // every upload that had some
	used     bool                     // the fallback key was given to somebody
	answers  []map[string]any         // of syncs to come
	asked    int                      // how often for a sync
	refused  int                      // how many requests had no good token
	refreshs int
}

// FallbackKey is one as it was uploaded.
type FallbackKey struct {
	Key        string                       `json:"key"`
	Fallback   bool                         `json:"fallback"`
	Signatures map[string]map[string]string `json:"signatures"`
}

// FakeUser is the account of a Fake.
const FakeUser = "@drumhead:" + ServerName

// NewFake starts one.
func NewFake(t testing.TB) *Fake {
	f := &Fake{Lives: time.Hour, valid: map[string]time.Time{}, spent: map[string]bool{}, renews: map[string]string{}, keys: map[string]json.RawMessage{}}
	s := httptest.NewServer(f)
	t.Cleanup(s.Close)
	f.URL = s.URL
	return f
}

// Expire makes every token too old.
func (f *Fake) Expire() {
	f.mu.Lock()
	defer f.mu.Unlock()
	for token := range f.valid {
		f.valid[token] = time.Time{}
	}
}

// Forget makes the homeserver forget every login: nothing is refreshed any more. The
// device stays, unless it is gone too.
func (f *Fake) Forget(device bool) {
	f.Expire()
	f.mu.Lock()
	defer f.mu.Unlock()
	f.renews, f.gone = map[string]string{}, device
}

// Use gives the fallback key to somebody: from now on there is none unused.
func (f *Fake) Use() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.used = true
}

// Say puts what the next sync answers.
func (f *Fake) Say(answer map[string]any) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.answers = append(f.answers, answer)
}

// Counts are the syncs that were answered, the requests that were refused for their
// token and the refreshs so far.
func (f *Fake) Counts() (syncs, refused, refreshs int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.asked, f.refused, f.refreshs
}

// Fallbacks are the fallback keys of every upload that had some.
func (f *Fake) Fallbacks() []map[string]FallbackKey {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]map[string]FallbackKey{}, f.fallback...)
}

// ServeHTTP answers a request.
func (f *Fake) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	path := r.URL.Path[strings.Index(r.URL.Path, "/client/")+len("/client/"):]
	path = strings.TrimPrefix(path, "v3/")
	var body map[string]json.RawMessage
	_ = json.NewDecoder(r.Body).Decode(&body) // none at all is fine
	status, answer := f.answer(r, path, body)
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(answer)
}

type object = map[string]any

func (f *Fake) answer(r *http.Request, path string, body map[string]json.RawMessage) (int, any) {
	f.mu.Lock()
	defer f.mu.Unlock()
	switch path {
	case "versions":
		return 200, object{"versions": []string{"v1.16"}}
	case "login":
		if string(body["password"]) != fmt.Sprintf("%q", Password) {
			return 403, object{"errcode": "M_FORBIDDEN"}
		}
		f.gone = false
		return 200, f.grant(string(body["refresh_token"]) == "true", object{"user_id": FakeUser, "device_id": "FAKE"})
	case "refresh":
		return f.refresh(body)
	}
	if until, ok := f.valid[strings.TrimPrefix(r.Header.Get("Authorization"), "Bearer ")]; !ok || time.Now().After(until) {
		f.refused++
		return 401, object{"errcode": "M_UNKNOWN_TOKEN", "error": "x", "soft_logout": !f.gone}
	}
	return f.serve(r, path, body)
}

// grant gives tokens.
func (f *Fake) grant(refreshable bool, answer object) object {
	f.issued++
	access, refresh := fmt.Sprint("access-", f.issued), fmt.Sprint("refresh-", f.issued)
	f.valid[access] = time.Now().Add(f.Lives)
	answer["access_token"] = access
	if refreshable {
		f.renews[refresh] = ""
		answer["refresh_token"], answer["expires_in_ms"] = refresh, f.Lives.Milliseconds()
	}
	return answer
}

// refresh gives new tokens for a refresh token. The old one stays good until one of
// the new pair was used.
func (f *Fake) refresh(body map[string]json.RawMessage) (int, any) {
	f.refreshs++
	var token string
	_ = json.Unmarshal(body["refresh_token"], &token)
	next, ok := f.renews[token]
	if !ok || f.spent[next] || f.spent[strings.Replace(next, "refresh", "access", 1)] {
		return 401, object{"errcode": "M_UNKNOWN_TOKEN", "error": "x", "soft_logout": !f.gone}
	}
	f.spent[token] = true
	answer := f.grant(true, object{})
	f.renews[token] = answer["refresh_token"].(string)
	return 200, answer
}

// serve answers who is logged in.
func (f *Fake) serve(r *http.Request, path string, body map[string]json.RawMessage) (int, any) {
	f.spent[strings.TrimPrefix(r.Header.Get("Authorization"), "Bearer ")] = true
	switch {
	case path == "account/whoami":
		return 200, object{"user_id": FakeUser, "device_id": "FAKE"}
	case path == "sync":
		return 200, f.sync()
	case path == "keys/upload":
		return 200, f.upload(body)
	case path == "keys/query":
		return 200, f.query()
	case path == "keys/device_signing/upload":
		for _, kind := range []string{"master_key", "self_signing_key", "user_signing_key"} {
			f.keys[kind] = body[kind]
		}
		return 200, object{}
	case strings.HasSuffix(path, "/filter"):
		return 200, object{"filter_id": "1"}
	case path == "devices":
		return 200, object{"devices": []object{{"device_id": "FAKE"}}}
	case path == "keys/signatures/upload":
		return 200, object{"failures": object{}}
	}
	return 200, object{}
}

// sync answers what the test has put there, and how many keys are left.
func (f *Fake) sync() object {
	f.asked++
	answer := object{}
	if len(f.answers) > 0 {
		answer, f.answers = f.answers[0], f.answers[1:]
	}
	answer["next_batch"] = fmt.Sprint("s", f.asked)
	answer["device_one_time_keys_count"] = object{"signed_curve25519": 50}
	unused := []string{}
	if len(f.fallback) > 0 && !f.used {
		unused = append(unused, "signed_curve25519")
	}
	answer["device_unused_fallback_key_types"] = unused
	f.mu.Unlock()
	time.Sleep(10 * time.Millisecond) // as if it had waited for news
	f.mu.Lock()
	return answer
}

func (f *Fake) upload(body map[string]json.RawMessage) object {
	if device := body["device_keys"]; device != nil {
		f.keys["device"] = device
	}
	var keys map[string]FallbackKey
	if json.Unmarshal(body["fallback_keys"], &keys) == nil && len(keys) > 0 {
		f.fallback, f.used = append(f.fallback, keys), false
	}
	return object{"one_time_key_counts": object{"signed_curve25519": 50}}
}

func (f *Fake) query() object {
	answer := object{"device_keys": object{FakeUser: object{}}}
	if device := f.keys["device"]; device != nil {
		answer["device_keys"] = object{FakeUser: object{"FAKE": device}}
	}
	for _, kind := range []string{"master_key", "self_signing_key", "user_signing_key"} {
		if k := f.keys[kind]; k != nil {
			answer[kind+"s"] = object{FakeUser: k}
		}
	}
	return answer
}
