//go:build goolm

package matrix

import (
	"net/http"
	"strings"
	"testing"

	"drumhead/commands/chat/chattest"
)

// web answers requests by host and path; who is not there answers 404.
type web map[string]string

func (w web) RoundTrip(r *http.Request) (*http.Response, error) {
	if body, ok := w[r.URL.Host+r.URL.Path]; ok {
		return status(http.StatusOK, body)(r)
	}
	return status(http.StatusNotFound, "<html>nothing here</html>")(r)
}

// TestReach: who writes the wrong address, or an account that takes no password, is told
// before the password is asked for; paths and answers as in Matrix 1.2, sections "Server
// discovery" and "Login", from memory.
func TestReach(t *testing.T) {
	t.Setenv(DefaultPickleEnv, "sixteen characters at least")
	const versions, login = "/_matrix/client/versions", "/_matrix/client/v3/login"
	answers := web{
		"matrix.osier.example" + versions: `{"versions":["v1.2"]}`, "matrix.osier.example" + login: `{"flows":[{"type":"m.login.password"}]}`,
		"page.example" + versions: `{"versions":["v1.2"]}`, "page.example" + login: `{"flows":[{"type":"m.login.sso"}]}`,
		"osier.example/.well-known/matrix/client": `{"m.homeserver":{"base_url":"https://matrix.osier.example/"}}`,
	}
	for _, c := range []struct{ name, at, user, want string }{
		{"right", "https://matrix.osier.example", "@drumhead:osier.example", ""},
		{"the name for the address", "https://osier.example", "@drumhead:osier.example", `write homeserver = "https://matrix.osier.example"`},
		{"nothing there", "https://elsewhere.example", "@drumhead:elsewhere.example", `(status 404); expected the address that people's clients use`},
		{"a login page", "https://page.example", "@drumhead:page.example", "takes no password"},
		{"no whole id", "https://matrix.osier.example", "drumhead", "whole id"},
	} {
		err := Reach(t.Context(), Settings{Homeserver: c.at, User: c.user}, Parts{Pocket: chattest.NewPocket(), Transport: answers})
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}
