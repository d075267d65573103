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

// tokenLasts is how long an interaction can be answered further; a little less
// than Discord says.
const tokenLasts = 15*time.Minute - 5*time.Second

// The types of a first answer.
const (
	answerPost    = 4
	answerLater   = 5
	answerQuietly = 6 // to a button: taken, and nothing to see
	answerChoices = 8
	answerForm    = 9
)

// errOver tells that an interaction cannot be answered any more, or not with
// this; what is for all goes as an ordinary message then.
var errOver = errors.New("discord: the interaction cannot be answered any more")

// reply answers one interaction: at once, or with a promise after deferAfter
// that the first post then keeps. Whether all or one see a promise is settled
// with it. Further posts for one person follow; those for all are ordinary
// messages, which can be repeated safely.
type reply struct {
	w       *wires
	app     string
	id      string
	token   string
	channel string // where it was given
	place   string // the channel that this belongs to
	tapped  bool   // a button: it can be answered with nothing to see
	private bool   // a promise is seen by one person
	since   time.Time
	timer   *time.Timer
	said    chan struct{} // closed when something was said

	mu     sync.Mutex
	state  answered
	spoke  bool  // said is closed
	secret *leaf // on which its secret is being kept; nil: it is
}

// lull is how long after the desk is done the answer may still come: what is stored
// is sent by others. What comes later goes as an ordinary message.
const lull = deferAfter / 2

type answered int

const (
	notYet answered = iota
	promised
	kept
)

// reply begins to answer an interaction that belongs to a place, and whose secret is
// being kept on a leaf; nil: it is. What waited for its turn is promised an answer at
// once.
func (w *wires) reply(ctx context.Context, i *interaction, place string, private bool, secret *leaf) *reply {
	r := &reply{w: w, app: i.App, id: i.ID, token: i.Token, channel: i.Channel, place: place, private: private, tapped: i.tapped(), since: created(i.ID), said: make(chan struct{}), secret: secret}
	r.timer = time.AfterFunc(max(0, w.patience-time.Since(i.heard)), func() { r.promise(ctx) })
	return r
}

// replyAgain goes on with one from before a crash: it may have been answered.
func (w *wires) replyAgain(id string, k asking) *reply {
	r := &reply{w: w, app: k.App, id: id, token: k.Token, channel: k.Channel, place: k.Place, tapped: k.Tapped, since: k.At, said: make(chan struct{})}
	r.timer = time.NewTimer(0)
	r.timer.Stop()
	return r
}

// durable waits until the secret is kept, before Discord is told anything: only with it
// an answer can be found again after a crash. The lock is held.
func (r *reply) durable(ctx context.Context) {
	if r.secret == nil {
		return
	}
	if err := r.secret.wait(ctx); err != nil && ctx.Err() == nil {
		r.w.Log.Error("an interaction could not be kept", "err", err)
	}
	r.secret = nil
}

// over tells whether the interaction's token is of no use any more.
func (r *reply) over(now time.Time) bool {
	return now.Add(r.w.clock.behind()).Sub(r.since) > tokenLasts
}

// fresh tells whether nothing was answered yet.
func (r *reply) fresh() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.state == notYet
}

// answered tells whether the first answer is given: what comes now is one more.
func (r *reply) answered() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.state == kept
}

// callback is the body of a first answer.
type callback struct {
	Type int `json:"type"`
	Data any `json:"data,omitempty"`
}

// flagged is the data of a promise.
type flagged struct {
	Flags int `json:"flags"`
}

// promise shows that the answer is on its way. A button only stops to wait.
func (r *reply) promise(ctx context.Context) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.state == notYet {
		r.acknowledge(ctx, r.private)
	}
}

