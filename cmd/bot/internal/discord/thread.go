package discord

import (
	"context"
	"errors"
	"net/http"

	"drumhead/commands/chat"
)

// Bounds of a thread (documentation, "Start Thread from Message").
const (
	mostThreadName = 100
	threadSleeps   = 10080 // minutes without a word until it goes to the archive; the longest there is
)

// noThread stands for a conversation that has no thread of its own: the channel
// has it, because threads cannot be made there, or it was locked or deleted.
const noThread = "-"

// keyThread keeps the thread of a conversation: channel, slash, digest of its title
// → thread. keyUnder keeps where a thread belongs: thread → channel.
const (
	keyThread = "thread/"
	keyUnder  = "under/"
)

func threadKey(channel, title string) string { return keyThread + channel + "/" + digest(title) }

// belongs is the channel to which what is said in a channel belongs: to a thread of
// ours the channel that it hangs on, else itself.
func (a *Adapter) belongs(channel string) string {
	b, err := a.book.pocket.Get(keyUnder + channel)
	if err != nil {
		a.Log.Error("the pocket cannot be read", "err", err)
	}
	if b == nil {
		return channel
	}
	return string(b)
}

// thread is where the posts of a conversation go: its thread, the channel itself if
// it has none, and "" if it has not begun.
func (a *Adapter) thread(channel, title string) (string, error) {
	if title == "" {
		return channel, nil
	}
	b, err := a.book.pocket.Get(threadKey(channel, title))
	if string(b) == noThread {
		return channel, err
	}
	return string(b), err
}

// inThread sends a post into its conversation. The first post stands in the
// channel, and the thread begins under it. Where that is locked or deleted the
// channel has the rest.
func (a *Adapter) inThread(ctx context.Context, channel string, p chat.Post, files []made) (sent, error) {
	to, err := a.thread(channel, p.To.Thread)
	if err != nil {
		return sent{}, err
	}
	if to != "" {
		s, err := a.post(ctx, to, p, files)
		if to == channel || !errors.Is(err, chat.ErrGone) && outcomeOf(err, call{}) != inParent || err == nil {
			return s, err
		}
		a.Log.Warn("a thread is locked or gone; its channel has the rest", "thread", to, "error", err)
		if err := a.book.put(ctx, map[string][]byte{threadKey(channel, p.To.Thread): []byte(noThread)}); err != nil {
			return sent{}, err
		}
	}
	s, err := a.post(ctx, channel, p, files)
	if err == nil && to == "" {
		err = a.begin(ctx, channel, s, p.To.Thread)
	}
	return s, err
}

// begin starts the thread of a conversation under its first post. Where none can be
// started the channel has it all.
func (a *Adapter) begin(ctx context.Context, channel string, s sent, title string) error {
	var started receipt
	err := a.w.api.do(ctx, call{method: http.MethodPost, path: "channels/" + channel + "/messages/" + s.Message + "/threads", safe: true, body: struct {
		Name   string `json:"name"`
		Sleeps int    `json:"auto_archive_duration"`
	}{cutTo(harmless(title), mostThreadName), threadSleeps}}, &started)
	switch o := outcomeOf(err, call{}); {
	case err == nil:
	case o == taken: // before a crash: a thread has the id of the message that it hangs on
		started.ID = s.Message
	case o == later, o == stop:
		return nil // the next post of the conversation begins it
	default:
		a.Log.Info("no thread can be started; the channel has the game", "channel", channel, "outcome", string(o), "error", err)
		return a.book.put(ctx, map[string][]byte{threadKey(channel, title): []byte(noThread)})
	}
	return a.book.put(ctx, map[string][]byte{threadKey(channel, title): []byte(started.ID), keyUnder + started.ID: []byte(channel)})
}
