package discord

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
	"drumhead/commands/chatscript"
)

// crash stops the adapter and starts another one on the same pocket.
func (p *player) crash(t testing.TB) {
	t.Helper()
	p.stop()
	<-p.end
	p.start(t)
}

// hours is a clock that tests set forward; Discord and the bot share it.
type hours struct {
	mu sync.Mutex
	at time.Time
}

func (h *hours) now() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.at
}

func (h *hours) pass(d time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.at = h.at.Add(d)
}

func newHours() *hours { return &hours{at: time.Now().UTC().Truncate(time.Second)} }

// powerCut makes every commit of the pocket that holds a key fail once: the bot
// has done something and does not know it.
func powerCut(p *chattest.Pocket, key string) {
	cut := false
	p.Fail(func(changes map[string][]byte) error {
		for k := range changes {
			if strings.HasPrefix(k, key) && !cut {
				cut = true
				return errors.New("the power failed")
			}
		}
		return nil
	})
}

// The table of crash points. Each row says what happened before the crash, what
// the world was like after it, and how often the post stands there when it was
// sent again.
func TestCrashPoints(t *testing.T) {
	for _, c := range []struct {
		what  string
		fault discordtest.Fault // of the first try
		cut   string            // the commit that fails
		after time.Duration     // until it is sent again
		then  func(*player)
		times int
		again bool // it says that it is a repeat
	}{
		{what: "before anything was sent", fault: discordtest.Fault{Status: 500, Times: 4}, times: 1},
		{what: "sent, and the answer lost", fault: discordtest.Fault{After: true}, times: 1},
		{what: "sent, and not noted", cut: keyPost, times: 1},
		{what: "not sent, and its first try not noted", cut: keyTry, times: 1},
		{what: "noted, and not marked", times: 1},
		{what: "sent, not noted, and Discord has forgotten its nonce", cut: keyPost, after: time.Hour, times: 1},
		{what: "the same, with a message of its like beside it", cut: keyPost, after: time.Hour, times: 1, then: func(p *player) {
			if _, err := p.bot.Send(context.Background(), toFen(p, "fen/8/0", "Something else.")); err != nil {
				panic(err)
			}
		}},
		{what: "the same, and nobody may read there", cut: keyPost, after: time.Hour, times: 2, again: true,
			then: func(p *player) {
				p.Server.Fail(discordtest.Fault{Method: "GET", Path: "messages", Status: 403, Code: 50001, Times: -1})
			}},
		{what: "sent, not noted, and deleted by a moderator", cut: keyPost, times: 0, then: func(p *player) {
			p.Server.Delete(p.Server.Messages(fenChannel(p))[0].ID)
		}},
	} {
		t.Run(c.what, func(t *testing.T) {
			t.Parallel()
			now := newHours()
			p := play(t, discordtest.Options{Now: now.now}, &chattest.Desk{})
			post := toFen(p, "fen/7/0", "Riders held. #7")
			if c.fault.Status != 0 || c.fault.After {
				c.fault.Path = "messages"
				p.Server.Fail(c.fault)
			}
			if c.cut != "" {
				powerCut(p.pocket, c.cut)
			}
			if _, err := p.bot.Send(t.Context(), post); c.cut != "" && err == nil {
				t.Fatal("the cut was not felt")
			}
			p.crash(t)
			now.pass(c.after)
			if c.then != nil {
				c.then(p)
			}
			first, err := p.bot.Send(t.Context(), post)
			if err != nil {
				t.Fatal(err)
			}
			second, err := p.bot.Send(t.Context(), post)
			if err != nil || first.Ref != second.Ref || !first.Time.Equal(second.Time) {
				t.Errorf("receipts %+v and %+v, %v", first, second, err)
			}
			times, again := 0, false
			for _, m := range p.Server.Messages(fenChannel(p)) {
				if strings.Contains(m.Content(), "Riders") {
					times++
					again = strings.Contains(m.Content(), "discord\\.again")
				}
			}
			if times != c.times || again != c.again {
				t.Errorf("it stands there %d times, want %d; says that it is a repeat: %v", times, c.times, again)
			}
		})
	}
}

func fenChannel(p *player) string { return strings.TrimPrefix(string(p.Place("#fen")), "discord:") }

func toFen(p *player, id, text string) chat.Post {
	post := told(id, text)
	post.To.Place = p.Place("#fen")
	return post
}

