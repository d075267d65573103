package discord

import (
	"strings"
	"testing"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

// A round of a campaign that lives in a forum is also a post of the forum, once; a
// forum that asks for a tag gets one; elsewhere, and where it is refused, the place
// alone has it.
func TestPagesOfAForum(t *testing.T) {
	for _, c := range []struct {
		what  string
		forum discordtest.Channel
		fault discordtest.Fault
		cut   bool
		pages int
	}{
		{what: "a forum", forum: discordtest.Channel{Type: discordtest.Forum}, pages: 1},
		{what: "a forum with tags", forum: discordtest.Channel{Type: discordtest.Forum, NeedsTag: true, Tags: []string{"71", "72"}}, pages: 1},
		{what: "a forum that lets nobody tag", forum: discordtest.Channel{Type: discordtest.Forum, NeedsTag: true, Tags: []string{"71"}}},
		{what: "a thread of a channel"},
		{what: "not allowed", forum: discordtest.Channel{Type: discordtest.Forum}, fault: discordtest.Fault{Path: "/threads", Method: "POST", Status: 403, Code: 50013}},
		{what: "before a crash", forum: discordtest.Channel{Type: discordtest.Forum}, cut: true, pages: 1},
	} {
		t.Run(c.what, func(t *testing.T) {
			t.Parallel()
			d := &chattest.Desk{}
			p := play(t, discordtest.Options{}, d)
			c.forum.ID, c.forum.Guild = "4194304900", discordtest.StageGuild
			p.Server.Add(c.forum)
			p.Server.Add(discordtest.Channel{ID: "4194304901", Type: discordtest.PublicThread, Parent: c.forum.ID, Guild: discordtest.StageGuild, Owner: "11", Name: "Osier"})
			if c.fault.Path != "" {
				p.Server.Fail(c.fault)
			}
			post := told("osier/9/0", "The Osier Gazette, round 1.")
			post.To = chat.Destination{Place: "discord:4194304901", Page: "Osier, round 1"}
			post.Entry = 9
			if c.cut {
				powerCut(p.pocket, keyPost)
				if _, err := p.bot.Send(t.Context(), post); err == nil {
					t.Fatal("the cut was not felt")
				}
				p.crash(t)
			}
			if _, err := p.bot.Send(t.Context(), post); err != nil {
				t.Fatal(err)
			}
			pages := p.Server.Threads(c.forum.ID)
			if len(pages) != c.pages+1 || len(p.Server.Messages("4194304901")) != 1 {
				t.Fatalf("pages %v, want %d, and %d in the place", pages, c.pages, len(p.Server.Messages("4194304901")))
			}
			if c.pages == 0 {
				return
			}
			page := pages[0]
			if page == "4194304901" {
				page = pages[1]
			}
			if m := p.Server.Messages(page); p.Server.Channel(page).Name != "Osier, round 1" || !strings.Contains(m[0].Content(), "Gazette") {
				t.Errorf("%q with %+v", p.Server.Channel(page).Name, m)
			}
			who := p.ann()
			who.Channel = page
			p.Server.Do(who, discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1}).Answer(t.Context())
			if heard := d.Heard(); len(heard) != 1 || heard[0].Place != "discord:4194304901" {
				t.Errorf("heard %+v", heard)
			}
		})
	}
}

// Commands are told again only when they have changed; where the settings do not
// have them any more they are taken away, and a refusal keeps the old ones.
func TestCommandsAreToldOnce(t *testing.T) {
	t.Parallel()
	p := play(t, discordtest.Options{}, &chattest.Desk{})
	puts := func() (n int) {
		for _, q := range p.Server.Requests() {
			if q.Method == "PUT" && strings.HasSuffix(q.Path, "/commands") {
				n++
			}
		}
		return n
	}
	told := func(guild string, want int) {
		t.Helper()
		p.Server.Until("it is noted", func() bool {
			b, err := p.pocket.Get(keyTold + guild)
			return err == nil && (b != nil) == (want > 0)
		})
		p.Server.Until("commands of "+guild, func() bool { return len(p.Server.Commands(guild)) == want })
	}
	all := len(p.bot.commands)
	told("", all)
	p.crash(t)
	if _, err := p.bot.Send(t.Context(), toFen(p, "fen/1/0", "x")); err != nil {
		t.Fatal(err)
	}
	if n := puts(); n != 1 {
		t.Errorf("told %d times", n)
	}
	p.stop()
	<-p.end
	p.Server.Fail(discordtest.Fault{Method: "PUT", Path: "/guilds/", Status: 400, Code: 30034})
	p.start(t, func(s *Settings, _ *Parts) { s.Servers = []string{discordtest.StageGuild} })
	told("", 0)
	p.Server.Until("the refusal is told", func() bool { return strings.Contains(p.log.String(), "keep commands") })
	p.stop()
	<-p.end
	p.start(t, func(s *Settings, _ *Parts) { s.Servers = []string{discordtest.StageGuild} })
	told(discordtest.StageGuild, all)
}
