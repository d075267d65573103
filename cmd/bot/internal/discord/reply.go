package discord

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"drumhead/commands/chat"
)

// deferAfter is how long an answer may take before the person is shown that it
// is on its way: half of what Discord waits for.
const deferAfter = answerWithin / 2

// The types of a first answer.
const (
	answerPost  = 4
	answerLater = 5
)

// errOver tells that an interaction can be answered no more; what is for all
// goes as an ordinary message then.
var errOver = errors.New("discord: the interaction cannot be answered any more")

// reply answers one interaction: at once, or with a promise after deferAfter
// that the first post then keeps; further posts follow. Whether all or one see
// the answers is settled with the first, so it is known before anything is done.
type reply struct {
	w       *wires
	app     string
	id      string
	token   string
	private bool
	timer   *time.Timer

	mu    sync.Mutex
	state answered
}

type answered int

const (
	notYet answered = iota
	promised
	kept
)

// reply begins to answer an interaction.
func (w *wires) reply(ctx context.Context, i *interaction, private bool) *reply {
	r := &reply{w: w, app: i.App, id: i.ID, token: i.Token, private: private}
	r.timer = time.AfterFunc(w.patience, func() { r.promise(ctx) })
	return r
}

// callback is the body of a first answer.
type callback struct {
	Type int `json:"type"`
	Data any `json:"data,omitempty"`
}

// promise shows that the answer is on its way.
func (r *reply) promise(ctx context.Context) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.state != notYet {
		return
	}
	body := callback{Type: answerLater}
	if r.private {
		body.Data = struct {
			Flags int `json:"flags"`
		}{ephemeral}
	}
	if err := r.w.api.do(ctx, call{method: http.MethodPost, path: r.callback(), body: body, safe: true}, nil); err != nil && outcomeOf(err, call{}) != onOriginal {
		r.w.Log.Warn("an answer could not be promised", "interaction", r.id, "error", err)
		return // the post itself will find out what is left to do
	}
	r.state = promised
}

func (r *reply) callback() string { return "interactions/" + r.id + "/" + r.token + "/callback" }
func (r *reply) hook() string     { return "webhooks/" + r.app + "/" + r.token }
func (r *reply) original() string { return r.hook() + "/messages/@original" }

// say answers with a post. errOver: too late, or the answer was taken away.
func (r *reply) say(ctx context.Context, p chat.Post, files []made) (chat.Receipt, error) {
	r.timer.Stop()
	r.mu.Lock()
	defer r.mu.Unlock()
	out := parcel{post: p, files: files}
	for n := 0; ; n++ {
		got, err := r.try(ctx, out)
		o := outcomeOf(err, call{})
		switch {
		case err == nil:
			r.state = kept
			return got, nil
		case o == onOriginal: // an answer of ours that was taken and whose answer was lost
			r.state = promised
		case o == byMessage, o == anew:
			return chat.Receipt{}, fmt.Errorf("%w: %w", errOver, err)
		case o == smaller:
			out = out.smaller()
		case o == plainer:
			out = out.plainer()
		default:
			return chat.Receipt{}, fmt.Errorf("%w: %w", o.fault(), err)
		}
		if n == remedies {
			return chat.Receipt{}, fmt.Errorf("%w: %w", o.fault(), err)
		}
	}
}

// try sends the parcel the way that is open now: as the first answer, in the
// place of the promise, or as one more.
func (r *reply) try(ctx context.Context, p parcel) (chat.Receipt, error) {
	m := p.message()
	m.Flags &^= quietly // answers ring nobody
	if r.private {
		m.Flags |= ephemeral
	}
	var got receipt
	switch r.state {
	case notYet:
		var out struct {
			Resource struct {
				Message receipt `json:"message"`
			} `json:"resource"`
		}
		err := r.w.api.do(ctx, call{method: http.MethodPost, path: r.callback() + "?with_response=true", body: callback{answerPost, m}, files: p.upload(), safe: true}, &out)
		return out.Resource.Message.receipt(), err
	case promised:
		err := r.w.api.do(ctx, call{method: http.MethodPatch, path: r.original(), body: m, files: p.upload()}, &got)
		return got.receipt(), err
	}
	err := r.w.api.do(ctx, call{method: http.MethodPost, path: r.hook(), body: m, files: p.upload()}, &got)
	return got.receipt(), err
}

// end is called when nothing more is to be said. A promise that nothing came of
// is taken back.
func (r *reply) end(ctx context.Context) {
	r.timer.Stop()
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.state != promised {
		return
	}
	if err := r.w.api.do(ctx, call{method: http.MethodDelete, path: r.original()}, nil); err != nil {
		r.w.Log.Warn("a promise could not be taken back", "interaction", r.id, "error", err)
	}
}
