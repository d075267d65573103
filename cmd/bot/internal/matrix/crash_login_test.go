//go:build goolm

package matrix

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
)

// account is a bot's account for which commands are run that may break off.
type account struct {
	s        *matrixtest.Server
	settings Settings
	parts    Parts
	world    *mortal
}

// newAccount registers an account whose name nobody has.
func newAccount(t *testing.T, s *matrixtest.Server, name string) *account {
	t.Setenv(DefaultPickleEnv, "sixteen characters at least")
	s.Register(name, false)
	world := newMortal(matrixtest.Patient{})
	return &account{s: s, world: world,
		settings: Settings{Homeserver: s.URL, User: "@" + name + ":" + matrixtest.ServerName},
		parts:    Parts{Pocket: world, Log: testLog(t), Say: say, Transport: world}}
}

// broken runs a command with an account made for it, dying at each of its steps, then
// runs it again to its end. It tries steps until the command survives.
func broken(t *testing.T, command string, prepare, run func(t *testing.T, a *account) error, check func(t *testing.T, a *account)) {
	s := matrixtest.New(t)
	const most = 100
	for n := range most {
		over := false
		for _, after := range []bool{false, true} {
			a := newAccount(t, s, fmt.Sprintf("%s-%d-%v", command, n, after))
			if prepare != nil {
				if err := prepare(t, a); err != nil {
					t.Fatal(err)
				}
			}
			var last string
			count := 0
			a.world.dies(after, func(one step) bool { last, count = one.String(), count+1; return count == n+1 })
			err := run(t, a)
			a.world.wakes()
			if over = count <= n; over {
				if err != nil {
					t.Fatalf("%s failed without dying: %v", command, err)
				}
				break
			}
			name := fmt.Sprintf("%d %s", n, last)
			if after {
				name += " done"
			}
			t.Run(name, func(t *testing.T) {
				if err := run(t, a); err != nil {
					t.Fatalf("the second time: %v", err)
				}
				check(t, a)
			})
		}
		if over {
			if n < 2 {
				t.Fatalf("%s has only %d steps", command, n)
			}
			return
		}
	}
	t.Fatalf("%s has more than %d steps", command, most)
}

// String names a step.
func (s step) String() string {
	if s.request != nil {
		return s.request.Method + strings.ReplaceAll(pathClass(s.request.URL.Path), "/", " ")
	}
	return "a commit"
}

// healthy checks that the doctor finds nothing and that there is one device.
func (a *account) healthy(t *testing.T) {
	t.Helper()
	for _, f := range Doctor(t.Context(), a.settings, a.parts) {
		if !f.Good {
			t.Errorf("the doctor finds %+v", f)
		}
	}
	l, err := open(a.settings, a.parts)
	if err != nil {
		t.Fatal(err)
	}
	have, err := l.cli.GetDevicesInfo(t.Context())
	if err != nil || len(have.Devices) != 1 || have.Devices[0].DeviceID != l.cli.DeviceID {
		t.Errorf("the devices are %+v, %v", have, err)
	}
}

// TestCrashLogin: bot matrix login breaks off at each step, is run again, and then
// everything is there: a signed device and a recovery key that opens the account.
func TestCrashLogin(t *testing.T) {
	keys := map[*account]string{}
	login := func(t *testing.T, a *account) error {
		key, err := Login(t.Context(), a.settings, a.parts, matrixtest.Password)
		keys[a] = key
		return err
	}
	broken(t, "login", nil, login, func(t *testing.T, a *account) {
		a.healthy(t)
		if _, err := New(a.settings, a.parts); err != nil {
			t.Fatal(err)
		}
		if _, err := Login(t.Context(), a.settings, a.parts, matrixtest.Password); !errors.Is(err, ErrLoggedIn) {
			t.Errorf("a login of a bot that was started gave %v", err)
		}
		if err := Recover(t.Context(), a.settings, a.parts, matrixtest.Password, keys[a]); err != nil {
			t.Errorf("the recovery key does not fit: %v", err)
		}
	})
}

// TestCrashLoginThenServe: where the login broke off bot serve says so.
func TestCrashLoginThenServe(t *testing.T) {
	a := newAccount(t, matrixtest.New(t), "halfway")
	a.world.dies(false, asks(http.MethodPost, "/keys/device_signing/upload"))
	if _, err := Login(t.Context(), a.settings, a.parts, matrixtest.Password); err == nil {
		t.Fatal("it did not break off")
	}
	a.world.wakes()
	if _, err := New(a.settings, a.parts); !errors.Is(err, ErrHalfway) {
		t.Errorf("it was started: %v", err)
	}
}

// TestCrashRecover: bot matrix login --recover breaks off at each step, is run again,
// and there is one device, signed.
func TestCrashRecover(t *testing.T) {
	keys := map[*account]string{}
	broken(t, "recover", func(t *testing.T, a *account) (err error) {
		keys[a], err = Login(t.Context(), a.settings, a.parts, matrixtest.Password)
		return err
	}, func(t *testing.T, a *account) error {
		return Recover(t.Context(), a.settings, a.parts, matrixtest.Password, keys[a])
	}, func(t *testing.T, a *account) { a.healthy(t) })
}

// TestCrashLogout: bot matrix logout breaks off at each step, is run again, and
// neither the device nor anything in the pocket is left.
func TestCrashLogout(t *testing.T) {
	token := map[*account]string{}
	broken(t, "logout", func(t *testing.T, a *account) error {
		_, err := Login(t.Context(), a.settings, a.parts, matrixtest.Password)
		var in login
		if _, e := newKeep(a.parts.Pocket).read(loginKey, &in); e != nil {
			return e
		}
		token[a] = in.Token
		return err
	}, func(t *testing.T, a *account) error {
		if err := Logout(t.Context(), a.settings, a.parts); !errors.Is(err, ErrNoLogin) {
			return err
		}
		return nil
	}, func(t *testing.T, a *account) {
		left := 0
		_ = a.world.Scan("", func(string, []byte) error { left++; return nil })
		if left > 0 {
			t.Errorf("%d things are left", left)
		}
		if code := a.s.Call(http.MethodGet, "/_matrix/client/v3/account/whoami", token[a], nil, nil); code != http.StatusUnauthorized {
			t.Errorf("the token is still good: %d", code)
		}
	})
}