// The same for answers to what somebody did: the desk has stored the post, and the
// bot crashed somewhere between.
func TestCrashPointsOfAnswers(t *testing.T) {
	for _, c := range []struct {
		what    string
		said    bool // the answer went out before the crash, and was not noted
		promise bool // it was promised before the crash
		after   time.Duration
		answers bool // it stands as the answer
	}{
		{what: "before the answer", answers: true},
		{what: "after the answer", said: true, answers: true},
		{what: "after the answer, a while later", said: true, after: 5 * time.Minute, answers: true},
		{what: "after the promise", promise: true, answers: true},
		{what: "after the promise, a while later", promise: true, after: 5 * time.Minute, answers: true},
		{what: "before the answer, and too late for one", after: 10 * time.Second},
		{what: "before the answer, and its token is over", after: 16 * time.Minute},
		{what: "after the promise, and its token is over", promise: true, after: 16 * time.Minute},
	} {
		t.Run(c.what, func(t *testing.T) {
			t.Parallel()
			now := newHours()
			d := &stopper{stop: make(chan struct{}), heard: make(chan chat.Message, 1)}
			p := play(t, discordtest.Options{Now: now.now}, d)
			i := p.Server.Do(discordtest.Who{ID: "4194304011", Name: "Ann", Guild: discordtest.StageGuild, Channel: fenChannel(p)},
				discordtest.SlashCommand, map[string]any{"id": "1", "name": "roll", "type": 1, "options": []any{map[string]any{"name": "dice", "type": 3, "value": "2d6"}}})
			m := <-d.heard
			post := toFen(p, "fen/7/0", "Riders held. #7")
			post.Answers = m.Source
			if c.promise {
				p.bot.reply(m.Source).promise(t.Context())
			}
			if c.said {
				powerCut(p.pocket, keyPost)
				if _, err := p.bot.Send(t.Context(), post); err == nil {
					t.Fatal("the cut was not felt")
				}
			}
			close(d.stop) // the desk is gone with the bot, and answers nothing
			p.crash(t)
			now.pass(c.after)
			for range 2 {
				if _, err := p.bot.Send(t.Context(), post); err != nil {
					t.Fatal(err)
				}
			}
			first, _ := i.Message()
			standing := 0
			for _, m := range p.Server.Messages(fenChannel(p)) {
				if strings.Contains(m.Content(), "Riders") {
					standing++
				}
			}
			if answers := strings.Contains(first.Content(), "Riders"); standing != 1 || answers != c.answers {
				t.Errorf("it stands there %d times, as the answer: %v, want %v", standing, answers, c.answers)
			}
		})
	}
}

// stopper is a desk that has stored the answer and never comes back.
type stopper struct {
	heard chan chat.Message
	stop  chan struct{}
}

func (d *stopper) Handle(_ context.Context, m chat.Message) ([]chat.Post, error) {
	d.heard <- m
	<-d.stop
	return nil, context.Canceled
}

func (d *stopper) Complete(context.Context, chat.Message) []chat.Suggestion { return nil }

// An edit that was made and not noted is made again, and changes nothing; one of
// a message that cannot be edited any more becomes a new message, and the next
// edit finds that one.
func TestEditsAcrossACrash(t *testing.T) {
	t.Parallel()
	now := newHours()
	p := play(t, discordtest.Options{Now: now.now}, &chattest.Desk{})
	send := func(id, edit, text string) {
		t.Helper()
		post := toFen(p, id, text)
		post.Edit = chat.PostID(edit)
		if _, err := p.bot.Send(t.Context(), post); err != nil {
			t.Fatal(err)
		}
	}
	stands := func(want ...string) {
		t.Helper()
		var got []string
		for _, m := range p.Server.Messages(fenChannel(p)) {
			got = append(got, m.Content())
		}
		if strings.Join(got, "|") != strings.Join(want, "|") {
			t.Errorf("there stands %q, want %q", got, want)
		}
	}
	send("fen/1/0", "", "Turn 1")
	powerCut(p.pocket, keyPost)
	post := toFen(p, "fen/2/0", "Turn 2")
	post.Edit = "fen/1/0"
	if _, err := p.bot.Send(t.Context(), post); err == nil {
		t.Fatal("the cut was not felt")
	}
	p.crash(t)
	send("fen/2/0", "fen/1/0", "Turn 2")
	stands("Turn 2")
	now.pass(2 * time.Hour)
	p.Server.Fail(discordtest.Fault{Method: "PATCH", Status: 429, Code: 30046})
	send("fen/3/0", "fen/1/0", "Turn 3")
	stands("Turn 2", "Turn 3")
	p.crash(t)
	send("fen/4/0", "fen/1/0", "Turn 4")
	stands("Turn 2", "Turn 4")
}

