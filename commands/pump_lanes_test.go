package commands

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"drumhead/commands/chat"
)

// slow is an adapter whose places take posts when the test lets them.
type slow struct {
	mu    sync.Mutex
	got   map[chat.Place][]chat.PostID
	block map[chat.Place]chan struct{} // a place that hangs until it is closed
	fails map[chat.Place]error
	at    int // posts that are being sent now
	most  int
}

func (s *slow) Run(context.Context, chat.Desk) error { return nil }
func (s *slow) Limits() chat.Limits {
	return chat.Limits{Characters: 1 << 20, Choices: 9, FileBytes: 1 << 20}
}

func (s *slow) Send(ctx context.Context, p chat.Post) (chat.Receipt, error) {
	s.mu.Lock()
	s.at++
	s.most = max(s.most, s.at)
	gate, err := s.block[p.To.Place], s.fails[p.To.Place]
	s.mu.Unlock()
	if gate != nil {
		select {
		case <-gate:
		case <-ctx.Done():
			err = ctx.Err()
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.at--
	if err != nil {
		return chat.Receipt{}, err
	}
	s.got[p.To.Place] = append(s.got[p.To.Place], p.ID)
	return chat.Receipt{Ref: string(p.ID)}, nil
}

func (s *slow) posts(place chat.Place) []chat.PostID {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.got[place])
}

// stream is a table whose rolls wait in the outbox for a slow adapter.
type stream struct {
	*table
	slow  *slow
	pump  *Pump
	woken chan struct{}
}

func newStream(t *testing.T) *stream {
	s := &stream{table: newTable(t), woken: make(chan struct{}, 1000),
		slow: &slow{got: map[chat.Place][]chat.PostID{}, block: map[chat.Place]chan struct{}{}, fails: map[chat.Place]error{}}}
	s.pump = NewPump(s.desk, map[string]chat.Adapter{"test": s.slow})
	return s
}

// roll leaves a roll's posts in the outbox.
func (s *stream) roll(place string) {
	s.t.Helper()
	s.line++
	_, err := s.desk.Handle(s.t.Context(), chat.Message{Source: chat.Source(fmt.Sprint("roll ", s.line)), Community: "test", Place: chat.Place("test:" + place),
		Person: "test:ann", Name: "Ann", Text: "/roll 2d6", Time: s.now})
	if err != nil {
		s.t.Fatal(err)
	}
}

func (s *stream) flow(ctx context.Context) time.Time {
	s.t.Helper()
	next, err := s.pump.Flow(ctx, func() { s.woken <- struct{}{} })
	if err != nil {
		s.t.Fatal(err)
	}
	return next
}

// until flows until a place has so many posts.
func (s *stream) until(ctx context.Context, place string, n int) {
	s.t.Helper()
	for range 100 {
		if len(s.slow.posts(chat.Place("test:"+place))) >= n {
			return
		}
		s.flow(ctx)
		<-s.woken
	}
	s.t.Fatalf("%s never had %d posts", place, n)
}

// A place that hangs holds up no other, and its own posts stay in order and come
// once.
func TestSlowPlaceHoldsUpNoOther(t *testing.T) {
	s := newStream(t)
	gate := make(chan struct{})
	s.slow.block["test:#fen"] = gate
	for range 3 {
		s.roll("#fen")
		s.roll("#hill")
	}
	s.until(t.Context(), "#hill", 4) // a seal's opening and three rolls
	if got := s.slow.posts("test:#fen"); len(got) != 0 {
		t.Fatalf("the place that hangs has %v", got)
	}
	s.flow(t.Context())
	s.flow(t.Context())
	if s.slow.most > 2 {
		t.Errorf("%d posts were on their way at once to two places", s.slow.most)
	}
	close(gate)
	s.until(t.Context(), "#fen", 4)
	s.pump.Wait()
	got := s.slow.posts("test:#fen")
	seen := map[chat.PostID]bool{}
	for _, id := range got {
		if seen[id] {
			t.Errorf("%s came twice", id)
		}
		seen[id] = true
	}
	if sorted := slices.Clone(got); !slices.IsSorted(sorted) {
		t.Errorf("out of order: %v", got)
	}
	if left, err := s.store.Outbox(t.Context(), 10); err != nil || len(left) != 0 {
		t.Errorf("%d posts still wait, %v", len(left), err)
	}
}

// A place that can take nothing rests, longer each time, and is tried again then.
func TestPlaceThatCanTakeNothingRests(t *testing.T) {
	s := newStream(t)
	s.slow.fails["test:#fen"] = chat.ErrLater
	s.roll("#fen")
	var waits []time.Duration
	for range 9 {
		s.flow(t.Context())
		<-s.woken
		next := s.flow(t.Context())
		if next.IsZero() {
			t.Fatal("nobody says when to try again")
		}
		waits = append(waits, next.Sub(s.now))
		s.now = next
	}
	if waits[0] != firstRest || waits[1] != 2*firstRest || waits[8] != mostRest {
		t.Errorf("it rests %v", waits)
	}
	delete(s.slow.fails, "test:#fen")
	s.until(t.Context(), "#fen", 2)
	s.pump.Wait()
	if next := s.flow(t.Context()); !next.IsZero() {
		t.Errorf("a place that was reached still rests until %v", next)
	}
}

// More places that cannot be reached than posts are taken at a time hide no
// place that can.
func TestManyUnreachablePlaces(t *testing.T) {
	s := newStream(t)
	const far = pumpAtOnce + 10
	for i := range far {
		place := fmt.Sprintf("#far%d", i)
		s.slow.fails[chat.Place("test:"+place)] = chat.ErrLater
		s.roll(place)
	}
	s.roll("#near")
	s.until(t.Context(), "#near", 2)
	s.pump.Wait()
}

// What the store says is told; what a lane leaves behind waits on.
func TestLaneThatBreaks(t *testing.T) {
	s := newStream(t)
	broken := errors.New("the wire is cut")
	s.slow.fails["test:#fen"] = broken
	s.roll("#fen")
	s.flow(t.Context())
	<-s.woken
	if _, err := s.pump.Flow(t.Context(), func() {}); !errors.Is(err, broken) {
		t.Errorf("told %v", err)
	}
	if left, err := s.store.Outbox(t.Context(), 10); err != nil || len(left) != 2 {
		t.Errorf("%d posts wait, %v", len(left), err)
	}
}

// Lanes end with their context and lose nothing.
func TestLanesEnd(t *testing.T) {
	s := newStream(t)
	s.slow.block["test:#fen"] = make(chan struct{})
	s.roll("#fen")
	ctx, cancel := context.WithCancel(t.Context())
	s.flow(ctx)
	cancel()
	s.pump.Wait()
	if left, err := s.store.Outbox(t.Context(), 10); err != nil || len(left) != 2 {
		t.Errorf("%d posts wait, %v", len(left), err)
	}
}
