package discord

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"drumhead/commands/chat"
)

// mostWrong is how often a body that is wrong is tried.
const mostWrong = 3

// Send brings a post where it belongs, once. A post that is there already gives
// the receipt that it gave before.
func (a *Adapter) Send(ctx context.Context, p chat.Post) (chat.Receipt, error) {
	if err := ctx.Err(); err != nil {
		return chat.Receipt{}, err
	}
	var s sent
	if there, err := a.book.get(keyPost+postKey(p.ID), &s); err != nil || there {
		return chat.Receipt{Ref: s.Message, Time: s.Time}, err
	}
	s, err := a.bring(ctx, p)
	if err != nil && outcomeOf(err, call{}) == inPlace {
		s, err = a.keepFor(ctx, p, err)
	}
	if err == nil && p.Pin && s.Only == "" {
		s.Pinned, err = a.pin(ctx, p, s)
	}
	if err == nil {
		err = a.publish(ctx, p)
	}
	if err != nil {
		switch outcomeOf(err, call{}) {
		case wrongBody:
			err = a.countWrong(p, err)
		case stop:
			err = fmt.Errorf("%w: %w", chat.ErrLater, ErrToken)
			a.fail(ErrToken)
		}
	}
	if err != nil {
		return chat.Receipt{}, err
	}
	if err := a.book.put(ctx, a.noted(p, s)); err != nil {
		return chat.Receipt{}, err
	}
	return chat.Receipt{Ref: s.Message, Time: s.Time}, nil
}

// countWrong gives a post up whose body was refused too often.
func (a *Adapter) countWrong(p chat.Post, err error) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.wrong[p.ID]++; a.wrong[p.ID] < mostWrong {
		return err
	}
	delete(a.wrong, p.ID)
	a.Log.Error("a post is given up: Discord refuses its body as wrong; this is a fault of the bot, please report it", "post", p.ID, "error", err)
	return fmt.Errorf("%w: %w", chat.ErrGone, err)
}

// noted is what is kept of a post that is there.
func (a *Adapter) noted(p chat.Post, s sent) map[string][]byte {
	s.Post, s.Forms = p.ID, forms(p)
	out := map[string][]byte{keyPost + postKey(p.ID): value(s), keyTry + postKey(p.ID): nil}
	if s.Message != "" && s.Only == "" {
		out[keyMsg+s.Message] = value(tells{p.ID, p.Entry})
	}
	if p.Edit != "" {
		s.Post = p.Edit
		out[keyPost+postKey(p.Edit)] = value(s)
	}
	return out
}

// forms are those choices of a post that ask for a text.
func forms(p chat.Post) map[int]formOfChoice {
	var out map[int]formOfChoice
	for _, c := range p.Choices {
		if c.Form == "" {
			continue
		}
		if out == nil {
			out = map[int]formOfChoice{}
		}
		out[c.Number] = formOfChoice{harmless(c.Label), harmless(c.Form)}
	}
	return out
}

// bring finds the way on which a post goes, and takes it.
func (a *Adapter) bring(ctx context.Context, p chat.Post) (sent, error) {
	files := a.made(ctx, &p)
	channel, private, err := a.channelOf(ctx, p.To)
	if err != nil {
		return sent{}, err
	}
	switch {
	case p.Edit != "":
		return a.change(ctx, channel, p, files)
	case p.To.Only != "" && !private:
		return a.whisper(ctx, channel, p, files)
	}
	if r := a.answering(p, channel); r != nil {
		got, err := r.say(ctx, p, files, false)
		if !errors.Is(err, errOver) {
			return a.answered(ctx, channel, p, sent{Channel: cmp.Or(r.channel, channel), Message: got.Ref, Time: got.Time}, err)
		}
	}
	s, err := a.inThread(ctx, channel, p, files)
	if err != nil && private && outcomeOf(err, call{}) == inPlace {
		return a.instead(ctx, p, files, err)
	}
	return s, err
}

// answered is a post that stands as an answer; the first of a conversation begins
// its thread.
func (a *Adapter) answered(ctx context.Context, channel string, p chat.Post, s sent, err error) (sent, error) {
	if err != nil || p.To.Thread == "" || s.Channel != channel {
		return s, err
	}
	if to, err := a.thread(channel, p.To.Thread); err != nil || to != "" {
		return s, err
	}
	return s, a.begin(ctx, channel, s, p.To.Thread)
}

