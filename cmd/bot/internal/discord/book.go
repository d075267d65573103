package discord

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"sync"
	"time"

	"drumhead/commands/chat"
)

// What is kept in the pocket, by how its keys begin.
const (
	keyPost   = "post/"   // post → sent
	keyMsg    = "msg/"    // message → tells
	keyAsk    = "ask/"    // interaction → asking, for the 15 minutes of its token
	keyTry    = "try/"    // post → when it was first tried; until it is there
	keyMute   = "mute/"   // channel → mute
	keyDirect = "direct/" // person → the channel with them
	keyAlone  = "alone/"  // such a channel → the person
	keyHome   = "home/"   // person → the server where they last spoke to the bot
	keyTold   = "told/"   // server or "" → digest of the commands it was told
)

// sent is where a post stands.
type sent struct {
	Channel string               `json:"channel"`
	Message string               `json:"message"`
	Only    string               `json:"only,omitempty"` // person who alone sees it there
	Ask     string               `json:"ask,omitempty"`  // interaction that it answers, if one person sees it
	Time    time.Time            `json:"time"`
	Pinned  bool                 `json:"pinned,omitempty"`
	Waits   bool                 `json:"waits,omitempty"` // it was not delivered yet, see waiting.go
	Post    chat.PostID          `json:"post,omitempty"`  // its id, if the key is a hash of it
	Forms   map[int]formOfChoice `json:"forms,omitempty"` // choices that ask for a text
}

// formOfChoice is the form that a choice opens.
type formOfChoice struct {
	Title string `json:"title"`
	Asks  string `json:"asks"`
}

// tells is what a message of ours tells of.
type tells struct {
	Post  chat.PostID `json:"post"`
	Entry int64       `json:"entry"`
}

// asking is an interaction that may still be answered.
type asking struct {
	App     string    `json:"app"`
	Token   string    `json:"token"` // a secret for as long as it lasts
	Tapped  bool      `json:"tapped,omitempty"`
	Channel string    `json:"channel,omitempty"` // where it was given
	Place   string    `json:"place,omitempty"`   // the channel that this belongs to
	At      time.Time `json:"at"`
}

// mute is a channel in which the bot may not speak.
type mute struct {
	Since time.Time `json:"since"`
	Told  bool      `json:"told,omitempty"`
}

// book keeps the adapter's own knowledge in its pocket. Changes that come
// together are made together: one commit serves all who wait for one.
type book struct {
	pocket chat.Pocket

	mu   sync.Mutex
	next *leaf // collects changes; nil: nobody waits
	busy bool
}

// leaf is what one commit writes.
type leaf struct {
	changes map[string][]byte
	done    chan struct{}
	err     error
}

// put makes changes, and returns when they are durable.
func (b *book) put(ctx context.Context, changes map[string][]byte) error {
	return b.begin(changes).wait(ctx)
}

// begin makes changes; they are durable when the leaf's wait says so.
func (b *book) begin(changes map[string][]byte) *leaf {
	b.mu.Lock()
	if b.next == nil {
		b.next = &leaf{changes: map[string][]byte{}, done: make(chan struct{})}
	}
	mine := b.next
	maps.Copy(mine.changes, changes)
	if !b.busy {
		b.busy = true
		go b.write()
	}
	b.mu.Unlock()
	return mine
}

// wait returns when the leaf is durable.
func (l *leaf) wait(ctx context.Context) error {
	select {
	case <-l.done:
		return l.err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// write commits page after page until nobody waits.
func (b *book) write() {
	for {
		b.mu.Lock()
		now := b.next
		b.next = nil
		b.busy = now != nil
		b.mu.Unlock()
		if now == nil {
			return
		}
		now.err = b.pocket.Commit(context.Background(), now.changes)
		close(now.done)
	}
}

// get reads what is kept under a key; false if nothing is.
func (b *book) get(key string, out any) (bool, error) {
	raw, err := b.pocket.Get(key)
	if err != nil || raw == nil {
		return false, err
	}
	if err := json.Unmarshal(raw, out); err != nil {
		return false, fmt.Errorf("discord: pocket: %s is damaged: %w", key, err)
	}
	return true, nil
}

// value is how something is kept.
func value(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err) // only structs of ours come here
	}
	return b
}
