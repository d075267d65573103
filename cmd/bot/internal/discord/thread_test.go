package discord

import (
	"strings"
	"testing"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

// battle is a post of a battle's conversation in #fen.
func battle(p *player, id, text string) chat.Post {
	post := toFen(p, id, text)
	post.To.Thread = "Drowned Bridge #6"
	return post
}

// A battle has a thread under its first post; what is said in the thread is said in
// the channel, and is answered where it was said.
func TestThreadOfABattle(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{}, d)
	fen := fenChannel(p)
	for _, id := range []string{"fen/6/0", "fen/6/1", "fen/7/0"} {
		if _, err := p.bot.Send(t.Context(), battle(p, id, "Post "+id)); err != nil {
			t.Fatal(err)
		}
	}
	threads := p.Server.Threads(fen)
	if len(threads) != 1 || p.Server.Channel(threads[0]).Name != "Drowned Bridge #6" {
		t.Fatalf("threads %v", threads)
	}
	thread := threads[0]
	if here, there := len(p.Server.Messages(fen)), len(p.Server.Messages(thread)); here != 1 || there != 2 {
		t.Errorf("%d in the channel, %d in the thread", here, there)
	}
	who := p.ann()
	who.Channel = thread
	d.Answer(func(m chat.Message) []chat.Post {
		if m.Place != p.Place("#fen") {
			t.Errorf("heard in %s", m.Place)
		}
		return []chat.Post{battle(p, "fen/8/0", "Answered.")}
	})
	i := p.Server.Do(who, discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1})
	if got := p.does(t, i); got != `Answered\.` {
		t.Errorf("answered with %q", got)
	}
	d.Answer(func(chat.Message) []chat.Post { return nil })
	edit := battle(p, "fen/9/1", "Turn 2")
	edit.Edit = "fen/6/1"
	if _, err := p.bot.Send(t.Context(), edit); err != nil {
		t.Fatal(err)
	}
	if m := p.Server.Messages(thread); m[0].Content() != "Turn 2" {
		t.Errorf("the board stands as %q", m[0].Content())
	}
	if own, err := p.bot.Own(t.Context(), p.Place("#fen"), 10); err != nil || len(own) != 4 || own[3].Post != "fen/6/0" {
		t.Errorf("own posts %+v, %v", own, err)
	}
}

// Where a thread cannot be started, was locked or deleted, the game goes on in the
// channel; one that was started before a crash is found again.
func TestThreadsThatCannotBe(t *testing.T) {
	for _, c := range []struct {
		what  string
		fault discordtest.Fault
		then  func(p *player, thread string)
		crash bool
		here  int // of three posts, in the channel
	}{
		{what: "too many", fault: discordtest.Fault{Path: "/threads", Status: 400, Code: 160006}, here: 3},
		{what: "not allowed", fault: discordtest.Fault{Path: "/threads", Status: 403, Code: 50013}, here: 3},
		{what: "locked", then: func(p *player, thread string) {
			p.Server.Change(thread, func(c *discordtest.Channel) { c.Locked = true })
		}, here: 3},
		{what: "deleted", then: func(p *player, thread string) {
			p.Server.Change(thread, func(c *discordtest.Channel) { c.Gone = true })
		}, here: 3},
		{what: "out for a while", fault: discordtest.Fault{Path: "/threads", Status: 500, Times: 4}, here: 2},
		{what: "started, and the answer lost", fault: discordtest.Fault{Path: "/threads", After: true}, here: 1},
		{what: "started, and not noted", crash: true, here: 1},
	} {
		t.Run(c.what, func(t *testing.T) {
			t.Parallel()
			p := play(t, discordtest.Options{}, &chattest.Desk{})
			if c.fault.Path != "" {
				p.Server.Fail(c.fault)
			}
			if c.crash {
				powerCut(p.pocket, keyThread)
			}
			_, err := p.bot.Send(t.Context(), battle(p, "fen/6/0", "Begun."))
			if (err != nil) != c.crash {
				t.Fatal(err)
			}
			if c.crash {
				p.crash(t)
				if _, err := p.bot.Send(t.Context(), battle(p, "fen/6/0", "Begun.")); err != nil {
					t.Fatal(err)
				}
			}
			if threads := p.Server.Threads(fenChannel(p)); c.then != nil {
				c.then(p, threads[0])
			}
			for _, id := range []string{"fen/7/0", "fen/8/0"} {
				if _, err := p.bot.Send(t.Context(), battle(p, id, "Post "+id)); err != nil {
					t.Fatal(err)
				}
			}
			if got := p.Server.Messages(fenChannel(p)); len(got) != c.here {
				var all []string
				for _, m := range got {
					all = append(all, m.Content())
				}
				t.Errorf("in the channel: %s, want %d", strings.Join(all, " | "), c.here)
			}
		})
	}
}
