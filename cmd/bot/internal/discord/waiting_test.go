package discord

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

// refuses is a player's stage on which a person takes no direct messages.
func refuses(t *testing.T, d chat.Desk, o discordtest.Options) (*player, discordtest.Who) {
	p := play(t, o, d)
	who := p.ann()
	p.Server.CloseDirect(who.ID)
	return p, who
}

// sends brings a post for one person alone.
func sends(t *testing.T, p *player, id string, who discordtest.Who, line string, change ...func(*chat.Post)) {
	t.Helper()
	post := told(id, line)
	post.To.Only = chat.Person("discord:" + who.ID)
	for _, f := range change {
		f(&post)
	}
	if r, err := p.bot.Send(t.Context(), post); err != nil || r.Ref == "" {
		t.Fatalf("%s: %+v, %v", id, r, err)
	}
}

// seen are the posts that a person sees in a channel and nobody else does.
func (p *player) seen(who discordtest.Who) (out []discordtest.Message) {
	for _, m := range p.Server.Messages(who.Channel) {
		if m.Only == who.ID {
			out = append(out, m)
		}
	}
	return out
}

// contents are what messages say.
func contents(list []discordtest.Message) string {
	var out []string
	for _, m := range list {
		out = append(out, m.Content())
	}
	return strings.Join(out, " | ")
}

// button is the custom_id of the first button of a message.
func button(t *testing.T, m discordtest.Message) string {
	t.Helper()
	rows, _ := m.Body["components"].([]any)
	for _, r := range rows {
		for _, c := range r.(map[string]any)["components"].([]any) {
			return c.(map[string]any)["custom_id"].(string)
		}
	}
	t.Fatalf("%q has no button", m.Content())
	return ""
}

// asks lets somebody ask for help, and gives what they alone saw then, once it is as much
// as expected.
func (p *player) asks(t *testing.T, who discordtest.Who, expect int) []discordtest.Message {
	t.Helper()
	before := len(p.seen(who))
	p.Server.Do(who, discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1}).Answer(t.Context())
	p.Server.Until("the answers stand there", func() bool { return len(p.seen(who)) >= before+expect })
	return p.seen(who)[before:]
}

// answers is a desk that answers everything to its author alone.
func answers(d *chattest.Desk) *chattest.Desk {
	d.Answer(func(m chat.Message) []chat.Post {
		post := told("free/"+string(m.Source), "Help.")
		post.To = chat.Destination{Place: m.Place, Only: m.Person}
		return []chat.Post{post}
	})
	return d
}

// What somebody cannot be sent waits, also while the bot starts anew. They are told
// with the next thing that they do, once; a tap shows it to them alone, with choices
// that work; then nothing is kept.
func TestWaiting(t *testing.T) {
	t.Parallel()
	d := answers(&chattest.Desk{})
	p, who := refuses(t, d, discordtest.Options{})
	sends(t, p, "fen/1/0", who, "Bo asks: counter?", func(post *chat.Post) {
		post.Choices = []chat.Choice{{Number: 3, Label: "Counter", Command: "/battle counter"}}
	})
	sends(t, p, "fen/1/0", who, "Bo asks: counter?") // sent again
	p.crash(t)
	sends(t, p, "fen/2/0", who, "The other thing.")
	got := p.asks(t, who, 2)
	if contents(got) != `Help\. | discord\.waits` {
		t.Fatalf("seen: %s", contents(got))
	}
	hint := got[1]
	if again := p.asks(t, who, 1); contents(again) != `Help\.` {
		t.Errorf("told again at once: %s", contents(again))
	}
	bo := discordtest.Who{ID: p.Server.ID(), Name: "Bo", Guild: who.Guild, Channel: who.Channel}
	p.Server.Tap(bo, hint, button(t, hint)).Answer(t.Context())
	if seen := contents(p.seen(bo)); seen != `discord\.nothing` {
		t.Errorf("another who pressed it saw %q", seen)
	}
	before := len(p.seen(who))
	p.Server.Tap(who, hint, button(t, hint)).Answer(t.Context())
	p.Server.Until("both are shown", func() bool { return len(p.seen(who)) == before+2 })
	shown := p.seen(who)[before:]
	if contents(shown) != `Bo asks\: counter\? | The other thing\.` {
		t.Fatalf("shown: %s", contents(shown))
	}
	p.Server.Tap(who, shown[0], button(t, shown[0])).Answer(t.Context())
	heard := d.Heard()
	if last := heard[len(heard)-1]; last.Tap == nil || last.Tap.Post != "fen/1/0" || last.Tap.Number != 3 {
		t.Errorf("heard %+v", last)
	}
	p.Server.Until("nothing is kept", func() bool {
		all, err := p.bot.waitingFor(who.ID)
		return err == nil && len(all) == 0
	})
	p.Server.Tap(who, hint, button(t, hint)).Answer(t.Context())
	if last := p.seen(who); last[len(last)-1].Content() != `discord\.nothing` {
		t.Errorf("pressed again: %s", contents(last))
	}
	for _, m := range p.Server.Messages(who.Channel) {
		if m.Only == "" {
			t.Errorf("all saw %q", m.Content())
		}
	}
}

