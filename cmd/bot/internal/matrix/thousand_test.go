//go:build goolm

package matrix

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"
	"weak"

	"golang.org/x/sync/errgroup"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"drumhead/cmd/bot/internal/matrix/matrixtest"
	"drumhead/commands/chat"
	"drumhead/storage/bolt"
)

// fens is a homeserver with rooms laid over it that it does not have: making a
// thousand takes it minutes. What it answers about keys and devices is its own;
// sync answers tell of the rooms too, and what is sent into them comes back as an
// echo.
type fens struct {
	bot   id.UserID
	mu    sync.Mutex
	heard map[id.RoomID]dict // what the next sync answer tells more
	sends int
	told  int
}

// RoundTrip answers for the rooms, and lets the homeserver answer all else.
func (f *fens) RoundTrip(r *http.Request) (*http.Response, error) {
	_, room, inRoom := strings.Cut(r.URL.Path, "/rooms/!fen")
	switch {
	case strings.HasSuffix(r.URL.Path, "/sync"):
		return f.sync(r)
	case inRoom && strings.Contains(room, "/send/"):
		return f.send(r, id.RoomID("!fen"+room[:strings.Index(room, "/")]))
	}
	return matrixtest.Patient{}.RoundTrip(r)
}

// sync lays what happened in the rooms over a sync answer.
func (f *fens) sync(r *http.Request) (*http.Response, error) {
	q := r.URL.Query()
	q.Set("timeout", "100") // to look again soon
	r.URL.RawQuery = q.Encode()
	a, err := matrixtest.Patient{}.RoundTrip(r)
	f.mu.Lock()
	defer f.mu.Unlock()
	if err != nil || len(f.heard) == 0 || a.StatusCode != http.StatusOK {
		return a, err
	}
	return rewrite(a, func(whole *dict) error {
		rooms, _ := (*whole)["rooms"].(dict)
		if rooms == nil {
			rooms = dict{}
			(*whole)["rooms"] = rooms
		}
		rooms["join"], f.heard = f.heard, nil
		return nil
	})
}

// send takes a post and lets it come back.
func (f *fens) send(r *http.Request, rid id.RoomID) (*http.Response, error) {
	var content dict
	if err := json.NewDecoder(r.Body).Decode(&content); err != nil {
		return nil, err
	}
	f.mu.Lock()
	f.sends++
	e := fmt.Sprintf("$echo%d", f.sends)
	f.mu.Unlock()
	path := strings.Split(r.URL.Path, "/")
	f.tell(rid, nil, dict{"type": path[len(path)-2], "sender": f.bot, "event_id": e, "content": content, "unsigned": dict{"transaction_id": path[len(path)-1]}})
	return status(http.StatusOK, fmt.Sprintf(`{"event_id":%q}`, e))(r)
}

// tell lets events come with the next answer.
func (f *fens) tell(rid id.RoomID, state []dict, timeline ...dict) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.heard == nil {
		f.heard = map[id.RoomID]dict{}
	}
	for _, e := range timeline {
		f.told++
		e["origin_server_ts"] = time.Now().UnixMilli()
		if e["event_id"] == nil {
			e["event_id"] = fmt.Sprintf("$told%d", f.told)
		}
	}
	before, _ := f.heard[rid]["timeline"].(dict)
	if events, ok := before["events"].([]dict); ok {
		timeline = append(events, timeline...)
	}
	if was, ok := f.heard[rid]["state"].(dict); ok && state == nil {
		state, _ = was["events"].([]dict)
	}
	f.heard[rid] = dict{"state": dict{"events": state}, "timeline": dict{"events": timeline, "prev_batch": "t0"}}
}

// fen is the state of a made-up room that the bot has just joined.
func (f *fens) fen(rid id.RoomID, people []*matrixtest.Person) {
	n := 0
	state := func(typ, at string, by id.UserID, content dict) dict {
		n++
		return dict{"type": typ, "state_key": at, "sender": by, "event_id": fmt.Sprintf("$%s-%d", rid[1:], n), "origin_server_ts": 1, "content": content}
	}
	maker := people[0].Cli.UserID
	all := []dict{
		state("m.room.create", "", maker, dict{"room_version": "10"}),
		state("m.room.power_levels", "", maker, dict{"users": dict{string(maker): 100}}),
		state("m.room.encryption", "", maker, dict{"algorithm": id.AlgorithmMegolmV1}),
		state("m.room.history_visibility", "", maker, dict{"history_visibility": "shared"}),
	}
	for _, p := range people {
		all = append(all, state("m.room.member", string(p.Cli.UserID), p.Cli.UserID, dict{"membership": "join", "displayname": "Warden of " + p.Cli.UserID.Localpart()}))
	}
	f.tell(rid, all, state("m.room.member", string(f.bot), f.bot, dict{"membership": "join", "displayname": "Drumhead"}))
}

// heap is what lives, in MB.
func heap() float64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.GC()
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / (1 << 20)
}

// Size of the crowd in BenchmarkRooms.
const (
	fenRooms    = 1000
	fenPeople   = 200 // in all, each at one device
	fenMembers  = 20  // of a room
	fenSpeakers = 3   // of a room, each with a key of their own there
	mostHeld    = 60  // MB
	claimed     = 20  // one-time keys of the bot's at once, of the 50 that there are
)

