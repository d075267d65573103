//go:build goolm

package matrix

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
	"drumhead/storage/bolt"
)

// absence is a bot that was away, and what was said meanwhile in encrypted rooms.
type absence struct {
	t     testing.TB
	b     *bot
	rooms []id.RoomID
	said  map[chat.Place]int // messages, numbered from 0 in each room
}

// newAbsence stops a bot that is in some rooms, and has so many things said in each.
func newAbsence(t testing.TB, missed ...int) *absence {
	s := matrixtest.New(t)
	pocket, err := bolt.OpenPocket(filepath.Join(t.TempDir(), "matrix.pocket"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { pocket.Close() })
	a := &absence{t: t, b: newBot(t, s, func(b *bot) { b.parts.Pocket = pocket }), said: map[chat.Place]int{}}
	a.b.pace.now = func() func() time.Time { // nobody invites it into so many rooms within an hour
		at := time.Now()
		return func() time.Time { at = at.Add(3 * time.Minute); return at }
	}()
	ann := s.Join("ann")
	for range missed {
		a.rooms = append(a.rooms, ann.Room(true, a.b.user))
	}
	for _, rid := range a.rooms {
		ann.AwaitMembers(rid, 2)
	}
	until(t, "the bot is everywhere", func() bool { return a.b.rooms.count() == len(missed) })
	ann.Say(a.rooms[0], "!there")
	until(t, "the bot hears", func() bool {
		return slices.ContainsFunc(a.b.desk.Heard(), func(m chat.Message) bool { return m.Text == "/there" })
	})
	a.b.stop()
	a.b.desk.Heard()
	var all sync.WaitGroup
	for i, rid := range a.rooms {
		a.said[placeOf(string(rid), "")] = missed[i]
		all.Go(func() {
			for n := range missed[i] {
				ann.Say(rid, fmt.Sprintf("!missed %d", n))
			}
		})
	}
	all.Wait()
	return a
}

// bare fetches what the bot has to fetch, with a client that does nothing with it:
// the news since the bot's last answer, and page by page what an answer left out.
func (a *absence) bare() (events int, took time.Duration) {
	a.t.Helper()
	since, err := a.b.parts.Pocket.Get(tokenKey)
	if err != nil {
		a.t.Fatal(err)
	}
	cli, err := mautrix.NewClient(a.b.settings.Homeserver, a.b.user, a.b.cli.AccessToken)
	if err != nil {
		a.t.Fatal(err)
	}
	began, ctx := time.Now(), context.Background()
	r, err := cli.FullSyncRequest(ctx, mautrix.ReqSync{Since: string(since), FilterID: fmt.Sprintf(`{"room":{"timeline":{"limit":%d}}}`, timelineLimit)})
	if err != nil {
		a.t.Fatal(err)
	}
	for rid, one := range r.Rooms.Join {
		events += len(one.Timeline.Events)
		missing := a.said[placeOf(string(rid), "")] - len(one.Timeline.Events)
		for from := one.Timeline.PrevBatch; missing > 0; {
			page, err := cli.Messages(ctx, rid, from, "", mautrix.DirectionBackward, nil, missedAtOnce)
			if err != nil || len(page.Chunk) == 0 {
				a.t.Fatalf("a page: %v", err)
			}
			from, missing, events = page.End, missing-len(page.Chunk), events+len(page.Chunk)
		}
	}
	return events, time.Since(began)
}

// back starts the bot and returns how long it takes until all that was said is heard.
// Each thing must be heard once, and in the order in which it was said.
func (a *absence) back() time.Duration {
	a.t.Helper()
	began := time.Now()
	a.b.run(a.t)
	heard, n, want := map[chat.Place]int{}, 0, 0
	for _, most := range a.said {
		want += most
	}
	until(a.t, "everything is heard", func() bool {
		for _, m := range a.b.desk.Heard() {
			if m.Text == "/there" { // it was stopped before it kept that it had heard this
				continue
			}
			n++
			if text := fmt.Sprintf("/missed %d", heard[m.Place]); m.Text != text {
				a.t.Fatalf("in %s %q was heard, want %q", m.Place, m.Text, text)
			}
			heard[m.Place]++
		}
		return n >= want
	})
	took := time.Since(began)
	time.Sleep(time.Second)
	if more := a.b.desk.Heard(); len(more) > 0 || n != want {
		a.t.Errorf("%d were said, %d heard, and %d later", want, n, len(more))
	}
	return took
}

// TestGap: what was said while the bot was away is heard, all of it, once and in
// order, in a room where it is more than one page, and beside it where it is less.
func TestGap(t *testing.T) { newAbsence(t, 230, 60, 5).back() }

// BenchmarkMissed lets the bot come back to 10,000 things that were said in 101
// encrypted rooms, and holds its time against that of a bare client that
// fetches the same from the same homeserver, before and after, and opens nothing.
func BenchmarkMissed(b *testing.B) {
	missed := []int{2000}
	for range 100 {
		missed = append(missed, 80)
	}
	for b.Loop() {
		a := newAbsence(b, missed...)
		events, before := a.bare()
		took := a.back()
		_, after := a.bare()
		if events < 10_000 {
			b.Errorf("the floor fetched %d events", events)
		}
		b.ReportMetric(2*took.Seconds()/(before+after).Seconds(), "×bare")
		b.ReportMetric(took.Seconds(), "s")
	}
}
