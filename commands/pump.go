package commands

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// pumpAtOnce is how many waiting posts are taken from the store at a time.
const pumpAtOnce = 64

// Pump sends what was stored: every post once, in order in its place, through
// the adapter whose name the place begins with. A crash loses and repeats
// nothing: the post's id is the platform's idempotency token.
type Pump struct {
	desk     *Desk
	adapters map[string]chat.Adapter
	lanes    lanes
}

// NewPump makes a pump. Adapters are named by what their places begin with, up
// to the colon.
func NewPump(d *Desk, adapters map[string]chat.Adapter) *Pump {
	return &Pump{desk: d, adapters: adapters}
}

// Drain sends until nothing that can be sent now is waiting. A place that is
// gone or muted has its posts ended, so that they stop no others; one that can
// take nothing now is left for the next call.
func (p *Pump) Drain(ctx context.Context) error {
	later := map[string]bool{}
	for {
		posts, err := p.desk.store.Outbox(ctx, pumpAtOnce)
		if err != nil {
			return err
		}
		sent := 0
		for _, sp := range posts {
			if later[sp.Place] {
				continue
			}
			err := p.send(ctx, sp)
			switch {
			case errors.Is(err, chat.ErrLater):
				later[sp.Place] = true
			case err != nil:
				return err
			default:
				sent++
			}
		}
		if sent == 0 {
			return p.notify(ctx)
		}
	}
}

// send sends one post and marks it.
func (p *Pump) send(ctx context.Context, sp storage.Post) error {
	var post chat.Post
	if err := json.Unmarshal(sp.Bytes, &post); err != nil {
		return fmt.Errorf("post %s: %w", StoredID(sp.ID), err)
	}
	post.ID = StoredID(sp.ID)
	name, _, _ := strings.Cut(sp.Place, ":")
	adapter, ok := p.adapters[name]
	if !ok {
		return chat.ErrLater // its platform is not connected now
	}
	receipt, err := adapter.Send(ctx, post)
	ctx = context.WithoutCancel(ctx) // what was sent is marked, also when the program is being stopped
	if errors.Is(err, chat.ErrGone) || errors.Is(err, chat.ErrMuted) {
		p.desk.log.Warn("a post could not be shown", "post", post.ID, "place", sp.Place, "err", err)
		if err := p.desk.witness(ctx, sp.ID, post, p.desk.clock(), true); err != nil {
			return err
		}
		return p.desk.store.MarkSent(ctx, sp.ID, "-")
	}
	if err != nil {
		return err
	}
	at := receipt.Time
	if at.IsZero() {
		at = p.desk.clock() // a platform that gives no time of its own
	}
	if err := p.desk.witness(ctx, sp.ID, post, at, false); err != nil {
		return err
	}
	return p.desk.store.MarkSent(ctx, sp.ID, receipt.Ref)
}