// BenchmarkRooms is what the adapter holds in memory in 1,000 encrypted rooms, in
// each of which three of twenty people have spoken and the bot has answered. The
// rooms are laid over the homeserver's sync answers; devices, keys and their ways are the
// homeserver's and real.
func BenchmarkRooms(b *testing.B) {
	for b.Loop() {
		held, most := holdRooms(b)
		b.ReportMetric(held, "held-MB")
		b.ReportMetric(most, "most-MB")
		if held > mostHeld {
			b.Errorf("%.1f MB are held, want at most %d", held, mostHeld)
		}
	}
}

// holdRooms fills the rooms, and returns what the adapter holds then: what is free
// when it is gone. The most is what was ever taken, garbage and the made-up answers of
// the test with it.
func holdRooms(b *testing.B) (held, most float64) {
	s := matrixtest.New(b)
	pocket, err := bolt.OpenPocket(filepath.Join(b.TempDir(), "matrix.pocket"))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { pocket.Close() })
	f := &fens{}
	bot := newBot(b, s, func(bot *bot) {
		f.bot = bot.user
		bot.parts.Pocket, bot.parts.Transport = pocket, f
		bot.settings.PerMinute = 1 << 20
	})
	var said sync.WaitGroup
	bot.desk.Answer(func(m chat.Message) []chat.Post {
		if m.Joined {
			return nil
		}
		said.Done()
		return []chat.Post{{ID: chat.PostID("free/" + string(m.Source)), To: chat.Destination{Place: m.Place}, Entry: -1, Lines: []chat.Line{{{Kind: chat.Plain, Text: m.Text}}}}}
	})
	people := make([]*matrixtest.Person, fenPeople)
	for i := range people {
		people[i] = s.Absent(fmt.Sprintf("warden%d", i))
	}
	members := func(n int) (in []*matrixtest.Person) {
		for i := range fenMembers {
			in = append(in, people[(n*7+i*i)%fenPeople])
		}
		return in
	}
	room := func(n int) id.RoomID { return id.RoomID(fmt.Sprintf("!fen%d:%s", n, matrixtest.ServerName)) }
	top := watch(b)
	for n := range fenRooms {
		f.fen(room(n), members(n))
	}
	until(b, "the rooms are known", func() bool { return bot.rooms.count() == fenRooms })
	speech := func(n, most int, say func(i int) error) {
		said.Add(n)
		var all errgroup.Group
		all.SetLimit(most)
		for i := range n {
			all.Go(func() error { return say(i) })
		}
		if err := all.Wait(); err != nil {
			b.Fatal(err)
		}
		said.Wait()
	}
	for i := 0; i < fenPeople; i += claimed { // each first word takes a one-time key of the bot's
		speech(claimed, 1, func(n int) error { return speak(b.Context(), f, room(n), people[i+n]) })
	}
	for i := range fenSpeakers {
		speech(fenRooms, 4, func(n int) error { return speak(b.Context(), f, room(n), members(n)[i]) })
	}
	until(b, "every answer is seen", func() bool {
		waiting := 0
		_ = bot.keep.scan("pend"+sep, func(string, []byte) error { waiting++; return nil })
		return waiting == 0
	})
	all := heap()
	most = top()
	bot.stop()
	gone := weak.Make(bot.Adapter)
	bot.Adapter = nil
	without := heap()
	if gone.Value() != nil {
		b.Fatal("something still holds the adapter: nothing is known of its size")
	}
	return all - without, most - without
}

// speak lets somebody say a word in a room: the first shares a key with the bot.
func speak(ctx context.Context, f *fens, rid id.RoomID, p *matrixtest.Person) error {
	if err := p.State.SetEncryptionEvent(ctx, rid, &event.EncryptionEventContent{Algorithm: id.AlgorithmMegolmV1}); err != nil {
		return err
	}
	if err := p.Mach.ShareGroupSession(ctx, rid, []id.UserID{f.bot}); err != nil {
		return err
	}
	x, err := p.Mach.EncryptMegolmEvent(ctx, rid, event.EventMessage, &event.MessageEventContent{MsgType: event.MsgText, Body: "!roll 3d6"})
	if err != nil {
		return err
	}
	b, err := json.Marshal(x)
	if err != nil {
		return err
	}
	f.tell(rid, nil, dict{"type": "m.room.encrypted", "sender": p.Cli.UserID, "content": json.RawMessage(b)})
	return nil
}

// until waits for something.
func until(t testing.TB, what string, done func() bool) {
	t.Helper()
	for range 6_000 {
		if done() {
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	t.Fatalf("waited in vain until %s", what)
}

// watch looks how much memory is taken, until its end is asked for the most.
func watch(t testing.TB) func() float64 {
	ctx, cancel := context.WithCancel(t.Context())
	result := make(chan float64)
	go func() {
		most := 0.0
		for ctx.Err() == nil {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most = max(most, float64(m.HeapAlloc)/(1<<20))
			sleep(ctx, 20*time.Millisecond)
		}
		result <- most
	}()
	return func() float64 { cancel(); return <-result }
}
