package discord

import (
	"bytes"
	"encoding/json"
	"io"
	"maps"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
)

const (
	defaultPause = 5 * time.Second // after a 429 that does not say how long
	maxRefusal   = 1 << 20         // bytes of a refusal that are read
)

// Refusal is an answer of 400 and above.
type Refusal struct {
	Status  int
	Code    int           // Discord's JSON error code, 0 if there was none
	Message string        // Discord's own words
	Paths   []string      // of what is wrong in the body (50035): "components.0.label BASE_TYPE_MAX_LENGTH"
	Route   string        // without ids but the first and without secrets
	After   time.Duration // of 429: how long to wait
	Global  bool          // of 429: for everything, not for this route alone
	Shared  bool          // of 429: others used the limit up
}

// Error names the route, the status and the code; it holds no secret.
func (r *Refusal) Error() string {
	text := "discord: " + r.Route + ": " + strconv.Itoa(r.Status)
	if r.Code != 0 {
		text += ", code " + strconv.Itoa(r.Code)
	}
	if r.Message != "" {
		text += ": " + r.Message
	}
	if r.Paths != nil {
		text += " (" + strings.Join(r.Paths, "; ") + ")"
	}
	return text
}

// counts tells whether Discord counts the refusal against this address.
func (r *Refusal) counts() bool {
	return r.Status == http.StatusUnauthorized || r.Status == http.StatusForbidden || r.Status == http.StatusTooManyRequests && !r.Shared
}

// limited tells whether the same call is taken after a pause. A limit with a
// code of its own, such as that on edits of an old message, has an outcome of its own.
func (r *Refusal) limited() bool {
	known, ok := byCode[r.Code]
	return r.Status == http.StatusTooManyRequests && (!ok || known == later)
}

// readRefusal reads an answer of 400 and above. One that is not JSON comes from
// what stands before Discord and means the whole address.
func readRefusal(a *http.Response, name string) *Refusal {
	r := &Refusal{Status: a.StatusCode, Route: name, Shared: a.Header.Get("X-Ratelimit-Scope") == "shared"}
	b, _ := io.ReadAll(io.LimitReader(a.Body, maxRefusal)) // what came of it is read below; the status says enough
	kind, _, _ := mime.ParseMediaType(a.Header.Get("Content-Type"))
	var body struct {
		Code    int             `json:"code"`
		Message string          `json:"message"`
		After   float64         `json:"retry_after"`
		Global  bool            `json:"global"`
		Errors  json.RawMessage `json:"errors"`
	}
	ours := kind != "text/html" && bytes.HasPrefix(bytes.TrimSpace(b), []byte("{")) && json.Unmarshal(b, &body) == nil
	if ours {
		r.Code, r.Message, r.Global = body.Code, body.Message, body.Global
		r.Paths = paths("", body.Errors)
		r.After = time.Duration(body.After * float64(time.Second))
	}
	if a.StatusCode == http.StatusTooManyRequests {
		r.Global = r.Global || !ours || a.Header.Get("X-Ratelimit-Global") == "true"
		r.After = max(r.After, seconds(a.Header.Get("Retry-After")))
		if r.After <= 0 {
			r.After = defaultPause
		}
	}
	return r
}

// paths lists where a body was wrong, with Discord's code of what was wrong, and
// none of the body's own text.
func paths(at string, raw json.RawMessage) []string {
	var list struct {
		Errors []struct {
			Code string `json:"code"`
		} `json:"_errors"`
	}
	if json.Unmarshal(raw, &list) == nil && list.Errors != nil {
		var out []string
		for _, e := range list.Errors {
			out = append(out, strings.TrimSpace(at+" "+e.Code))
		}
		return out
	}
	var deeper map[string]json.RawMessage
	if json.Unmarshal(raw, &deeper) != nil {
		return nil
	}
	var out []string
	for _, k := range slices.Sorted(maps.Keys(deeper)) {
		out = append(out, paths(strings.TrimPrefix(at+"."+k, "."), deeper[k])...)
	}
	return out
}
