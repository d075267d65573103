//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"maunium.net/go/mautrix"
)

// reachWithin is how long a homeserver may take to say what it is.
const reachWithin = 10 * time.Second

// Reach tells whether the bot could log in, before anybody is asked for a password:
// whether the settings are whole, a homeserver answers at their address, and it takes
// passwords.
func Reach(ctx context.Context, s Settings, p Parts) error {
	l, err := newLine(s, p)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, reachWithin)
	defer cancel()
	if _, err := l.cli.Versions(ctx); err != nil {
		return l.elsewhere(ctx, s, err)
	}
	flows, err := l.cli.GetLoginFlows(ctx)
	switch {
	case err != nil:
		return l.elsewhere(ctx, s, err)
	case !flows.HasFlow(mautrix.AuthTypePassword):
		return fmt.Errorf("matrix: %s takes no password, but wants a login page of its own, which the bot cannot use; make its account on a homeserver that takes one", s.Homeserver)
	}
	return nil
}

// elsewhere says where the homeserver could be, if it is not where the settings say.
func (l *line) elsewhere(ctx context.Context, s Settings, why error) error {
	name := server(s.User)
	client := &http.Client{Transport: l.cli.Client.Transport}
	if known, err := mautrix.DiscoverClientAPIWithClient(ctx, client, name); err == nil && known != nil {
		if at := strings.TrimRight(known.Homeserver.BaseURL, "/"); at != "" && at != strings.TrimRight(s.Homeserver, "/") {
			return fmt.Errorf("matrix: no homeserver answers at %s; %s says where it is: write homeserver = %q", s.Homeserver, name, harmless(at))
		}
	}
	var h mautrix.HTTPError
	if errors.As(why, &h) && h.Response != nil {
		why = fmt.Errorf("status %d", h.Response.StatusCode)
	}
	return fmt.Errorf("matrix: no homeserver answers at %s (%w); expected the address that people's clients use, as in homeserver = \"https://matrix.%s\"", s.Homeserver, why, name)
}