// acknowledge takes the interaction without an answer. The lock is held.
func (r *reply) acknowledge(ctx context.Context, private bool) {
	r.durable(ctx)
	body, next := callback{Type: answerLater}, promised
	switch {
	case r.tapped:
		body.Type, next = answerQuietly, kept
	case private:
		body.Data = flagged{ephemeral}
	}
	if err := r.w.api.do(ctx, call{method: http.MethodPost, path: r.callback(), body: body, safe: true}, nil); err != nil && outcomeOf(err, call{}) != onOriginal {
		if ctx.Err() != nil {
			return
		}
		r.w.Log.Warn("an answer could not be promised", "interaction", r.id, "error", err)
		return // the post itself will find out what is left to do
	}
	r.state, r.private = next, private
}

func (r *reply) callback() string { return "interactions/" + r.id + "/" + r.token + "/callback" }
func (r *reply) hook() string     { return "webhooks/" + r.app + "/" + r.token }
func (r *reply) original() string { return r.hook() + "/messages/@original" }

// say answers with a post, for one person only or for all. errOver: too late, or
// the answer stands already.
func (r *reply) say(ctx context.Context, p chat.Post, files []made, only bool) (chat.Receipt, error) {
	r.timer.Stop()
	r.mu.Lock()
	defer r.mu.Unlock()
	out := parcel{post: p, files: files}
	for n := 0; ; n++ {
		if r.state == promised && only != r.private {
			r.takeBack(ctx) // seen by others than it should
		}
		if r.state == kept && !only {
			return chat.Receipt{}, errOver
		}
		got, err := r.try(ctx, out, only)
		o := outcomeOf(err, call{})
		switch {
		case err == nil:
			if r.state = kept; !r.spoke {
				r.spoke = true
				close(r.said)
			}
			return got, nil
		case o == onOriginal && r.tapped: // taken quietly, or answered before a crash
			r.state = kept
		case o == onOriginal: // an answer of ours that was taken and whose answer was lost
			r.state, r.private = promised, only
		case o == byMessage, o == anew:
			return chat.Receipt{}, fmt.Errorf("%w: %w", errOver, err)
		case o == smaller:
			out = out.smaller()
		case o == plainer:
			out = out.plainer(r.w.said("discord.plainer"))
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
func (r *reply) try(ctx context.Context, p parcel, only bool) (chat.Receipt, error) {
	r.durable(ctx)
	m := p.message()
	m.Flags &^= quietly // answers ring nobody
	if only {
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

// change replaces a message of this interaction that one person sees.
func (r *reply) change(ctx context.Context, message string, p chat.Post, files []made) (chat.Receipt, error) {
	out := parcel{post: p, files: files}
	var got receipt
	err := r.w.api.do(ctx, call{method: http.MethodPatch, path: r.hook() + "/messages/" + message, body: out.message(), files: out.upload()}, &got)
	switch o := outcomeOf(err, call{}); o {
	case byMessage, anew: // nobody can see it any more
		return chat.Receipt{Ref: message, Time: created(message)}, nil
	default:
		if err != nil {
			err = fmt.Errorf("%w: %w", o.fault(), err)
		}
		return got.receipt(), err
	}
}

// takeBack removes a promise. The lock is held.
func (r *reply) takeBack(ctx context.Context) {
	if err := r.w.api.do(ctx, call{method: http.MethodDelete, path: r.original()}, nil); err != nil {
		r.w.Log.Warn("a promise could not be taken back", "interaction", r.id, "error", err)
	}
	r.state = kept
}

// settle waits until something was said, or nothing comes for a while.
func (r *reply) settle(ctx context.Context) {
	t := time.NewTimer(lull)
	defer t.Stop()
	select {
	case <-r.said:
	case <-t.C:
	case <-ctx.Done():
	}
}

// end is called when nothing more is to be said. A promise that nothing came of
// is taken back; where nothing was said here at all, because it went elsewhere,
// Discord is told that all is well.
func (r *reply) end(ctx context.Context) {
	r.timer.Stop()
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.state == notYet {
		r.acknowledge(ctx, true)
	}
	if r.state == promised {
		r.takeBack(ctx)
	}
}

// drop leaves an interaction without an answer: the desk is broken, and nothing
// may be said.
func (r *reply) drop() { r.timer.Stop() }
