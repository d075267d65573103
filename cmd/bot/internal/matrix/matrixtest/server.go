//go:build goolm

// Package matrixtest has a real homeserver and real people for tests: Dendrite on
// this machine, clients on mautrix that know nothing of the bot, and matrix-js-sdk
// as a second opinion about everything that is encrypted. scripts/dendrite builds
// the one, npm ci in testdata/matrixjs installs the other.
package matrixtest

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// DendriteEnv names the variable with the path of a Dendrite, ScriptEnv the one
// with a directory where npm ci was run.
const (
	DendriteEnv = "DRUMHEAD_DENDRITE"
	ScriptEnv   = "DRUMHEAD_MATRIXJS"
)

// ServerName is the name of the homeserver of the tests.
const ServerName = "osier.test"

// Server is a Dendrite with a directory of its own.
type Server struct {
	URL  string
	t    testing.TB
	dir  string
	port string
	cmd  *exec.Cmd
}

// New starts a homeserver, or skips the test with how to enable it.
func New(t testing.TB) *Server {
	t.Helper()
	if os.Getenv(DendriteEnv) == "" {
		t.Skipf("needs a real homeserver: run scripts/dendrite and set %s to the path that it prints", DendriteEnv)
	}
	s := &Server{t: t, dir: t.TempDir(), port: free(t)}
	s.URL = "http://127.0.0.1:" + s.port
	b := make([]byte, 32)
	if _, err := rand.Read(b); err != nil {
		t.Fatal(err)
	}
	key := pem.EncodeToMemory(&pem.Block{Type: "MATRIX PRIVATE KEY", Headers: map[string]string{"Key-ID": "ed25519:test"}, Bytes: b})
	for name, content := range map[string]string{"matrix_key.pem": string(key), "dendrite.yaml": config()} {
		if err := os.WriteFile(filepath.Join(s.dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s.Start()
	t.Cleanup(func() {
		s.Kill()
		if t.Failed() {
			if b, err := os.ReadFile(filepath.Join(s.dir, "log")); err == nil {
				t.Logf("the homeserver's log ends with:\n%s", b[max(0, len(b)-2000):])
			}
		}
	})
	return s
}

func config() string {
	var b strings.Builder
	b.WriteString(`version: 2
global: {server_name: ` + ServerName + `, private_key: matrix_key.pem, disable_federation: true, jetstream: {storage_path: ./js}, cache: {max_size_estimated: 64mb}}
client_api: {registration_disabled: false, rate_limiting: {enabled: false}}
media_api: {base_path: ./media, database: {connection_string: "file:mediaapi.db"}}
user_api: {bcrypt_cost: 4, account_database: {connection_string: "file:userapi.db"}}
logging: [{type: std, level: warn}]
`)
	for _, part := range []string{"federation_api", "key_server", "mscs", "room_server", "sync_api", "relay_api"} {
		fmt.Fprintf(&b, "%s: {database: {connection_string: \"file:%s.db\"}}\n", part, part)
	}
	return b.String()
}

func free(t testing.TB) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	_, port, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	return port
}

// Start starts the homeserver on its old data.
func (s *Server) Start() {
	s.t.Helper()
	out, err := os.OpenFile(filepath.Join(s.dir, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		s.t.Fatal(err)
	}
	defer out.Close()
	s.cmd = exec.Command(os.Getenv(DendriteEnv), "-config", "dendrite.yaml", "-http-bind-address", "127.0.0.1:"+s.port, "-https-bind-address", "", "-really-enable-open-registration")
	s.cmd.Dir, s.cmd.Stdout, s.cmd.Stderr = s.dir, out, out
	dieWithUs(s.cmd)
	if err := s.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	for range 1500 {
		r, err := http.Get(s.URL + "/_matrix/client/versions")
		if err == nil {
			r.Body.Close()
			if r.StatusCode == http.StatusOK {
				return
			}
		}
		time.Sleep(20 * time.Millisecond)
	}
	s.t.Fatal("the homeserver does not start")
}

// Kill ends the homeserver as a power cut would.
func (s *Server) Kill() {
	if s.cmd.Process != nil {
		_ = s.cmd.Process.Kill()
		_ = s.cmd.Wait()
	}
}

// Password is everybody's.
const Password = "osier willows bend"

// Account is somebody registered.
type Account struct {
	User   string `json:"user_id"`
	Token  string `json:"access_token"`
	Device string `json:"device_id"`
}

// Register makes an account; with login it is a device too.
func (s *Server) Register(name string, login bool) Account {
	s.t.Helper()
	var a Account
	s.Call(http.MethodPost, "/_matrix/client/v3/register", "", map[string]any{
		"username": name, "password": Password, "inhibit_login": !login, "auth": map[string]string{"type": "m.login.dummy"},
	}, &a)
	return a
}

// Call makes a request of its own, beside every client.
func (s *Server) Call(method, path, token string, body, into any) int {
	s.t.Helper()
	b, err := json.Marshal(body)
	if err != nil {
		s.t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, method, s.URL+path, strings.NewReader(string(b)))
	if err != nil {
		s.t.Fatal(err)
	}
	if token != "" {
		r.Header.Set("Authorization", "Bearer "+token)
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer a.Body.Close()
	got, err := io.ReadAll(a.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	if into != nil {
		if err := json.Unmarshal(got, into); err != nil || a.StatusCode >= 300 {
			s.t.Fatalf("%s %s: %d %s", method, path, a.StatusCode, got)
		}
	}
	return a.StatusCode
}