// pin keeps a post in sight in the place of the message that it replaces. It is a
// comfort: where the bot may not pin, the post stands there without.
func (a *Adapter) pin(ctx context.Context, p chat.Post, s sent) (bool, error) {
	var old sent
	if p.Edit != "" {
		if _, err := a.book.get(keyPost+postKey(p.Edit), &old); err != nil {
			return false, err
		}
	}
	if old.Message == s.Message {
		return old.Pinned, nil
	}
	err := a.w.api.do(ctx, call{method: http.MethodPut, path: pinOf(s)}, nil)
	if err == nil && old.Pinned {
		err = a.w.api.do(ctx, call{method: http.MethodDelete, path: pinOf(old)}, nil)
	}
	if err != nil {
		a.Log.Info("a post could not be pinned, or an old one not taken down", "channel", s.Channel, "outcome", string(outcomeOf(err, call{})), "error", err)
		return false, ctx.Err()
	}
	return true, nil
}

func pinOf(s sent) string { return "channels/" + s.Channel + "/messages/pins/" + s.Message }

// instead shows what should have been a direct message to somebody who takes none
// where they asked for it, if that is still open.
func (a *Adapter) instead(ctx context.Context, p chat.Post, files []made, why error) (sent, error) {
	person, ok := userID(p.To.Only)
	r := a.reply(p.Answers)
	if !ok || r == nil || r.over(a.Now()) {
		return sent{}, why
	}
	got, err := r.say(ctx, p, files, true)
	if errors.Is(err, errOver) {
		return sent{}, why
	}
	return sent{Channel: r.channel, Message: got.Ref, Only: person, Ask: r.id, Time: got.Time}, err
}

// channelOf is the channel that a destination means, and whether it is the one
// between the bot and a person.
func (a *Adapter) channelOf(ctx context.Context, to chat.Destination) (channel string, private bool, err error) {
	person, isPerson := userID(to.Only)
	if to.Place == "" {
		if !isPerson {
			return "", false, fmt.Errorf("%w: %q is nobody on Discord", chat.ErrGone, to.Only)
		}
		channel, err = a.direct(ctx, person)
		return channel, true, err
	}
	channel, ok := snowflakeOf(string(to.Place))
	if !ok {
		return "", false, fmt.Errorf("%w: %q is no place on Discord", chat.ErrGone, to.Place)
	}
	alone, err := a.book.pocket.Get(keyAlone + channel)
	return channel, alone != nil, err
}

// direct is the channel between the bot and a person; it is asked for once.
func (a *Adapter) direct(ctx context.Context, person string) (string, error) {
	if b, err := a.book.pocket.Get(keyDirect + person); err != nil || b != nil {
		return string(b), err
	}
	channel, err := a.w.direct(ctx, person)
	if err != nil {
		return "", err
	}
	return channel, a.book.put(ctx, map[string][]byte{keyDirect + person: []byte(channel), keyAlone + channel: []byte(person)})
}

// answering is the interaction that a post answers in this channel, if that is
// still open. What notifies somebody and was promised already goes as a message
// of its own: an edit rings nobody.
func (a *Adapter) answering(p chat.Post, channel string) *reply {
	if p.Binds || p.Answers == "" {
		return nil
	}
	r := a.reply(p.Answers)
	if r == nil || r.over(a.Now()) || r.place != "" && r.place != channel || len(p.Notify) > 0 && !r.fresh() {
		return nil
	}
	return r
}

// reply is the interaction behind a source: one that is open, or one from before
// a crash.
func (a *Adapter) reply(s chat.Source) *reply {
	id, ok := strings.CutPrefix(string(s), Name+":")
	if !ok {
		return nil
	}
	a.mu.Lock()
	r := a.replies[id]
	a.mu.Unlock()
	if r != nil {
		return r
	}
	var k asking
	if there, err := a.book.get(keyAsk+id, &k); err != nil || !there {
		return nil
	}
	return a.w.replyAgain(id, k)
}

// whisper shows a post to one person in a place: as the answer to what they did
// there last, or else as a direct message.
func (a *Adapter) whisper(ctx context.Context, channel string, p chat.Post, files []made) (sent, error) {
	person, ok := userID(p.To.Only)
	if !ok {
		return sent{}, fmt.Errorf("%w: %q is nobody on Discord", chat.ErrGone, p.To.Only)
	}
	r := a.answering(p, channel)
	if r == nil {
		a.mu.Lock()
		r = a.latest[seat{channel, person}]
		a.mu.Unlock()
	}
	if r != nil && !r.over(a.Now()) {
		p, err := a.further(ctx, r, p)
		if err != nil {
			return sent{}, err
		}
		got, err := r.say(ctx, p, files, true)
		if !errors.Is(err, errOver) {
			return sent{Channel: cmp.Or(r.channel, channel), Message: got.Ref, Only: person, Ask: r.id, Time: got.Time}, err
		}
	}
	alone, err := a.direct(ctx, person)
	if err != nil {
		return sent{}, err
	}
	return a.post(ctx, alone, p, files)
}

