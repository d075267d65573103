package beacon

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
)

// errLie is wrapped by the error for an answer that is well made and not true.
var errLie = errors.New("not what was asked for")

// answer is what one relay said.
type answer struct {
	relay     int
	signature []byte // verified
	err       error
}

// ask asks one relay, and believes nothing but a signature that verifies.
func (r *Relays) ask(ctx context.Context, relay int, round uint64) answer {
	ctx, stop := context.WithTimeout(ctx, r.patience)
	defer stop()
	body, err := r.fetch(ctx, fmt.Sprintf("%s/%s/public/%d", r.urls[relay], r.chain.Hash, round))
	if err != nil {
		return answer{relay: relay, err: err}
	}
	signature, err := r.read(body, round)
	return answer{relay, signature, err}
}

// fetch gets a small text.
func (r *Relays) fetch(ctx context.Context, url string) ([]byte, error) {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return nil, err
	}
	request.Header.Set("Accept", "application/json")
	request.Header.Set("User-Agent", "drumhead")
	response, err := r.client.Do(request)
	if err != nil {
		return nil, err
	}
	defer response.Body.Close()
	switch response.StatusCode {
	case http.StatusOK:
	case http.StatusNotFound, http.StatusTooEarly:
		return nil, ErrEarly
	default:
		return nil, fmt.Errorf("answered with status %d", response.StatusCode)
	}
	body, err := io.ReadAll(io.LimitReader(response.Body, mostBody+1))
	if err == nil && len(body) > mostBody {
		err = fmt.Errorf("answered with more than %d bytes", mostBody)
	}
	return body, err
}

// read takes the signature of a round out of an answer in drand's JSON. Its
// randomness is not looked at: the signature alone makes it.
func (r *Relays) read(body []byte, round uint64) ([]byte, error) {
	var said struct {
		Round     uint64 `json:"round"`
		Signature string `json:"signature"`
	}
	if err := json.Unmarshal(body, &said); err != nil {
		return nil, fmt.Errorf("answered with no round: %w", err)
	}
	if said.Round != round {
		return nil, fmt.Errorf("%w: round %d given for round %d", errLie, said.Round, round)
	}
	if _, err := r.chain.Verify(round, said.Signature); err != nil {
		return nil, fmt.Errorf("%w: %w", errLie, err)
	}
	return hex.DecodeString(said.Signature)
}
