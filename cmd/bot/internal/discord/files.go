package discord

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"

	"drumhead/commands/chat"
)

const (
	mostHandedIn = 8 << 20 // bytes of one file
	fetchWithin  = 10 * time.Second
)

var (
	errTooLarge  = fmt.Errorf("discord: a file is larger than %d MB", mostHandedIn>>20)
	errElsewhere = errors.New("discord: a file lies on a host that is not Discord's")
)

// fetch reads a file that was handed in. Its address is the platform's word and
// still believed only if it is on the configured host: it might lead anywhere.
func (w *wires) fetch(ctx context.Context, f handedIn) (chat.File, error) {
	at, err := url.Parse(f.URL)
	switch {
	case err != nil || at.Scheme != w.files.Scheme || at.Host != w.files.Host || at.User != nil:
		return chat.File{}, errElsewhere
	case f.Size > mostHandedIn:
		return chat.File{}, errTooLarge
	}
	ctx, cancel := context.WithTimeout(ctx, fetchWithin)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, at.String(), nil)
	if err != nil {
		return chat.File{}, err
	}
	c := http.Client{Transport: w.plain, CheckRedirect: func(*http.Request, []*http.Request) error { return errElsewhere }}
	a, err := c.Do(r)
	if err != nil {
		return chat.File{}, clean(err)
	}
	defer a.Body.Close()
	if a.StatusCode != http.StatusOK {
		return chat.File{}, fmt.Errorf("discord: a file that was handed in cannot be fetched: %d", a.StatusCode)
	}
	b, err := io.ReadAll(io.LimitReader(a.Body, mostHandedIn+1))
	if err != nil {
		return chat.File{}, err
	}
	if len(b) > mostHandedIn {
		return chat.File{}, errTooLarge
	}
	return chat.File{Name: harmless(f.Name), Bytes: b}, nil
}
