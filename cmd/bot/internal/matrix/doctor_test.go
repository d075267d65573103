//go:build goolm

package matrix

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
)

// rewriter changes answers of the homeserver, by what their paths contain.
type rewriter map[string]func(*http.Response, dict)

func (w rewriter) RoundTrip(r *http.Request) (*http.Response, error) {
	a, err := matrixtest.Patient{}.RoundTrip(r)
	for part, change := range w {
		if err != nil || !strings.Contains(r.URL.Path, part) || change == nil {
			continue
		}
		a, err = rewrite(a, func(whole *dict) error { change(a, *whole); return nil })
	}
	return a, err
}

// TestDoctorFinds: each thing that is wrong is found, alone, and told with what to
// do; where nothing is, nothing is said.
func TestDoctorFinds(t *testing.T) {
	s := matrixtest.New(t)
	b := newBot(t, s)
	b.echoes()
	ann := s.Join("ann")
	fen := ann.Room(true, b.user)
	ann.AwaitMembers(fen, 2)
	ann.Say(fen, "!there")
	ann.Await("the bot", from(b.user, "/THERE"))
	levels := func(rid id.RoomID, of map[string]int) {
		t.Helper()
		c := &event.PowerLevelsEventContent{Users: map[id.UserID]int{ann.Cli.UserID: 100}, Events: of}
		if _, err := ann.Cli.SendStateEvent(t.Context(), rid, event.StatePowerLevels, "", c); err != nil {
			t.Fatal(err)
		}
	}
	mill, weir := ann.Room(true, b.user), ann.Room(true, b.user)
	for rid, name := range map[id.RoomID]string{mill: "The mill", weir: "The weir"} {
		ann.AwaitMembers(rid, 2)
		if _, err := ann.Cli.SendStateEvent(t.Context(), rid, event.StateRoomName, "", &event.RoomNameEventContent{Name: name}); err != nil {
			t.Fatal(err)
		}
	}
	until(t, "the bot is everywhere", func() bool { return b.rooms.count() == 3 })
	key := filepath.Join(t.TempDir(), "matrix.key")
	if err := os.WriteFile(key, []byte(os.Getenv(DefaultPickleEnv)), 0o600); err != nil {
		t.Fatal(err)
	}
	b.settings.PickleFile = key
	look := func(w rewriter) (wrong []string) {
		parts := b.parts
		parts.Transport = w
		for _, f := range Doctor(t.Context(), b.settings, parts) {
			if !f.Good {
				wrong = append(wrong, f.What+": "+f.Says)
			}
		}
		return wrong
	}
	if wrong := look(nil); wrong != nil {
		t.Errorf("all is well, and the doctor finds %q", wrong)
	}
	settings := b.settings
	for _, c := range []struct {
		name, want, todo string
		make             func()
		w                rewriter
	}{
		{"a clock that is off", "clock: 1h", "time server", nil, rewriter{"/versions": func(a *http.Response, _ dict) {
			a.Header.Set("Date", time.Now().Add(time.Hour+time.Second).UTC().Format(http.TimeFormat))
		}}},
		{"a key that others can read", "pickle key: " + key, "chmod 600", func() { must(t, os.Chmod(key, 0o644)) }, nil},
		{"the address for the name", "servers: 127.0.0.1", matrixtest.ServerName, func() { b.settings.Servers = []string{"127.0.0.1"} }, nil},
		{"nobody of the name", "people: nobody is called @anne:", "correct", func() {
			b.settings.People = []string{"@ann:" + matrixtest.ServerName, "@anne:" + matrixtest.ServerName}
		}, nil},
		{"no signature", "signature:", "--recover", nil, rewriter{"/keys/query": func(_ *http.Response, whole dict) { delete(whole, "self_signing_keys") }}},
		{"another's signature", "signature:", "--recover", nil, rewriter{"/keys/query": func(_ *http.Response, whole dict) {
			device := whole["device_keys"].(dict)[string(b.user)].(dict)[string(b.cli.DeviceID)].(dict)
			for k, v := range device["signatures"].(dict)[string(b.user)].(dict) {
				device["signatures"].(dict)[string(b.user)].(dict)[k] = strings.Replace(v.(string), v.(string)[:2], "xx", 1)
			}
		}}},
		{"other keys", "keys:", "--recover", nil, rewriter{"/keys/query": func(_ *http.Response, whole dict) { delete(whole, "device_keys") }}},
		{"no secrets", "recovery key:", "data directory", nil, rewriter{"/account_data/": func(_ *http.Response, whole dict) { delete(whole, "encrypted") }}},
		{"no keys left", "one-time keys:", "bot serve", nil, rewriter{
			"/sync":        func(_ *http.Response, whole dict) { delete(whole, "device_one_time_keys_count") },
			"/keys/upload": func(_ *http.Response, whole dict) { delete(whole, "one_time_key_counts") },
		}},
		{"a room where it may not speak", "room The mill (" + string(mill) + "): the bot may not post", "raise", func() {
			levels(mill, map[string]int{"m.room.encrypted": 25})
			until(t, "the bot knows", func() bool { return b.lacks(mill) != "" })
		}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			if b.settings = settings; c.make != nil {
				c.make()
			}
			wrong := look(c.w)
			if len(wrong) != 1 || !strings.HasPrefix(wrong[0], c.want) || !strings.Contains(wrong[0], c.todo) {
				t.Errorf("found %q, want %q and %q", wrong, c.want, c.todo)
			}
			must(t, os.Chmod(key, 0o600))
		})
	}
	levels(mill, nil)
	levels(weir, map[string]int{"m.room.redaction": 50})
	until(t, "the bot knows", func() bool { return b.lacks(mill) == "" && b.lacks(weir) != "" })
	if wrong := look(nil); len(wrong) != 1 || !strings.Contains(wrong[0], "The weir") || !strings.Contains(wrong[0], "take back") {
		t.Errorf("where it may not take back it finds %q", wrong)
	}
}

// lacks is what the bot lacks in a room.
func (b *bot) lacks(rid id.RoomID) (what string) {
	b.rooms.view(rid, func(one *room) { what = one.lacks(b.user) })
	return what
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// TestDoctorAndFallbackKeys: what a homeserver says of fallback keys is told; Dendrite
// knows none, so the answers are made up (Matrix 1.2, "device_unused_fallback_key_types").
func TestDoctorAndFallbackKeys(t *testing.T) {
	s := matrixtest.New(t)
	b := newBot(t, s)
	for says, unused := range map[string]any{"this homeserver has none": nil, "one is there": []string{"signed_curve25519"}, "bot serve leaves a new one": []string{}} {
		parts := b.parts
		parts.Transport = rewriter{"/sync": func(_ *http.Response, whole dict) {
			if delete(whole, "device_unused_fallback_key_types"); unused != nil {
				whole["device_unused_fallback_key_types"] = unused
			}
		}}
		told := ""
		for _, f := range Doctor(t.Context(), b.settings, parts) {
			if f.What == "fallback key" {
				told += f.Says
			}
		}
		if !strings.Contains(told, says) {
			t.Errorf("with %v it says %q", unused, told)
		}
	}
}
