package discord

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"drumhead/commands/chat"
)

// Who takes no direct messages from the bot still gets what was to be one. It waits in
// the pocket; with the next thing that they do in a server they alone are told, and
// with a tap they alone are shown it. It is not shown unasked: somebody may look over
// their shoulder.
const (
	keyWait = "wait/" // person/since/post → a post that waits for them
	keyHint = "hint/" // person → when they were last told that something waits

	mostWaiting = 20                  // of one person; the oldest makes room
	showAtOnce  = 5                   // with one tap
	keepWaiting = 30 * 24 * time.Hour // then nobody wants it any more
	hintEvery   = 24 * time.Hour      // unless something more waits
)

// waiting is a post that could not be delivered.
type waiting struct {
	key  string
	post chat.Post
}

// waitingFor lists what waits for a person, the oldest first.
func (a *Adapter) waitingFor(person string) (all []waiting, err error) {
	err = a.book.pocket.Scan(keyWait+person+"/", func(key string, value []byte) error {
		w := waiting{key: key}
		if err := json.Unmarshal(value, &w.post); err != nil {
			return fmt.Errorf("discord: pocket: %s is damaged: %w", key, err)
		}
		all = append(all, w)
		return nil
	})
	return all, err
}

// alone is the person for whom alone a post is, "" if it is for more.
func (a *Adapter) alone(p chat.Post) string {
	if person, ok := userID(p.To.Only); ok {
		return person
	}
	channel, _ := snowflakeOf(string(p.To.Place))
	person, err := a.book.pocket.Get(keyAlone + channel)
	if err != nil {
		return ""
	}
	return string(person)
}

// keepFor keeps a post for somebody who takes no direct messages. What only says that
// something went wrong is not worth it.
func (a *Adapter) keepFor(ctx context.Context, p chat.Post, why error) (sent, error) {
	person := a.alone(p)
	if person == "" || p.Error != "" {
		return sent{}, why
	}
	done, err := a.w.turns.take(ctx, keyWait+person)
	if err != nil {
		return sent{}, err
	}
	defer done()
	all, err := a.waitingFor(person)
	if err != nil {
		return sent{}, err
	}
	now := a.Now().UTC()
	key := fmt.Sprintf("%s%s/%013d/%s", keyWait, person, now.UnixMilli(), digest(string(p.ID)))
	if n := slices.IndexFunc(all, func(w waiting) bool {
		return w.post.ID == p.ID || p.Edit != "" && (w.post.ID == p.Edit || w.post.Edit == p.Edit)
	}); n >= 0 { // tried before, or its newer form
		key = all[n].key
		all = slices.Delete(all, n, n+1)
	}
	p.Notify = nil
	changes := map[string][]byte{key: value(p), keyHint + person: nil}
	for ; len(all) >= mostWaiting; all = all[1:] {
		a.Log.Warn("too much waits for somebody who takes no direct messages; the oldest is gone", "post", all[0].post.ID)
		changes[all[0].key] = nil
	}
	a.Log.Info("somebody takes no direct messages; a post waits for them", "post", p.ID)
	return sent{Message: digest(string(p.ID)), Only: person, Waits: true, Time: now}, a.book.put(ctx, changes)
}

// remind tells somebody who did something that messages wait for them. In private
// they get them at once: there they can be delivered again.
func (s *ear) remind(i *interaction, r *reply, m chat.Message) {
	person := i.by().ID
	if i.Guild == "" {
		s.hand(person, i.Channel)
		return
	}
	all, err := s.waitingFor(person)
	var told time.Time
	if err == nil && len(all) > 0 {
		_, err = s.book.get(keyHint+person, &told)
	}
	if err == nil && len(all) > 0 && s.Now().Sub(told) >= hintEvery {
		err = s.hint(r, m, len(all))
	}
	if err != nil && s.ctx.Err() == nil {
		s.Log.Warn("somebody could not be told that messages wait", "error", err)
	}
}

// hint says how many messages wait, with a button that shows them.
func (s *ear) hint(r *reply, m chat.Message, n int) error {
	p := s.complaint(m, waitsID, "n", n)
	p.Error, p.Choices = "", []chat.Choice{{Number: 1, Label: s.Say("discord.show")}}
	if _, err := r.say(s.ctx, p, nil, true); err != nil {
		return err
	}
	person, _ := userID(m.Person)
	return s.book.put(s.ctx, map[string][]byte{keyHint + person: value(s.Now().UTC())})
}

// waitsID is the sentence that tells that something waits. Its button is known by it.
const waitsID = "discord.waits"

// asksToShow tells whether a button is that of a hint. Whoever sends one is shown
// what waits for themselves, so it need not be theirs.
func asksToShow(i *interaction) bool {
	post, _, ok := readCustomID(i.Data.CustomID)
	return i.Type == typeTap && ok && strings.HasPrefix(post, Name+"/") && strings.HasSuffix(post, "/"+waitsID)
}

// show shows somebody what waits for them, to them alone.
func (s *ear) show(i *interaction) {
	person := i.by().ID
	m := i.message()
	r := s.begin(i, true, &m)
	defer r.end(s.ctx)
	done, err := s.w.turns.take(s.ctx, keyWait+person)
	if err != nil {
		return
	}
	defer done()
	all, err := s.waitingFor(person)
	if err == nil && len(all) == 0 {
		_, err = r.say(s.ctx, s.complaint(m, "discord.nothing"), nil, true)
	}
	for n, w := range all {
		if err == nil && n == showAtOnce {
			err = s.hint(r, m, len(all)-n)
			break
		}
		if err == nil {
			err = s.unwrap(w, func(p chat.Post, files []made) (sent, error) {
				got, err := r.say(s.ctx, p, files, true)
				return sent{Channel: i.Channel, Message: got.Ref, Only: person, Ask: r.id, Time: got.Time}, err
			})
		}
	}
	if err != nil && s.ctx.Err() == nil {
		s.Log.Warn("what waits for somebody could not be shown", "error", err)
	}
}

// hand delivers what waits for somebody who is heard in private.
func (s *ear) hand(person, channel string) {
	done, err := s.w.turns.take(s.ctx, keyWait+person)
	if err != nil {
		return
	}
	defer done()
	all, err := s.waitingFor(person)
	for _, w := range all {
		if err == nil {
			err = s.unwrap(w, func(p chat.Post, files []made) (sent, error) { return s.post(s.ctx, channel, p, files) })
		}
	}
	if err != nil && s.ctx.Err() == nil && !errors.Is(err, chat.ErrMuted) {
		s.Log.Warn("what waits for somebody could not be delivered", "error", err)
	}
}

// unwrap brings a post that waited, and keeps it no longer. A crash in between has it
// shown once more.
func (s *ear) unwrap(w waiting, bring func(chat.Post, []made) (sent, error)) error {
	files := s.made(s.ctx, &w.post)
	at, err := bring(w.post, files)
	if err != nil {
		return err
	}
	changes := s.noted(w.post, at)
	maps.Copy(changes, map[string][]byte{w.key: nil})
	return s.book.put(s.ctx, changes)
}

// stale tells whether what waits under a key waits too long.
func stale(key string, now time.Time) bool {
	parts := strings.Split(key, "/")
	var since int64
	if len(parts) < 3 {
		return true
	}
	if _, err := fmt.Sscanf(parts[2], "%d", &since); err != nil {
		return true
	}
	return now.Sub(time.UnixMilli(since)) > keepWaiting
}
