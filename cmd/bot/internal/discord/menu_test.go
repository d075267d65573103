package discord

import (
	"strconv"
	"strings"
	"testing"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
)

// Many choices stand in menus, and what no menu has room for is spelled out.
func TestMoreChoicesThanMenus(t *testing.T) {
	post := full("fen/1/0")
	post.Choices = append(post.Choices, chat.Choice{Number: mostChoices + 1, Label: "Map", Command: "/campaign map"})
	m := compose(post)
	lines, ids := 0, map[string]bool{}
	for _, r := range m.Components {
		if len(r.Components) != 1 || r.Components[0].Type != typeSelect || ids[r.Components[0].CustomID] {
			t.Errorf("a row of a menu is %+v", r)
		}
		ids[r.Components[0].CustomID] = true
		lines += len(r.Components[0].Options)
	}
	if len(m.Components) != mostRows || lines != mostChoices || !strings.Contains(m.Content, "Map\\: `/campaign map`") {
		t.Errorf("%d rows of %d lines, %q", len(m.Components), lines, m.Content)
	}
	post.Choices = post.Choices[:mostButtons]
	if m := compose(post); len(m.Components) != mostButtons/rowOf || m.Components[0].Components[0].Type != typeButton {
		t.Errorf("ten choices are %+v", m.Components)
	}
}

// A line of a menu picks its choice, as a button would; a value that no menu of
// ours has picks nothing.
func TestMenuIsPicked(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	d.Answer(func(m chat.Message) []chat.Post {
		if m.Tap != nil {
			return nil
		}
		p := chat.Post{ID: "free/menu/0", To: chat.Destination{Place: m.Place}, Entry: -1, Lines: []chat.Line{said("Pick.")}}
		for i := range 30 {
			p.Choices = append(p.Choices, chat.Choice{Number: i + 1, Label: "Region " + strconv.Itoa(i+1), Command: "/tell"})
		}
		return []chat.Post{p}
	})
	p := play(t, discordtest.Options{}, d)
	channel := p.Server.ID()
	p.Server.Add(discordtest.Channel{ID: channel, Guild: discordtest.StageGuild, Name: "fen"})
	ann := discordtest.Who{ID: p.Server.ID(), Name: "Ann", Guild: discordtest.StageGuild, Channel: channel}
	p.Server.Do(ann, discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1, "options": []any{}, "resolved": map[string]any{}})
	p.Server.Until("the menus are there", func() bool { return len(p.Server.Messages(channel)) == 1 })
	m := p.Server.Messages(channel)[0]
	picked := func() (n int) {
		for _, h := range d.Heard() {
			if h.Tap != nil {
				n = h.Tap.Number
			}
		}
		return n
	}
	p.Server.Tap(ann, m, customID("free/menu/0", 26), customID("free/menu/0", 28))
	got := 0
	p.Server.Until("the desk hears of it", func() bool { got = max(got, picked()); return got != 0 })
	if got != 28 {
		t.Errorf("choice %d was picked, expected 28", got)
	}
	bad := p.Server.Tap(ann, m, customID("free/menu/0", 1), "no choice at all")
	bad.Answer(t.Context())
	if n := picked(); n != 0 {
		t.Errorf("a value that is none picked %d", n)
	}
}