// A body that Discord refuses as wrong is tried three times and then given up, so
// that it stops nothing that comes after it.
func TestWrongBodyIsGivenUp(t *testing.T) {
	t.Parallel()
	p := play(t, discordtest.Options{}, &chattest.Desk{})
	p.Server.Fail(discordtest.Fault{Method: "POST", Path: "/messages", Status: 400, Code: 50035, Times: -1})
	for n := 1; n <= mostWrong; n++ {
		_, err := p.bot.Send(t.Context(), toFen(p, "fen/1/0", "x"))
		if n < mostWrong && !errors.Is(err, chat.ErrLater) || n == mostWrong && !errors.Is(err, chat.ErrGone) {
			t.Errorf("try %d: %v", n, err)
		}
	}
	if !strings.Contains(p.log.String(), "fault of the bot") {
		t.Error("nobody was told")
	}
}

// Where the bot may not speak it tries no more, tells once which permission is
// missing, and goes on when it sees that it may.
func TestMutedPlaces(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{}, d)
	forbid := discordtest.Fault{Method: "POST", Path: "channels/" + fenChannel(p) + "/messages", Status: 403, Code: 50013, Times: -1}
	p.Server.Fail(forbid)
	for range 2 {
		if _, err := p.bot.Send(t.Context(), toFen(p, "fen/1/0", "x")); !errors.Is(err, chat.ErrMuted) {
			t.Errorf("refused with %v", err)
		}
	}
	tries := func() (n int) {
		for _, q := range p.Server.Requests() {
			if strings.HasSuffix(q.Path, "channels/"+fenChannel(p)+"/messages") {
				n++
			}
		}
		return n
	}
	if n := tries(); n != 1 {
		t.Errorf("%d tries where it was refused", n)
	}
	p.crash(t) // it is not forgotten
	d.Answer(func(m chat.Message) []chat.Post { return []chat.Post{told("", "Heard.")}[:0] })
	who := discordtest.Who{ID: "4194304011", Name: "Ann", Guild: discordtest.StageGuild, Channel: fenChannel(p), Bot: "1024"}
	ask := func() {
		t.Helper()
		i := p.Server.Do(who, discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1})
		i.Answer(t.Context())
	}
	said := func() (n int) {
		for _, m := range p.Server.Messages(fenChannel(p)) {
			if strings.Contains(m.Content(), "discord\\.muted") && strings.Contains(m.Content(), "Send Messages") && m.Only == who.ID {
				n++
			}
		}
		return n
	}
	ask()
	p.Server.Until("what is missing was told", func() bool { return said() == 1 })
	ask()
	if err := p.Say(t.Context(), chatscript.Message{Name: "bo", Place: "#hill", Text: "/help"}); err != nil {
		t.Fatal(err)
	}
	if n := said(); n != 1 {
		t.Errorf("told %d times", n)
	}
	p.Server.Heal()
	who.Bot = ""
	ask()
	p.Server.Until("it may speak again", func() bool {
		_, err := p.bot.Send(t.Context(), toFen(p, "fen/2/0", "At last."))
		return err == nil
	})
}

// The board stays in sight: it is pinned, edited in place, and where it cannot be
// edited any more the new one is pinned and the old one taken down. Where the bot
// may not pin it stands there without.
func TestBoardStaysInSight(t *testing.T) {
	t.Parallel()
	now := newHours()
	p := play(t, discordtest.Options{Now: now.now}, &chattest.Desk{})
	board := func(id, text string) string {
		t.Helper()
		post := toFen(p, id, text)
		post.Pin = true
		if id != "fen/1/1" {
			post.Edit = "fen/1/1"
		}
		r, err := p.bot.Send(t.Context(), post)
		if err != nil {
			t.Fatal(err)
		}
		return r.Ref
	}
	pinned := func(want ...string) {
		t.Helper()
		if got := p.Server.Channel(fenChannel(p)).Pins; strings.Join(got, " ") != strings.Join(want, " ") {
			t.Errorf("pinned %v, want %v", got, want)
		}
	}
	first := board("fen/1/1", "Turn 1.")
	pinned(first)
	if again := board("fen/2/1", "Turn 2."); again != first {
		t.Errorf("edited as %s, not %s", again, first)
	}
	pinned(first)
	p.Server.Delete(first)
	second := board("fen/3/1", "Turn 3.")
	if second == first {
		t.Error("a deleted board was edited")
	}
	p.Server.Fail(discordtest.Fault{Path: "/pins/", Status: 403, Code: 50013, Times: -1})
	p.Server.Delete(second)
	if third := board("fen/4/1", "Turn 4."); third == second {
		t.Error("a deleted board was edited")
	}
}

