//go:build goolm

package matrixtest

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"strings"
)

// Patient is the way to the homeserver for tests. Where somebody gives a wait for
// news up, it lets the homeserver finish all the same: Dendrite on SQLite in pure Go
// may hang for ten seconds when a request is taken back in the middle.
type Patient struct{}

// RoundTrip makes a request.
func (Patient) RoundTrip(r *http.Request) (*http.Response, error) {
	if !strings.HasSuffix(r.URL.Path, "/sync") {
		return http.DefaultTransport.RoundTrip(r)
	}
	type result struct {
		a   *http.Response
		err error
	}
	done := make(chan result, 1)
	go func() {
		a, err := http.DefaultTransport.RoundTrip(r.Clone(context.WithoutCancel(r.Context())))
		if err == nil {
			var b []byte
			b, err = io.ReadAll(a.Body)
			a.Body.Close()
			a.Body = io.NopCloser(bytes.NewReader(b))
		}
		done <- result{a, err}
	}()
	select {
	case d := <-done:
		if d.err != nil {
			return nil, d.err
		}
		return d.a, nil
	case <-r.Context().Done():
		return nil, r.Context().Err()
	}
}
