//go:build goolm

package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
)

// The whole program on Matrix, as an operator does it: log in, ask what is wrong,
// serve, roll in an encrypted room, stop, log out. Neither password, recovery key
// nor what was said stands in a log.
func TestServeOnMatrix(t *testing.T) {
	server := matrixtest.New(t)
	bot := server.Register("drumhead", false)
	dir := t.TempDir()
	path := filepath.Join(dir, "drumhead.toml")
	t.Setenv("DRUMHEAD_MATRIX_KEY", "a key that is always the same")
	config := "name = \"weir.example\"\nlog = \"debug\"\n[matrix]\nhomeserver = \"" + server.URL + "\"\nuser = \"" + bot.User + "\"\n"
	if err := os.WriteFile(path, []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out, _ := start(t, "", "doctor", "--config", path); code != bad || !strings.Contains(out, "run bot matrix login") {
		t.Errorf("before the login doctor said %d %s", code, out)
	}
	if code, _, errs := start(t, "not it\n", "matrix", "login", "--config", path); code != bad || strings.Contains(errs, "not it") {
		t.Errorf("a wrong password: %d %s", code, errs)
	}
	code, out, errs := start(t, matrixtest.Password+"\n", "matrix", "login", "--config", path)
	if code != good || !strings.Contains(out, "The recovery key, shown only now:") || strings.Contains(out+errs, matrixtest.Password) {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	_, recovery, _ := strings.Cut(out, "shown only now:")
	recovery, _, _ = strings.Cut(strings.TrimSpace(recovery), "\n")
	if code, out, errs := start(t, "", "doctor", "--config", path); code != good {
		t.Errorf("after the login doctor said %d %s%s", code, out, errs)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var said, log shared
	end := make(chan int, 1)
	go func() { end <- Run(ctx, []string{"serve", "--config", path}, strings.NewReader(""), &said, &log) }()
	ann := server.Join("ann")
	room := ann.Room(true, id.UserID(bot.User))
	ann.AwaitMembers(room, 2)
	ann.Say(room, "!roll 12d6 4+ for lantern oil")
	answer := ann.Await("the roll", func(e *event.Event) bool {
		return string(e.Sender) == bot.User && strings.Contains(matrixtest.Body(e), "lantern oil")
	})
	if !answer.Mautrix.WasEncrypted {
		t.Error("the answer came in clear")
	}
	stop()
	if code := <-end; code != good {
		t.Errorf("it ended with %d: %s", code, log.String())
	}
	for _, secret := range []string{"lantern oil", matrixtest.Password, recovery, "a key that is always the same"} {
		if strings.Contains(log.String()+said.String(), secret) {
			t.Errorf("the log holds %q:\n%s", secret, log.String())
		}
	}
	if code, out, errs := start(t, "", "matrix", "logout", "--config", path); code != good || !strings.Contains(out, "Logged out") {
		t.Errorf("%d %s%s", code, out, errs)
	}
	if code, out, _ := start(t, "", "doctor", "--config", path); code != bad || !strings.Contains(out, "run bot matrix login") {
		t.Errorf("after the logout doctor said %d %s", code, out)
	}
}