// Of one person no more than mostWaiting posts wait, and no more than showAtOnce are
// shown at a time; the next tap shows the next.
func TestWaitingIsBounded(t *testing.T) {
	t.Parallel()
	p, who := refuses(t, answers(&chattest.Desk{}), discordtest.Options{})
	for i := range mostWaiting + 3 {
		sends(t, p, fmt.Sprintf("fen/%d/0", i), who, fmt.Sprint(i))
		time.Sleep(2 * time.Millisecond) // the order is that of the clock
	}
	got := p.asks(t, who, 2)
	next := got[1]
	for shown := 3; shown < mostWaiting+3; shown += showAtOnce {
		before := len(p.seen(who))
		p.Server.Tap(who, next, button(t, next)).Answer(t.Context())
		more := 1
		if shown+showAtOnce >= mostWaiting+3 {
			more = 0
		}
		p.Server.Until("some are shown", func() bool { return len(p.seen(who)) >= before+showAtOnce+more })
		now := p.seen(who)[before:]
		for i, m := range now[:showAtOnce] {
			if m.Content() != fmt.Sprint(shown+i) {
				t.Fatalf("shown after %d: %s", shown, contents(now))
			}
		}
		next = now[len(now)-1]
	}
}

// An edit of what waits is what is shown; what only says that something went wrong does
// not wait; and whoever writes to the bot gets it as a direct message after all.
func TestWaitingIsDelivered(t *testing.T) {
	t.Parallel()
	p, who := refuses(t, answers(&chattest.Desk{}), discordtest.Options{})
	sends(t, p, "fen/1/0", who, "Two orders.")
	sends(t, p, "fen/2/0", who, "Three orders.", func(post *chat.Post) { post.Edit = "fen/1/0" })
	wrong := told("free/9", "Which unit?")
	wrong.To.Only, wrong.Error = chat.Person("discord:"+who.ID), "which"
	if _, err := p.bot.Send(t.Context(), wrong); err == nil {
		t.Error("a mistake waits")
	}
	p.Server.OpenDirect(who.ID)
	p.Server.Write(discordtest.Who{ID: who.ID, Name: "Ann"}, "help")
	direct := p.Server.Direct(who.ID)
	p.Server.Until("it is delivered", func() bool { return strings.Contains(contents(p.Server.Messages(direct)), "orders") })
	if got := contents(p.Server.Messages(direct)); strings.Count(got, "orders") != 1 || !strings.Contains(got, `Three orders\.`) {
		t.Errorf("delivered: %s", got)
	}
	if r, err := p.bot.Send(t.Context(), told("fen/2/0", "Three orders.")); err != nil || r.Ref == "" {
		t.Errorf("sent again: %+v, %v", r, err)
	}
}

// An edit while as much waits as may takes nobody's place.
func TestWaitingEditsTakeNoPlace(t *testing.T) {
	t.Parallel()
	p, who := refuses(t, &chattest.Desk{}, discordtest.Options{})
	for i := range mostWaiting {
		sends(t, p, fmt.Sprintf("fen/%d/0", i), who, fmt.Sprint(i))
	}
	for i := range 3 {
		sends(t, p, fmt.Sprintf("fen/%d/0", mostWaiting+i), who, "anew", func(post *chat.Post) { post.Edit = "fen/5/0" })
	}
	all, err := p.bot.waitingFor(who.ID)
	if err != nil || len(all) != mostWaiting {
		t.Errorf("%d wait, %v", len(all), err)
	}
}

// What waits can be changed for as long as it does, also what would have been shown in
// a place: words that are hidden then are shown to nobody.
func TestWaitingIsChangedLater(t *testing.T) {
	t.Parallel()
	now := newHours()
	p, who := refuses(t, &chattest.Desk{}, discordtest.Options{Now: now.now})
	there := func(post *chat.Post) { post.To.Place = placeOf(who.Channel) }
	sends(t, p, "fen/1/0", who, "that oaf Bo", there)
	if err := p.bot.sweep(t.Context(), now.now().Add(keepWhispers+time.Hour)); err != nil {
		t.Fatal(err)
	}
	sends(t, p, "fen/1/1", who, "(words hidden)", there, func(post *chat.Post) { post.Edit = "fen/1/0" })
	all, err := p.bot.waitingFor(who.ID)
	if err != nil || len(all) != 1 || all[0].post.Lines[0][0].Text != "(words hidden)" {
		t.Errorf("%+v, %v", all, err)
	}
}

// What nobody came for is thrown away.
func TestWaitingEnds(t *testing.T) {
	t.Parallel()
	now := newHours()
	p, who := refuses(t, &chattest.Desk{}, discordtest.Options{Now: now.now})
	sends(t, p, "fen/1/0", who, "Bo asks: counter?")
	for _, after := range []struct {
		age  time.Duration
		left int
	}{{keepWaiting - time.Hour, 1}, {keepWaiting + time.Hour, 0}} {
		if err := p.bot.sweep(t.Context(), now.now().Add(after.age)); err != nil {
			t.Fatal(err)
		}
		if all, err := p.bot.waitingFor(who.ID); err != nil || len(all) != after.left {
			t.Errorf("after %v: %d wait, %v", after.age, len(all), err)
		}
	}
}

// TestForgottenWhisper: an edit of what one person saw, and of which it is no longer
// known where it stands, is not shown to all.
func TestForgottenWhisper(t *testing.T) {
	t.Parallel()
	p := play(t, discordtest.Options{}, answers(&chattest.Desk{}))
	who := p.ann()
	edit := told("fen/1/1", "Your own odds.")
	edit.To, edit.Edit = chat.Destination{Place: placeOf(who.Channel), Only: chat.Person("discord:" + who.ID)}, "fen/1/0"
	if _, err := p.bot.Send(t.Context(), edit); err != nil {
		t.Fatal(err)
	}
	for _, m := range p.Server.Messages(who.Channel) {
		if m.Only == "" {
			t.Errorf("all saw %q", m.Content())
		}
	}
}
