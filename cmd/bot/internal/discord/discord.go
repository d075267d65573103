// Package discord is the ground of the Discord adapter: the line to the gateway
// and its supervisor, the gate to the HTTP interface, and the translation of
// posts into Discord's text and back. It stands on discordgo for the gateway's
// protocol and for multipart bodies; what goes over the wire is described by
// structs of our own. It translates, and decides nothing.
package discord

import (
	"crypto/tls"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"time"
)

// Name begins the ids of this adapter's persons and places.
const Name = "discord"

// Where Discord is, unless a Config says otherwise.
const (
	DefaultBase  = "https://discord.com"
	DefaultFiles = "https://cdn.discordapp.com"
)

// idleLines are connections kept open for bursts of answers.
const idleLines = 64

// Config is what the adapter is told.
type Config struct {
	Token Token
	Base  string      // of the HTTP interface; DefaultBase if ""
	Files string      // of the host that has people's files; DefaultFiles if ""
	TLS   *tls.Config // nil for the machine's own
	Log   *slog.Logger
	Say   func(id string, slots ...any) string // a sentence of the catalogue; nil: none is said
	Now   func() time.Time                     // by which Discord's clock is judged; time.Now if nil
}

// wires are what one bot has of Discord: the way out, and what it knows of
// Discord's clock.
type wires struct {
	Config
	clock    *clock
	gate     *gate
	api      *api
	files    *url.URL
	patience time.Duration     // before an answer is promised
	turns    turns             // of those who send to one place
	pace     *pace             // of sessions that begin
	plain    http.RoundTripper // to the host of files, which has no limits and gets no token
}

// wire makes the way out; nothing is asked of Discord yet.
func wire(c Config) (*wires, error) {
	if c.Base == "" {
		c.Base = DefaultBase
	}
	if c.Files == "" {
		c.Files = DefaultFiles
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	base, err := url.Parse(c.Base)
	if err != nil || base.Host == "" {
		return nil, fmt.Errorf("discord: %q is no address; expected one like %s", c.Base, DefaultBase)
	}
	files, err := url.Parse(c.Files)
	if err != nil || files.Host == "" {
		return nil, fmt.Errorf("discord: %q is no address; expected one like %s", c.Files, DefaultFiles)
	}
	if c.TLS == nil {
		c.TLS = &tls.Config{MinVersion: tls.VersionTLS12}
	}
	w := &wires{Config: c, clock: &clock{}, files: files, patience: deferAfter, pace: newPace(time.Now()), plain: &http.Transport{
		Proxy: http.ProxyFromEnvironment, TLSClientConfig: c.TLS, MaxIdleConns: idleLines, MaxIdleConnsPerHost: idleLines,
		IdleConnTimeout: time.Minute, TLSHandshakeTimeout: 10 * time.Second, ForceAttemptHTTP2: true,
	}}
	w.gate = newGate(base, w.plain, w.clock)
	w.gate.now = c.Now
	w.api, err = newAPI(c.Token, w.gate)
	return w, err
}

// said is a sentence of the catalogue.
func (w *wires) said(id string) string {
	if w.Say == nil {
		return ""
	}
	return w.Say(id)
}

// supervisor is one for a shard of several; hear must not wait.
func (w *wires) supervisor(shard, shards int, hear func(kind string, data json.RawMessage)) *supervisor {
	return &supervisor{token: w.Token, shard: shard, shards: shards, gate: w.gate, api: w.api, tls: w.TLS, hear: hear, log: w.Log, bounds: usual, pace: w.pace}
}