// further notes that a post is tried as one more answer for one person, for which
// Discord has no nonce and which nobody can read again. One that was tried before
// may stand there: it says that it is a repeat.
func (a *Adapter) further(ctx context.Context, r *reply, p chat.Post) (chat.Post, error) {
	if !r.answered() {
		return p, nil // the first answer is taken once
	}
	var at time.Time
	key := keyTry + postKey(p.ID)
	tried, err := a.book.get(key, &at)
	switch {
	case err != nil:
		return p, err
	case tried:
		return a.again(p), nil
	}
	return p, a.book.put(ctx, map[string][]byte{key: value(a.Now().UTC())})
}

// again is a post that says that it may be a repeat.
func (a *Adapter) again(p chat.Post) chat.Post {
	p.Lines = append(chat.Fold([]chat.Line{{{Kind: chat.Plain, Text: a.Say("discord.again")}}}), p.Lines...)
	return p
}

// post sends an ordinary message. If it was tried before, and so long ago that
// Discord no longer knows it by its nonce, it is looked for first.
func (a *Adapter) post(ctx context.Context, channel string, p chat.Post, files []made) (sent, error) {
	if err := a.muted(channel); err != nil {
		return sent{}, err
	}
	p, found, err := a.triedBefore(ctx, channel, p)
	if err != nil || found != nil {
		return sent{Channel: channel, Message: found.ref(), Time: found.time()}, err
	}
	got, err := a.w.send(ctx, channel, p, files)
	if errors.Is(err, chat.ErrMuted) && outcomeOf(err, call{}) == muted {
		err = errors.Join(err, a.fallSilent(ctx, channel))
	}
	return sent{Channel: channel, Message: got.Ref, Time: got.Time}, err
}

// change replaces an earlier post. One that only one person saw is changed while
// its interaction lasts, and stays as it is afterwards: also when it is forgotten where
// it stands, for said anew it would be said to all.
func (a *Adapter) change(ctx context.Context, channel string, p chat.Post, files []made) (sent, error) {
	var s sent
	there, err := a.book.get(keyPost+postKey(p.Edit), &s)
	if err != nil {
		return sent{}, err
	}
	if person, ok := userID(p.To.Only); ok && !there && p.To.Place != "" {
		return sent{Message: digest(string(p.Edit)), Only: person, Time: a.Now().UTC()}, nil
	}
	if s.Waits {
		return a.keepFor(ctx, p, chat.ErrMuted)
	}
	if s.Only != "" {
		r := a.reply(chat.Source(Name + ":" + s.Ask))
		if r == nil || r.over(a.Now()) {
			return s, nil
		}
		got, err := r.change(ctx, s.Message, p, files)
		return sent{Channel: s.Channel, Message: got.Ref, Only: s.Only, Ask: s.Ask, Time: got.Time}, err
	}
	if s.Channel != "" {
		channel = s.Channel
	}
	if err := a.muted(channel); err != nil {
		return sent{}, err
	}
	got, err := a.w.edit(ctx, channel, s.Message, p, files)
	if errors.Is(err, chat.ErrMuted) {
		err = errors.Join(err, a.fallSilent(ctx, channel))
	}
	return sent{Channel: channel, Message: got.Ref, Time: got.Time}, err
}

// made makes the pictures and files of a post. A picture that cannot be made is
// told in its words.
func (a *Adapter) made(ctx context.Context, p *chat.Post) []made {
	var out []made
	for i, r := range append(append([]chat.Recipe{}, p.Pictures...), p.Files...) {
		m := made{name: chat.FileName(r.Name)}
		if i < len(p.Pictures) {
			m.alt = r.Alt
		}
		var err error = errors.New("discord: nothing makes files here")
		if a.Make != nil {
			m.bytes, err = a.Make.Make(ctx, r)
		}
		if err != nil {
			a.Log.Error("a file could not be made", "kind", r.Kind, "name", r.Name, "err", err)
			if m.alt != "" {
				p.Lines = append(p.Lines[:len(p.Lines):len(p.Lines)], chat.Line{{Kind: chat.Said, Text: m.alt}})
			}
			continue
		}
		out = append(out, m)
	}
	return out
}

// muted tells whether the bot was refused in a channel and has not seen since
// that it may speak.
func (a *Adapter) muted(channel string) error {
	b, err := a.book.pocket.Get(keyMute + channel)
	if err == nil && b != nil {
		err = fmt.Errorf("%w: refused before", chat.ErrMuted)
	}
	return err
}

// fallSilent notes that the bot may not speak in a channel.
func (a *Adapter) fallSilent(ctx context.Context, channel string) error {
	return a.book.put(ctx, map[string][]byte{keyMute + channel: value(mute{Since: a.Now().UTC().Truncate(time.Second)})})
}
