package commands

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// shelfPosts keeps posts without an entry whose choices may still be picked.
const shelfPosts = "posts"

// KeepChoices is how long a choice on such a post can be picked.
const KeepChoices = 30 * 24 * time.Hour

// shelfLapses lists the posts of that shelf by the time until which they are kept,
// so that a chat that asks without end does not fill the disk.
const shelfLapses = "posts until"

// mostLapsed is how many posts that nobody can pick from any more are taken off
// at a time. A message adds fewer.
const mostLapsed = 20

// kept is a post on its shelf.
type kept struct {
	Until time.Time `json:"until"`
	Post  chat.Post `json:"post"`
}

// freeID is the id of the n-th post that answers a message without an entry.
// The same message gives the same ids.
func freeID(s chat.Source, n int) string {
	sum := sha256.Sum256([]byte(s))
	return fmt.Sprintf("free/%s/%d", hex.EncodeToString(sum[:10]), n)
}

// StoredID spells the id of a stored post.
func StoredID(id storage.PostID) chat.PostID {
	return chat.PostID(fmt.Sprintf("%s/%d/%d", id.Ledger, id.Seq, id.N))
}

// ParseStoredID reads the spelling of StoredID.
func ParseStoredID(s chat.PostID) (storage.PostID, bool) {
	ledger, rest, _ := strings.Cut(string(s), "/")
	seq, n, _ := strings.Cut(rest, "/")
	l, err := storage.ParseLedgerID(ledger)
	if err != nil {
		return storage.PostID{}, false
	}
	q, err := strconv.ParseUint(seq, 10, 64)
	if err != nil {
		return storage.PostID{}, false
	}
	k, err := strconv.Atoi(n)
	return storage.PostID{Ledger: l, Seq: q, N: k}, err == nil
}

// number gives posts without an entry their ids, and keeps those with choices
// before they are answered, so that a choice never comes to nothing.
func (d *Desk) number(ctx context.Context, m chat.Message, posts []chat.Post) ([]chat.Post, error) {
	var keep []storage.KeyValue
	for i := range posts {
		posts[i].ID = chat.PostID(freeID(m.Source, i))
		posts[i].Lines = chat.Fold(posts[i].Lines)
		if len(posts[i].Choices) == 0 {
			continue
		}
		b, err := json.Marshal(kept{Until: d.clock().Add(KeepChoices), Post: posts[i]})
		if err != nil {
			return nil, err
		}
		keep = append(keep, storage.KeyValue{Key: string(posts[i].ID), Value: b})
	}
	if len(keep) == 0 {
		return posts, nil
	}
	if err := d.store.Shelf(shelfPosts).Put(ctx, keep...); err != nil {
		return nil, err
	}
	return posts, d.lapse(ctx, keep)
}

// lapse notes until when new posts are kept, and takes off the oldest that are
// kept no longer.
func (d *Desk) lapse(ctx context.Context, added []storage.KeyValue) error {
	var notes, posts []storage.KeyValue
	for _, kv := range added {
		notes = append(notes, storage.KeyValue{Key: storage.FormatTime(d.clock().Add(KeepChoices)) + " " + kv.Key, Value: []byte{1}})
	}
	now := storage.FormatTime(d.clock())
	for kv, err := range d.store.Shelf(shelfLapses).Each(ctx, "") {
		until, id, _ := strings.Cut(kv.Key, " ")
		if err != nil || until >= now || len(posts) == mostLapsed {
			break
		}
		notes, posts = append(notes, storage.KeyValue{Key: kv.Key}), append(posts, storage.KeyValue{Key: id})
	}
	if len(posts) > 0 {
		if err := d.store.Shelf(shelfPosts).Put(ctx, posts...); err != nil {
			return err
		}
	}
	return d.store.Shelf(shelfLapses).Put(ctx, notes...)
}

// posted finds an earlier post of ours, stored or kept.
func (d *Desk) posted(ctx context.Context, id chat.PostID) (chat.Post, error) {
	if sid, ok := ParseStoredID(id); ok {
		p, _, err := d.store.Post(ctx, sid)
		if err != nil {
			return chat.Post{}, err
		}
		return decodePost(p)
	}
	b, err := d.store.Shelf(shelfPosts).Get(ctx, string(id))
	if err != nil {
		return chat.Post{}, err
	}
	var k kept
	if err := json.Unmarshal(b, &k); err != nil {
		return chat.Post{}, err
	}
	if d.clock().After(k.Until) {
		return chat.Post{}, storage.ErrNone
	}
	return k.Post, nil
}

func decodePost(p storage.Post) (chat.Post, error) {
	if len(p.Bytes) == 0 {
		return chat.Post{}, storage.ErrNone
	}
	var out chat.Post
	if err := json.Unmarshal(p.Bytes, &out); err != nil {
		return chat.Post{}, err
	}
	out.ID = StoredID(p.ID)
	return out, nil
}

// tapped gives the text of the message: what was typed, or the command of the
// choice that was picked. A choice that acts once has one source, whoever picks
// it and how often.
func (a *ask) tapped() (string, error) {
	t := a.msg.Tap
	if t == nil {
		return a.msg.Text, nil
	}
	p, err := a.desk.posted(a.ctx, t.Post)
	if errors.Is(err, storage.ErrNone) {
		return "", refuse("/due", "desk.refuse.oldchoice")
	}
	if err != nil {
		return "", err
	}
	for _, c := range p.Choices {
		if c.Number != t.Number {
			continue
		}
		if len(c.Who) > 0 && !has(c.Who, a.msg.Person) {
			return "", refuse("", "desk.refuse.notyours", "label", c.Label, "names", a.names(c.Who))
		}
		if c.Once {
			platform, _, _ := strings.Cut(string(a.msg.Source), ":")
			a.msg.Source = chat.Source(fmt.Sprintf("%s:choice/%s/%d", platform, t.Post, t.Number))
		}
		to := c.Place
		if to == "" {
			to = p.To.Place
		}
		if to != "" {
			if err := a.moveTo(to); err != nil {
				return "", err
			}
		}
		a.picked = &picked{choice: c, size: a.knew(p, c)}
		return strings.TrimRight(c.Command+" "+t.Text, " "), nil
	}
	return "", refuse("/due", "desk.refuse.oldchoice")
}

// moveTo lets a choice act where its post stands, wherever it was picked.
func (a *ask) moveTo(p chat.Place) error {
	if p == a.msg.Place {
		return nil
	}
	v, err := a.there(p)
	if err != nil {
		return err
	}
	a.msg.Place, a.here = p, v
	return nil
}

func has(list []chat.Person, p chat.Person) bool {
	for _, q := range list {
		if q == p {
			return true
		}
	}
	return false
}

// names shows persons, one after the other.
func (a *ask) names(list []chat.Person) chat.Line {
	var out chat.Line
	for i, p := range list {
		if i > 0 {
			out = append(out, chat.Span{Kind: chat.Plain, Text: ", "})
		}
		out = append(out, a.desk.who(p))
	}
	return out
}