// A bot that was taken out, refused, and invited again speaks again by itself.
func TestInvitedAgain(t *testing.T) {
	t.Parallel()
	p := play(t, discordtest.Options{}, &chattest.Desk{})
	fen := fenChannel(p)
	p.Server.Dispatch("GUILD_DELETE", discordtest.StageGuild, map[string]any{"id": discordtest.StageGuild})
	p.Server.Fail(discordtest.Fault{Path: "channels/" + fen, Status: 403, Code: 50001, Times: -1})
	for _, id := range []string{"fen/1/0", "fen/2/0"} {
		if _, err := p.bot.Send(t.Context(), toFen(p, id, "Your move.")); !errors.Is(err, chat.ErrMuted) {
			t.Errorf("%s: %v", id, err)
		}
	}
	p.Server.Heal()
	p.Server.Dispatch("GUILD_CREATE", discordtest.StageGuild, map[string]any{"id": discordtest.StageGuild, "joined_at": "2026-10-11T17:00:00Z",
		"channels": []any{map[string]any{"id": fen, "type": 0}}, "threads": []any{}})
	p.Server.Until("it may speak again", func() bool { return p.bot.muted(fen) == nil })
	if _, err := p.bot.Send(t.Context(), toFen(p, "fen/3/0", "Your move.")); err != nil {
		t.Error(err)
	}
}

// Who takes no direct messages sees the answer where they asked, alone.
func TestClosedDirectMessages(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{}, d)
	d.Answer(func(m chat.Message) []chat.Post {
		post := told("private/"+string(m.Source), "To keep.")
		post.To.Only = m.Person
		return []chat.Post{post}
	})
	who := p.ann()
	p.Server.CloseDirect(who.ID)
	i := p.Server.Do(who, discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1})
	if got := p.does(t, i); got != `To keep\.` {
		t.Errorf("answered with %q", got)
	}
	if m, _ := i.Message(); m.Only != who.ID {
		t.Error("all saw it")
	}
}

// What is stored may be sent a while after the desk is done: it is the answer all
// the same. Where nothing comes the person is not left waiting.
func TestAnswersFromElsewhere(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{}, d)
	i := p.Server.Do(p.ann(), discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1})
	p.Server.Until("heard", func() bool {
		heard := d.Heard()
		if len(heard) == 0 {
			return false
		}
		post := toFen(p, "fen/1/0", "From the outbox.")
		post.Answers = heard[0].Source
		if _, err := p.bot.Send(t.Context(), post); err != nil {
			t.Error(err)
		}
		return true
	})
	if got := p.does(t, i); got != `From the outbox\.` {
		t.Errorf("answered with %q", got)
	}
	silent := p.Server.Do(p.ann(), discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1})
	silent.Answer(t.Context())
	p.Server.Until("nothing is left of the promise", func() bool {
		m, _ := silent.Message()
		return m.Deleted
	})
}

// A process that has only some of the shards sends people with private commands
// to their server, where only they see the answer.
func TestPrivateCommandsOfShards(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{Shards: 2}, d, func(s *Settings, _ *Parts) { s.Shards = "0/2" })
	who := p.ann()
	who.Guild, who.Channel = "", p.Server.Direct(who.ID)
	i := p.Server.Do(who, discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1})
	if got := p.does(t, i); !strings.HasPrefix(got, `discord\.refuse\.private`) {
		t.Errorf("answered with %q", got)
	}
	p.Server.Write(who, "hello")
	p.Server.Until("told again", func() bool { return len(p.Server.Messages(who.Channel)) == 2 })
	if heard := d.Heard(); len(heard) > 0 {
		t.Errorf("the desk heard %+v", heard)
	}
}

// Anybody's message can be taken as orders by who picks it.
func TestUseAsOrders(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{}, d)
	m := discordtest.Message{ID: p.Server.ID(), Channel: fenChannel(p), Author: "99", Body: map[string]any{"content": "move Pikes to 30,12\nhold Mortar"}}
	p.Server.Menu(p.ann(), m, "Use as orders").Answer(t.Context())
	if heard := d.Heard(); len(heard) != 1 || heard[0].Text != "/order\nmove Pikes to 30,12\nhold Mortar" || heard[0].Person != "discord:4194304011" {
		t.Errorf("heard %+v", heard)
	}
}

