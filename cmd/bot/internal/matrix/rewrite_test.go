//go:build goolm

package matrix

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
)

// rewrite changes what an answer of the homeserver says.
func rewrite[T any](a *http.Response, change func(*T) error) (*http.Response, error) {
	defer a.Body.Close()
	var whole T
	if err := json.NewDecoder(a.Body).Decode(&whole); err != nil {
		return nil, err
	}
	if err := change(&whole); err != nil {
		return nil, err
	}
	b, err := json.Marshal(whole)
	if err != nil {
		return nil, err
	}
	a.Body, a.ContentLength = io.NopCloser(bytes.NewReader(b)), int64(len(b))
	a.Header.Del("Content-Length")
	return a, nil
}

// parts are the parts of a sync answer, those that a test does not look into as they came.
type parts = map[string]json.RawMessage

// rewritePart changes one part of a sync answer, which may be missing.
func rewritePart[T any](a *http.Response, name string, change func(*T)) (*http.Response, error) {
	return rewrite(a, func(whole *parts) (err error) {
		var part T
		if (*whole)[name] != nil {
			if err := json.Unmarshal((*whole)[name], &part); err != nil {
				return err
			}
		}
		change(&part)
		(*whole)[name], err = json.Marshal(part)
		return err
	})
}
