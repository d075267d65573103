package discord

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"time"

	"drumhead/commands/chat"
)

// nonceHolds is how long Discord surely knows a message by its nonce; the
// documentation says "the past few minutes".
const nonceHolds = time.Minute

// mostOwn is how many messages are read at a time; Discord gives no more.
const mostOwn = 100

// ownMessage is one of a channel's messages, as far as it says whose it is.
type ownMessage struct {
	ID      string `json:"id"`
	Content string `json:"content"`
	Author  struct {
		Bot bool   `json:"bot"`
		ID  string `json:"id"`
	} `json:"author"`
	App  string `json:"application_id"`
	Rows []struct {
		Components []struct {
			CustomID string `json:"custom_id"`
		} `json:"components"`
	} `json:"components"`
}

func (m *ownMessage) ref() string {
	if m == nil {
		return ""
	}
	return m.ID
}

func (m *ownMessage) time() time.Time {
	if m == nil {
		return time.Time{}
	}
	return created(m.ID)
}

// key is how the post of a message stands in its buttons, "" without any.
func (m *ownMessage) key() string {
	for _, r := range m.Rows {
		for _, c := range r.Components {
			if key, _, ok := readCustomID(c.CustomID); ok {
				return key
			}
		}
	}
	return ""
}

// messages reads our own messages of a channel, the newest first.
func (a *Adapter) messages(ctx context.Context, channel, query string) ([]ownMessage, error) {
	var all, own []ownMessage
	err := a.w.api.do(ctx, call{method: http.MethodGet, path: "channels/" + channel + "/messages?" + query}, &all)
	self := a.guilds.self()
	for _, m := range all {
		if m.Author.Bot && (self == "" || m.Author.ID == self) {
			own = append(own, m)
		}
	}
	return own, err
}

// triedBefore notes the first try of a post. Was it tried longer ago than its
// nonce holds, then our messages since are read: one of them may be it. Where
// they cannot be read it is said again, and says so.
func (a *Adapter) triedBefore(ctx context.Context, channel string, p chat.Post) (chat.Post, *ownMessage, error) {
	var at time.Time
	key := keyTry + postKey(p.ID)
	tried, err := a.book.get(key, &at)
	if err != nil {
		return p, nil, err
	}
	now := a.Now()
	if !tried {
		return p, nil, a.book.put(ctx, map[string][]byte{key: value(now.UTC())})
	}
	if now.Sub(at) < nonceHolds {
		return p, nil, nil
	}
	own, err := a.messages(ctx, channel, "limit="+strconv.Itoa(mostOwn)+"&after="+snowflake(at.Add(a.w.clock.behind()-nonceHolds)))
	var r *Refusal
	if errors.As(err, &r) && r.Status == http.StatusForbidden {
		return a.again(p), nil, nil
	}
	if err != nil {
		return p, nil, errors.Join(chat.ErrLater, err)
	}
	want := parcel{post: p}.message().Content
	for _, m := range own {
		other, err := a.isKnown(m.ID)
		if err != nil {
			return p, nil, err
		}
		if key := m.key(); !other && (key == postKey(p.ID) || key == "" && m.Content == want) {
			return p, &m, nil
		}
	}
	return p, nil, nil
}

// isKnown tells whether a message is known to be some post.
func (a *Adapter) isKnown(message string) (bool, error) {
	b, err := a.book.pocket.Get(keyMsg + message)
	return b != nil, err
}

// Own are our own latest posts in a place, the newest first.
func (a *Adapter) Own(ctx context.Context, place chat.Place, limit int) ([]chat.Seen, error) {
	channel, ok := snowflakeOf(string(place))
	if !ok {
		return nil, chat.ErrGone
	}
	query := "limit=" + strconv.Itoa(min(max(limit, 1), mostOwn))
	own, err := a.messages(ctx, channel, query)
	for _, thread := range a.threads(channel) {
		more, failed := a.messages(ctx, thread, query)
		if failed == nil { // one that is gone hides nothing that the channel does not tell
			own = append(own, more...)
		}
	}
	slices.SortFunc(own, func(a, b ownMessage) int { return newer(a.ID, b.ID) })
	var out []chat.Seen
	for _, m := range own {
		s := chat.Seen{Post: chat.PostID(m.key()), Ref: m.ID, Time: created(m.ID)}
		var t tells
		if known, err := a.book.get(keyMsg+m.ID, &t); err == nil && known {
			s.Post = t.Post
		}
		out = append(out, s)
	}
	return out[:min(len(out), max(limit, 1))], err
}

// newer orders ids, the newest first.
func newer(a, b string) int { return cmp.Or(cmp.Compare(len(b), len(a)), cmp.Compare(b, a)) }

// mostThreads is how many threads of a channel are read, the latest first.
const mostThreads = 3

// threads are the latest threads of ours that hang on a channel.
func (a *Adapter) threads(channel string) []string {
	var all []string
	err := a.book.pocket.Scan(keyThread+channel+"/", func(_ string, value []byte) error {
		if id := string(value); id != noThread {
			all = append(all, id)
		}
		return nil
	})
	if err != nil {
		a.Log.Error("the pocket cannot be read", "err", err)
	}
	slices.SortFunc(all, newer)
	return all[:min(len(all), mostThreads)]
}