// Where a server's own rules stop a post, it goes without what people wrote, and
// says so; the bot's own words are never cut, strangers' are.
func TestWhatAServerStops(t *testing.T) {
	t.Parallel()
	p := play(t, discordtest.Options{}, &chattest.Desk{})
	p.Server.Fail(discordtest.Fault{Method: "POST", Path: "/messages", Status: 400, Code: 200000})
	post := toFen(p, "fen/1/0", "Ann: ")
	post.Lines[0] = append(post.Lines[0], chat.Span{Kind: chat.Said, Text: "rude"})
	if _, err := p.bot.Send(t.Context(), post); err != nil {
		t.Fatal(err)
	}
	if got := p.Server.Messages(fenChannel(p))[0].Content(); got != "Ann\\: …\ndiscord\\.plainer" {
		t.Errorf("there stands %q", got)
	}
	long := strings.Repeat("weir ", 300)
	for kind, want := range map[chat.Kind]int{chat.Plain: 1500, chat.Said: mostWords + 1} {
		if got := text(chat.Post{Lines: []chat.Line{{{Kind: kind, Text: long}}}}); len([]rune(got)) != want {
			t.Errorf("%s is %d characters, want %d", kind, len([]rune(got)), want)
		}
	}
}

// One more answer for one person has no nonce and can be read by nobody: where it is
// not known whether it stands there it is said again, and says so.
func TestFurtherAnswersSayThatTheyRepeat(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{}, d)
	d.Answer(func(m chat.Message) []chat.Post {
		post := told("first/"+string(m.Source), "First.")
		post.To.Place = m.Place
		return []chat.Post{post}
	})
	i := p.Server.Do(p.ann(), discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1})
	i.Answer(t.Context())
	more := toFen(p, "fen/1/0", "A glance.")
	more.To.Only = chat.Person("discord:" + p.ann().ID)
	p.Server.Fail(discordtest.Fault{Path: "webhooks/", After: true})
	if _, err := p.bot.Send(t.Context(), more); !errors.Is(err, chat.ErrLater) {
		t.Fatalf("%v", err)
	}
	if _, err := p.bot.Send(t.Context(), more); err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, m := range p.Server.Messages(fenChannel(p)) {
		got = append(got, m.Only+": "+m.Content())
	}
	who := p.ann().ID
	if want := []string{": First\\.", who + ": A glance\\.", who + ": discord\\.again\nA glance\\."}; strings.Join(got, "|") != strings.Join(want, "|") {
		t.Errorf("there stands %q, want %q", got, want)
	}
}

// slow is a desk that takes longer than a person is left without a sign, and then
// refuses, for its author alone.
type slow struct{ chattest.Desk }

func (s *slow) Handle(_ context.Context, m chat.Message) ([]chat.Post, error) {
	time.Sleep(100 * time.Millisecond)
	p := told("no/"+string(m.Source), "Not so.")
	p.To = chat.Destination{Place: m.Place, Only: m.Person}
	return []chat.Post{p}, nil
}

// A promise that all see and that a refusal follows is taken back: only who asked
// sees the refusal.
func TestPublicPromiseOfARefusal(t *testing.T) {
	t.Parallel()
	p := play(t, discordtest.Options{}, &slow{})
	p.bot.w.patience = 10 * time.Millisecond
	i := p.Server.Do(p.ann(), discordtest.SlashCommand, map[string]any{"id": "1", "name": "roll", "type": 1, "options": []any{map[string]any{"name": "dice", "type": 3, "value": "0d6"}}})
	if a := i.Answer(t.Context()); a.Type != discordtest.AnswerDeferred {
		t.Fatalf("answered by %+v", a)
	}
	p.Server.Until("the refusal stands alone", func() bool {
		all := p.Server.Messages(fenChannel(p))
		return len(all) == 1 && all[0].Only == p.ann().ID && all[0].Content() == `Not so\.`
	})
}

// A second process with the same token and shard ends at once with a sentence.
func TestSecondProcessRefuses(t *testing.T) {
	t.Parallel()
	p := play(t, discordtest.Options{}, &chattest.Desk{})
	again := adapterFor(t, settingsFor(t, p.Server), p.log)
	if err := again.Run(t.Context(), &chattest.Desk{}); !errors.Is(err, errTwice) {
		t.Errorf("ended with %v", err)
	}
	if n := len(p.Server.Lines().Identifies); n != 1 {
		t.Errorf("%d sessions were begun", n)
	}
}
