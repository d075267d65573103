package discord

import (
	"context"
	"errors"
	"net/http"
	"testing"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"
)

// Every JSON error code that a post can meet has its outcome. Statuses are those
// that Discord answers them with where the documentation says so, else likely ones.
func TestOutcomes(t *testing.T) {
	s := serve(t, discordtest.Options{})
	for _, c := range []struct {
		status, code int
		want         outcome
		fault        error
	}{
		{404, 10003, placeGone, chat.ErrGone}, {404, 10004, placeGone, chat.ErrGone}, {404, 10008, anew, chat.ErrLater},
		{404, 10015, byMessage, chat.ErrLater}, {404, 10062, byMessage, chat.ErrLater},
		{403, 20016, later, chat.ErrLater}, {403, 20028, later, chat.ErrLater}, {400, 30034, keepCommands, chat.ErrLater}, {400, 30046, anew, chat.ErrLater},
		{400, 40005, smaller, chat.ErrLater}, {413, 0, smaller, chat.ErrLater}, {400, 40058, asForumPost, chat.ErrLater}, {400, 40060, onOriginal, chat.ErrLater},
		{400, 40067, withTag, chat.ErrLater}, {403, 50001, muted, chat.ErrMuted}, {403, 50007, inPlace, chat.ErrMuted}, {403, 50013, muted, chat.ErrMuted},
		{400, 50035, wrongBody, chat.ErrLater}, {400, 50083, reopened, chat.ErrLater}, {400, 160004, taken, nil}, {400, 160005, inParent, chat.ErrMuted},
		{400, 160006, inChannel, chat.ErrLater}, {403, 200000, plainer, chat.ErrLater}, {403, 240000, plainer, chat.ErrLater}, {403, 400001, plainer, chat.ErrLater},
		{403, 999999, muted, chat.ErrMuted}, {404, 999999, placeGone, chat.ErrGone}, {400, 999999, wrongBody, chat.ErrLater}, {500, 0, later, chat.ErrLater},
		{401, 50027, byMessage, chat.ErrLater}, {401, 0, stop, chat.ErrLater},
	} {
		w, _ := wired(t, s) // a refused token closes its own wires alone
		s.Heal()
		s.Fail(discordtest.Fault{Path: "channels/21", Status: c.status, Code: c.code, Times: -1})
		how := post("channels/21/messages")
		how.body = compose(chat.Post{Lines: []chat.Line{said("x")}})
		got := outcomeOf(w.api.do(t.Context(), how, nil), how)
		if got != c.want || !errors.Is(got.fault(), c.fault) {
			t.Errorf("%d of %d: %s, %v, want %s, %v", c.code, c.status, got, got.fault(), c.want, c.fault)
		}
	}
}

// A post with a nonce whose message was deleted meanwhile was sent all the same:
// it must not be sent again.
func TestDeletedPostCountsAsSent(t *testing.T) {
	s := serve(t, discordtest.Options{})
	w, _ := wired(t, s)
	m := compose(chat.Post{Lines: []chat.Line{said("x")}})
	m.Nonce, m.Enforce = nonce("discord:21", "fen/1/0"), true
	c := call{method: http.MethodPost, path: "channels/21/messages", body: m, safe: true}
	if err := w.api.do(t.Context(), c, nil); err != nil {
		t.Fatal(err)
	}
	s.Delete(s.Messages("21")[0].ID)
	if got := outcomeOf(w.api.do(t.Context(), c, nil), c); got != taken {
		t.Errorf("sent again: %s", got)
	}
	over, cancel := context.WithCancel(t.Context())
	cancel()
	if got := outcomeOf(w.api.do(over, c, nil), c); got != later {
		t.Errorf("after the end: %s", got)
	}
}
