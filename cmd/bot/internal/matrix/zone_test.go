//go:build goolm

package matrix

import (
	"net/http"
	"strings"
	"sync/atomic"
	"testing"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
)

// zones is a way to a homeserver that knows people's zones. Dendrite knows none
// and answers 404, so the profiles are made up here (key m.tz, Matrix 1.16).
type zones struct {
	asked atomic.Int32
	says  string
}

func (z *zones) RoundTrip(r *http.Request) (*http.Response, error) {
	if !strings.HasSuffix(r.URL.Path, "/m.tz") {
		return matrixtest.Patient{}.RoundTrip(r)
	}
	z.asked.Add(1)
	if z.says == "" || !strings.Contains(r.URL.Path, "/v3/profile/@ann:"+matrixtest.ServerName+"/") {
		return matrixtest.Patient{}.RoundTrip(r)
	}
	return status(http.StatusOK, z.says)(r)
}

// TestZoneOfProfile: the zone of the person's own profile comes with what they
// say, and is asked for once; a homeserver without zones is no error.
func TestZoneOfProfile(t *testing.T) {
	s := matrixtest.New(t)
	z := &zones{says: `{"m.tz":"Europe/Paris"}`}
	b := newBot(t, s, func(b *bot) { b.parts.Transport = z })
	ann, bo := s.Join("ann"), s.Join("bo")
	fen := ann.Room(true, b.user, bo.Cli.UserID)
	if _, err := bo.Cli.JoinRoomByID(t.Context(), fen); err != nil {
		t.Fatal(err)
	}
	ann.AwaitMembers(fen, 3)
	bo.AwaitMembers(fen, 3)
	for text, want := range map[string]string{"one": "Europe/Paris", "two": "Europe/Paris"} {
		ann.Say(fen, "!"+text)
		if m := b.heard(t, "/"+text); m.Zone != want {
			t.Errorf("%q came with the zone %q, expected %q", text, m.Zone, want)
		}
	}
	bo.Say(fen, "!three")
	if m := b.heard(t, "/three"); m.Zone != "" {
		t.Errorf("a profile without a zone gave %q", m.Zone)
	}
	if n := z.asked.Load(); n != 2 {
		t.Errorf("two people were asked about %d times", n)
	}
}
