package commands

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"drumhead/commands/chat"
	"drumhead/storage"
)

// lineDown is a chat whose posts cannot be read so many times.
type lineDown struct {
	left  int
	err   error
	shows shownPosts
	asked int
}

func (l *lineDown) Own(context.Context, chat.Place, int) ([]chat.Seen, error) {
	if l.asked++; l.left == 0 {
		return l.shows, nil
	}
	l.left--
	return nil, l.err
}

// TestLineDownAtStart: while our own posts cannot be read after a start nothing is
// rolled, and it is tried again; what they show then still counts.
func TestLineDownAtStart(t *testing.T) {
	foreign := func(l storage.LedgerID, size uint64) chat.PostID {
		return StoredID(storage.PostID{Ledger: l, Seq: size + 20})
	}
	for name, c := range map[string]struct {
		shows func(storage.LedgerID, uint64) chat.PostID // nil: nothing
		want  string
	}{
		"nothing new":       {nil, "Ann rolls 2d6"},
		"posts not ours":    {func(storage.LedgerID, uint64) chat.PostID { return "x" }, "Ann rolls 2d6"},
		"what we never did": {foreign, "put back or copied"},
	} {
		t.Run(name, func(t *testing.T) {
			old := newTable(t)
			old.say("Ann", "#fen", "/roll 12d6 4+")
			id, err := old.store.Of(t.Context(), "test:#fen")
			if err != nil {
				t.Fatal(err)
			}
			line := &lineDown{left: 1, err: errors.New("connection reset by peer")}
			if c.shows != nil {
				line.shows = shownPosts{{Post: c.shows(id, old.size("#fen")), Ref: "7"}}
			}
			tb := old.again(line)
			before := tb.size("#fen")
			if said := tb.say("Ann", "#fen", "/roll 2d6"); !strings.Contains(said, "cannot read my own posts") || tb.size("#fen") != before {
				t.Errorf("with the line down:\n%s", said)
			}
			if said := tb.say("Ann", "#fen", "/roll 2d6"); !strings.Contains(said, "cannot read my own posts") || line.asked != 1 {
				t.Errorf("at once again, %d tries:\n%s", line.asked, said)
			}
			old.now = old.now.Add(pauseUnread) // the clock of both
			if said := tb.say("Ann", "#fen", "/roll 2d6"); !strings.Contains(said, c.want) || line.asked != 2 {
				t.Errorf("with the line up, %d tries:\n%s", line.asked, said)
			}
		})
	}
}

// TestLineDownForGood: nobody is locked out by a platform that never answers: after a
// few tries and some minutes it goes on, and says once what it cannot notice.
func TestLineDownForGood(t *testing.T) {
	old := newTable(t)
	old.say("Ann", "#fen", "/roll 12d6 4+")
	line := &lineDown{left: 1000, err: errors.New("no route to host")}
	tb := old.again(line)
	rolled := 0
	for n := range 40 {
		if said := tb.say("Ann", "#fen", "/roll 2d6"); strings.Contains(said, "Ann rolls 2d6") {
			rolled++
			if since := time.Duration(n) * 10 * time.Second; since < longestUnread || line.asked < mostUnread {
				t.Fatalf("rolled after %v and %d tries", since, line.asked)
			}
		}
		old.now = old.now.Add(10 * time.Second)
		tb.turns()
	}
	if rolled < 20 || line.asked > 20 {
		t.Errorf("%d rolled, %d tries", rolled, line.asked)
	}
	if n := strings.Count(tb.text(0), "I could not read my own posts"); n != 1 {
		t.Errorf("told %d times", n)
	}
	for _, err := range []error{errors.ErrUnsupported, fmt.Errorf("no right: %w", chat.ErrMuted), chat.ErrGone} { // no waiting where it never can
		if said := old.again(&lineDown{left: 1000, err: err}).say("Ann", "#fen", "/roll 2d6"); !strings.Contains(said, "Ann rolls 2d6") {
			t.Errorf("%v:\n%s", err, said)
		}
	}
}
