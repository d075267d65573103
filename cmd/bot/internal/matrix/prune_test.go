//go:build goolm

package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/commands/chat/chattest"
)

// stored is a store over a pocket in memory, at a time that the test sets.
func stored(t *testing.T) (*store, *chattest.Pocket, *time.Time) {
	t.Helper()
	p, now := chattest.NewPocket(), time.Now()
	return newStore(newKeep(p), []byte("sixteen characters at least"), func() time.Time { return now }), p, &now
}

// speaks puts a session there that came at a time, and returns it.
func speaks(t *testing.T, s *store, room id.RoomID, by id.SenderKey, came time.Time) *crypto.InboundGroupSession {
	t.Helper()
	out, err := crypto.NewOutboundGroupSession(room, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	g, err := crypto.NewInboundGroupSession(by, "signing", room, out.Internal.Key(), time.Hour, 100, nil, false)
	if err != nil {
		t.Fatal(err)
	}
	g.ReceivedAt = came
	if err := s.PutGroupSession(t.Context(), g); err != nil {
		t.Fatal(err)
	}
	return g
}

// noted notes that a message was read.
func noted(t *testing.T, s *store, g *crypto.InboundGroupSession, index uint, e id.EventID) bool {
	t.Helper()
	fresh, err := s.ValidateMessageIndex(t.Context(), g.ID(), e, index, 7)
	if err != nil {
		t.Fatal(err)
	}
	return fresh
}

// holds counts the notes of a kind that are on disk.
func holds(p *chattest.Pocket, prefix string) (n int) {
	_ = p.Scan(prefix, func(string, []byte) error { n++; return nil })
	return n
}

// TestSessionsAreForgotten: a session that nobody spoke in for long goes with the notes
// of its indices, and its key is not taken again, so that none of its messages can be
// read a second time. One that is in use stays, and so do the newest of our own.
func TestSessionsAreForgotten(t *testing.T) {
	s, p, now := stored(t)
	ctx, began := t.Context(), *now
	long := began.Add(-sessionFor - time.Hour)
	quiet, used := speaks(t, s, "!a", "ann", long), speaks(t, s, "!a", "bo", long)
	var ours []*crypto.InboundGroupSession
	for i := range ownSessions + 3 {
		g := speaks(t, s, "!a", "me", long.Add(time.Duration(i)*time.Minute))
		ours = append(ours, g)
		if err := s.MarkOutboundGroupSessionShared(ctx, "@ann:osier.test", "ann", g.ID()); err != nil {
			t.Fatal(err)
		}
	}
	*now = long
	for _, g := range append(ours, quiet, used) {
		if !noted(t, s, g, 0, "$first") {
			t.Fatal("a first message is no replay")
		}
	}
	*now = began
	if !noted(t, s, used, 1, "$second") {
		t.Fatal("a second message is no replay")
	}
	if err := s.commit(ctx); err != nil {
		t.Fatal(err)
	}
	sessions, indices := holds(p, "in"+sep), holds(p, "idx"+sep)
	p.Fail(func(map[string][]byte) error { return errors.New("the disk is full") })
	if _, err := s.pruneSessions(ctx, *now, "me"); err != nil {
		t.Fatal(err)
	}
	if err := s.commit(ctx); err == nil || holds(p, "idx"+sep) != indices {
		t.Error("something was forgotten in part")
	}
	p.Fail(nil)
	if err := s.commit(ctx); err != nil {
		t.Fatal(err)
	}
	if holds(p, "in"+sep) != sessions || holds(p, "idx"+sep) != indices-4 || holds(p, "shared"+sep) != ownSessions {
		t.Errorf("kept: %d sessions of %d, %d indices of %d, %d shares", holds(p, "in"+sep), sessions, holds(p, "idx"+sep), indices, holds(p, "shared"+sep))
	}
	for name, g := range map[string]*crypto.InboundGroupSession{"quiet": quiet, "our oldest": ours[0], "our third": ours[2]} {
		if err := s.PutGroupSession(ctx, g); err != nil { // somebody gives its key again
			t.Fatal(err)
		}
		if got, err := s.GetGroupSession(ctx, g.RoomID, g.ID()); got != nil || !errors.Is(err, errGone) {
			t.Errorf("%s came back: %v %v", name, got, err)
		}
	}
	for name, g := range map[string]*crypto.InboundGroupSession{"used": used, "our fourth": ours[3], "our newest": ours[len(ours)-1]} {
		if got, err := s.GetGroupSession(ctx, g.RoomID, g.ID()); err != nil || got == nil || noted(t, s, g, 0, "$replay") || !noted(t, s, g, 0, "$first") {
			t.Errorf("%s is not as it was: %v", name, err)
		}
	}
}

// TestIndicesAreForgotten: of a session with many messages the highest indices are noted
// one by one; no lower one is taken any more, whether it was read or not.
func TestIndicesAreForgotten(t *testing.T) {
	s, p, now := stored(t)
	g := speaks(t, s, "!a", "ann", *now)
	other := speaks(t, s, "!a", "bo", *now)
	const many = indicesEach + 500
	for i := range uint(many) {
		if i != 3 && !noted(t, s, g, 2*i, id.EventID(fmt.Sprint("$", 2*i))) { // one was never seen
			t.Fatal("a message is taken for a replay")
		}
	}
	if !noted(t, s, other, 1, "$one") {
		t.Fatal("a message is taken for a replay")
	}
	if err := s.commit(t.Context()); err != nil {
		t.Fatal(err)
	}
	for range 2 { // the second time there is nothing to do
		if err := s.pruneIndices(t.Context()); err != nil {
			t.Fatal(err)
		}
		if err := s.commit(t.Context()); err != nil {
			t.Fatal(err)
		}
		if n := holds(p, "idx"+sep); n != indicesEach+1 {
			t.Errorf("%d indices are noted, want %d", n, indicesEach+1)
		}
	}
	low := uint(2 * 500)
	for index, want := range map[uint]bool{0: false, 2: false, 6: false, low - 1: false, low - 2: false, low + 1: true, 2*many + 5: true} {
		if got := noted(t, s, g, index, "$another"); got != want {
			t.Errorf("index %d is taken: %v", index, got)
		}
	}
	if !noted(t, s, g, low, id.EventID(fmt.Sprint("$", low))) || noted(t, s, g, low, "$replay") || !noted(t, s, other, 0, "$zero") {
		t.Error("the lowest that is noted, or another session, is not as it was")
	}
}

// TestNotesAreForgotten: notes go by their age, and the oldest where there are too many.
func TestNotesAreForgotten(t *testing.T) {
	now := time.Unix(2_000_000_000, 0)
	for _, b := range bounds {
		t.Run(b.kind, func(t *testing.T) {
			note := func(at time.Time) []byte {
				switch b.kind {
				case "entry":
					return entryOf(412, at)
				case "acted":
					return fmt.Append(nil, at.Unix())
				}
				v, err := json.Marshal(dict{"Time": at})
				if err != nil {
					t.Fatal(err)
				}
				return v
			}
			p := chattest.NewPocket()
			k := newKeep(p)
			for i := range 10 {
				k.put(key(b.kind, fmt.Sprint("new ", i)), note(now.Add(-time.Duration(i)*time.Hour)))
			}
			k.put(key(b.kind, "old"), note(now.Add(-b.age-time.Second)))
			k.put(key(b.kind, "just"), note(now.Add(-b.age+time.Second)))
			k.put(key(b.kind+"s", "other"), note(time.Unix(0, 0)))
			if err := k.commit(t.Context()); err != nil {
				t.Fatal(err)
			}
			for most, want := range map[int]int{b.most: 11, 4: 4} {
				b.most = most
				k = newKeep(p.Copy())
				if err := b.prune(k, now); err != nil {
					t.Fatal(err)
				}
				var left []string
				_ = k.scan(b.kind+sep, func(at string, _ []byte) error { left = append(left, at); return nil })
				if len(left) != want || strings.Contains(strings.Join(left, " "), "old") {
					t.Errorf("of 12 %q are left, want %d", left, want)
				}
			}
			if holds(p, b.kind+"s"+sep) != 1 {
				t.Error("a note of another kind was forgotten")
			}
		})
	}
	if entry, at := readEntry(entryOf(412, now)); entry != "412" || !at.Equal(now) {
		t.Errorf("an entry is read as %q, %v", entry, at)
	}
}

// TestWithheldIsForgotten: the news that a key is withheld goes after a week.
func TestWithheldIsForgotten(t *testing.T) {
	s, p, now := stored(t)
	for i, age := range []time.Duration{0, withheldFor - time.Hour, withheldFor + time.Hour} {
		began := *now
		*now = began.Add(-age)
		if err := s.PutWithheldGroupSession(t.Context(), event.RoomKeyWithheldEventContent{RoomID: "!a", SessionID: id.SessionID(fmt.Sprint(i)), Code: event.RoomKeyWithheldUnverified}); err != nil {
			t.Fatal(err)
		}
		*now = began
	}
	if err := errors.Join(s.commit(t.Context()), s.pruneWithheld(*now), s.commit(t.Context())); err != nil {
		t.Fatal(err)
	}
	if n := holds(p, "in"+sep); n != 2 {
		t.Errorf("%d are left, want 2", n)
	}
}

// TestNoReplayOfLongAgo: a ciphertext of a session that was forgotten, sent once more, is
// not heard, also where its sender gives the key again; whoever sent it is told.
func TestNoReplayOfLongAgo(t *testing.T) {
	_, _, p, ann, fen := lane(t)
	ann.Say(fen, "!once")
	p.b.heard(t, "/once")
	var sent *event.Event
	for range 100 {
		rows, err := ann.Cli.Messages(t.Context(), fen, "", "", mautrix.DirectionBackward, nil, 20)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range rows.Chunk {
			if e.Sender == ann.Cli.UserID && e.Type.Type == event.EventEncrypted.Type && sent == nil {
				sent = e
			}
		}
		if sent != nil {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	p.b.later(2 * sessionFor)
	ann.Send(fen, event.EventReaction, nothing) // so that an answer comes, after which is forgotten
	session, _ := sent.Content.Raw["session_id"].(string)
	for range 1000 {
		if _, err := p.b.store.GetGroupSession(t.Context(), fen, id.SessionID(session)); errors.Is(err, errGone) {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	g, err := ann.Mach.CryptoStore.GetGroupSession(context.Background(), fen, id.SessionID(session))
	if err != nil || g == nil {
		t.Fatalf("ann has lost her own session: %v", err)
	}
	if err := p.b.store.PutGroupSession(t.Context(), g); err != nil {
		t.Fatal(err)
	}
	raw(t, ann, fen, event.EventEncrypted.Type, sent.Content.Raw)
	ann.Await("being told", from(p.b.user, "matrix.unreadable"))
	for _, m := range p.b.desk.Heard() {
		if m.Text == "/once" {
			t.Error("it was heard again")
		}
	}
}

// TestLateFlood: of what one person says without a key only so much waits; what others
// said waits on.
func TestLateFlood(t *testing.T) {
	f := newFaked(t)
	a, err := New(f.b.settings, f.b.parts)
	if err != nil {
		t.Fatal(err)
	}
	late := func(i int, who id.UserID) {
		l := lateEvent{ID: id.EventID(fmt.Sprint("$", i)), Room: "!a", Sender: who, Since: a.now(), Content: json.RawMessage("{}")}
		if err := a.keep.set(key("late", fmt.Sprint("session", i), string(l.ID)), l); err != nil {
			t.Fatal(err)
		}
	}
	for i := range lateEach + 100 {
		late(i, "@ann:osier.test")
	}
	late(9999, "@bo:osier.test")
	if err := a.chase(t.Context()); err != nil {
		t.Fatal(err)
	}
	left := map[id.UserID]int{}
	_ = a.keep.scan("late"+sep, func(_ string, b []byte) error {
		var l lateEvent
		err := json.Unmarshal(b, &l)
		left[l.Sender]++
		return err
	})
	if left["@ann:osier.test"] != lateEach || left["@bo:osier.test"] != 1 {
		t.Errorf("left are %v", left)
	}
}
