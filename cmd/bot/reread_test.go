package main

import (
	"context"
	"errors"
	"testing"

	"drumhead/commands/chat"
)

// rereads is an adapter that can show our own posts.
type rereads struct{ chat.Adapter }

func (rereads) Own(_ context.Context, p chat.Place, limit int) ([]chat.Seen, error) {
	return []chat.Seen{{Ref: string(p)}}, nil
}

// TestRereader: the adapter that a place belongs to is asked, and no other; one that
// cannot is told apart from one that shows nothing.
func TestRereader(t *testing.T) {
	h := &house{adapters: map[string]chat.Adapter{"can": rereads{}, "cannot": struct{ chat.Adapter }{}}}
	seen, err := rereader{h}.Own(t.Context(), "can:#fen", 5)
	if err != nil || len(seen) != 1 || seen[0].Ref != "can:#fen" {
		t.Errorf("%v, %v", seen, err)
	}
	for _, p := range []chat.Place{"cannot:#fen", "nobody:#fen", ""} {
		if _, err := (rereader{h}).Own(t.Context(), p, 5); !errors.Is(err, errors.ErrUnsupported) {
			t.Errorf("%q: %v", p, err)
		}
	}
}
