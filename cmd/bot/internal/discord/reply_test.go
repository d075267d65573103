package discord

import (
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
)

// asked lets somebody give a command and begins to answer it.
func asked(t *testing.T, s *discordtest.Server, private bool, after time.Duration) (*reply, *discordtest.Interaction) {
	t.Helper()
	w, _ := wired(t, s)
	did := s.Do(fen, discordtest.SlashCommand, map[string]any{"name": "roll"})
	i := arrive(t, w, s, did)
	if i == nil {
		t.Fatal("not heard")
	}
	w.patience = after
	return w.reply(t.Context(), i, i.Channel, private, nil), did
}

// What has waited for its turn as long as an answer may take is promised at once.
func TestPromiseAfterWaiting(t *testing.T) {
	s := serve(t, discordtest.Options{})
	w, _ := wired(t, s)
	w.patience = never
	did := s.Do(fen, discordtest.SlashCommand, map[string]any{"name": "roll"})
	i := arrive(t, w, s, did)
	i.heard = i.heard.Add(-never)
	secret := &leaf{done: make(chan struct{})}
	r := w.reply(t.Context(), i, i.Channel, true, secret)
	time.Sleep(50 * time.Millisecond)
	if _, yes := did.Answered(); yes {
		t.Error("answered before its secret was kept: after a crash nobody could answer it again")
	}
	close(secret.done)
	if a := did.Answer(t.Context()); a.Type != discordtest.AnswerDeferred {
		t.Errorf("answered with %+v", a)
	}
	if _, err := r.say(t.Context(), told("fen/1/0", "At last."), nil, true); err != nil {
		t.Error(err)
	}
	if m, _ := did.Message(); m.Content() != `At last\.` || m.Only != fen.ID {
		t.Errorf("%q, seen by %q", m.Content(), m.Only)
	}
}

// never is longer than any test.
const never = time.Hour

// Answers at once; further ones for one person follow, and each is seen by those
// whom it is for.
func TestAnswersAtOnce(t *testing.T) {
	for _, private := range []bool{false, true} {
		s := serve(t, discordtest.Options{})
		r, did := asked(t, s, private, never)
		first, err := r.say(t.Context(), full("fen/1/0"), []made{{"table.png", "a table", []byte("PICTURE")}}, private)
		if err != nil {
			t.Fatal(err)
		}
		second, err := r.say(t.Context(), told("fen/2/0", "More."), nil, private)
		if private && (err != nil || second.Ref == first.Ref) || !private && !errors.Is(err, errOver) {
			t.Errorf("%+v, %v", second, err)
		}
		r.end(t.Context())
		m, _ := did.Message()
		if got, _ := did.Answered(); got.Type != discordtest.AnswerMessage || m.ID != first.Ref || len(m.Attachments) != 1 {
			t.Errorf("answered with %+v", got)
		}
		all := s.Messages(fen.Channel)
		for _, m := range all {
			if (m.Only == fen.ID) != private {
				t.Errorf("seen by %q", m.Only)
			}
		}
		want := 1 // further posts for all are messages of their own
		if private {
			want = 2
		}
		if len(all) != want {
			t.Errorf("%d messages", len(all))
		}
		for _, q := range s.Requests() {
			if strings.Contains(q.Path, "interactions/") && q.Header.Get("Authorization") != "" {
				t.Error("the bot's token went along with an answer")
			}
		}
	}
}

// What takes long is promised, and the first post keeps the promise; where none
// comes it is taken back.
func TestPromises(t *testing.T) {
	for _, says := range []bool{true, false} {
		s := serve(t, discordtest.Options{})
		r, did := asked(t, s, true, time.Millisecond)
		if a := did.Answer(t.Context()); a.Type != discordtest.AnswerDeferred {
			t.Fatalf("promised with %+v", a)
		}
		if says {
			if got, err := r.say(t.Context(), told("fen/1/0", "At last."), nil, true); err != nil {
				t.Error(err)
			} else if m, _ := did.Message(); m.ID != got.Ref || m.Loading || m.Content() != `At last\.` || m.Only != fen.ID {
				t.Errorf("kept as %+v", m)
			}
		}
		r.end(t.Context())
		want := 0
		if says {
			want = 1
		}
		if n := len(s.Messages(fen.Channel)); n != want {
			t.Errorf("%d messages, want %d", n, want)
		}
	}
}

// An answer that was taken and never confirmed is not given twice.
func TestAnswerStandsOnce(t *testing.T) {
	s := serve(t, discordtest.Options{})
	r, did := asked(t, s, false, never)
	s.Fail(discordtest.Fault{Path: "/callback", After: true})
	if _, err := r.say(t.Context(), told("fen/1/0", "Once."), nil, false); err != nil {
		t.Fatal(err)
	}
	if m, _ := did.Message(); len(s.Messages(fen.Channel)) != 1 || m.Content() != `Once\.` {
		t.Errorf("there stands %+v", s.Messages(fen.Channel))
	}
}

// Too late for a first answer, too late for a later one: the caller is told.
func TestAnswersTooLate(t *testing.T) {
	var mu sync.Mutex
	at := time.Now()
	pass := func(d time.Duration) {
		mu.Lock()
		defer mu.Unlock()
		at = at.Add(d)
	}
	s := serve(t, discordtest.Options{Now: func() time.Time {
		mu.Lock()
		defer mu.Unlock()
		return at
	}})
	r, _ := asked(t, s, false, never)
	pass(discordtest.AnswerWithin + time.Second)
	if _, err := r.say(t.Context(), told("fen/1/0", "x"), nil, false); !errors.Is(err, errOver) {
		t.Errorf("after 4 s: %v", err)
	}
	r, _ = asked(t, s, false, never)
	if _, err := r.say(t.Context(), told("fen/2/0", "x"), nil, false); err != nil {
		t.Fatal(err)
	}
	pass(discordtest.TokenLasts - time.Second)
	if _, err := r.say(t.Context(), told("fen/3/0", "x"), nil, true); err != nil {
		t.Errorf("within 15 minutes: %v", err)
	}
	pass(2 * time.Second)
	_, err := r.say(t.Context(), told("fen/4/0", "x"), nil, true)
	if !errors.Is(err, errOver) || strings.Contains(err.Error(), "interaction-secret") {
		t.Errorf("after the token's time: %v", err)
	}
}

// The promise comes early enough to arrive.
func TestPatience(t *testing.T) {
	w, err := wire(Config{})
	if err != nil || w.patience != deferAfter || 2*deferAfter > discordtest.AnswerWithin {
		t.Errorf("promised after %v, %v", w.patience, err)
	}
}
