//go:build goolm

package matrix

import (
	"context"
	"net/http"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/id"
)

// Bounds of asking for somebody's zone.
const (
	zoneWithin  = time.Second    // nobody waits longer for it
	zoneAgain   = 24 * time.Hour // a profile is asked once a day
	mostZones   = 10_000         // people whose answer is remembered
	zonesAtOnce = 20             // people asked for in a minute: their servers may let us wait
)

// zoneAsked is what a profile said of a zone, and when.
type zoneAsked struct {
	zone string
	at   time.Time
}

// zoneOf is the zone that somebody's profile names, "" if it names none or the
// homeserver knows of no zones (profile key m.tz, Matrix 1.16). The request is
// our own: the library asks for the bot's profile where a server has only the
// key's earlier form.
func (a *Adapter) zoneOf(ctx context.Context, user id.UserID) string {
	now := a.parts.Now()
	a.mu.Lock()
	known, ok := a.zones[user]
	a.mu.Unlock()
	if ok && now.Sub(known.at) < zoneAgain {
		return known.zone
	}
	if !a.pace.may("zones", zonesAtOnce, time.Minute) {
		return ""
	}
	ctx, cancel := context.WithTimeout(ctx, zoneWithin)
	defer cancel()
	var profile struct {
		Zone string `json:"m.tz"`
	}
	_, err := a.cli.MakeFullRequest(ctx, mautrix.FullRequest{Method: http.MethodGet,
		URL: a.cli.BuildClientURL("v3", "profile", user, "m.tz"), ResponseJSON: &profile})
	if err != nil {
		profile.Zone = "" // none, or not to be had now
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.zones) >= mostZones {
		clear(a.zones)
	}
	a.zones[user] = zoneAsked{profile.Zone, now}
	return profile.Zone
}
