package discord

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
	"drumhead/commands/chat"
	"drumhead/commands/chat/chattest"
	"drumhead/commands/chatscript"
)

// ann is somebody in #fen.
func (p *player) ann() discordtest.Who {
	return discordtest.Who{ID: "4194304011", Name: "Ann", Guild: discordtest.StageGuild, Channel: fenChannel(p)}
}

// does lets somebody do something and gives the words of the answer.
func (p *player) does(t *testing.T, i *discordtest.Interaction) string {
	t.Helper()
	i.Answer(t.Context())
	m, _ := i.Message()
	return m.Content()
}

// What comes from Discord in a shape that we never sent, or from an old client,
// gets an answer in words, and the desk hears nothing of it.
func TestHostileInteractions(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{}, d)
	board := toFen(p, "fen/1/0", "Turn 1.")
	board.Choices = []chat.Choice{{Number: 1, Label: "Write", Command: "/tell", Form: "A line"}}
	if _, err := p.bot.Send(t.Context(), board); err != nil {
		t.Fatal(err)
	}
	m := p.Server.Messages(fenChannel(p))[0]
	for what, i := range map[string]*discordtest.Interaction{
		"a component of nobody's": p.Server.Tap(p.ann(), m, "somebody-elses"),
		"a component without end": p.Server.Tap(p.ann(), m, strings.Repeat("x", 100)),
		"a form of nobody's":      p.Server.Do(p.ann(), discordtest.ModalSubmit, map[string]any{"custom_id": "form/nothing", "components": []any{}}),
		"a message of nobody's":   p.Server.Menu(p.ann(), discordtest.Message{ID: p.Server.ID(), Channel: m.Channel, Body: map[string]any{}}, "Explain"),
		"a menu of nobody's":      p.Server.Menu(p.ann(), m, "Applaud"),
		"a post of no entry":      p.Server.Menu(p.ann(), m, "Explain"),
	} {
		if got := p.does(t, i); !strings.Contains(got, `discord\.refuse\.`) {
			t.Errorf("%s: %q", what, got)
		}
		if msg, _ := i.Message(); msg.Only != p.ann().ID {
			t.Errorf("%s: all saw the answer", what)
		}
	}
	if heard := d.Heard(); len(heard) > 0 {
		t.Errorf("the desk heard %+v", heard)
	}
	// A form with fields that it does not have, beside its own.
	open := p.Server.Tap(p.ann(), m, customID("fen/1/0", 1))
	if a := open.Answer(t.Context()); a.Type != discordtest.AnswerModal {
		t.Fatalf("answered with %+v", a)
	}
	p.Server.Submit(open, map[string]any{"text": "By the weir.", "other": "x", "third": []string{"1"}}, nil).Answer(t.Context())
	heard := d.Heard()
	if len(heard) != 1 || heard[0].Tap == nil || *heard[0].Tap != (chat.Tap{Post: "fen/1/0", Number: 1, Text: "By the weir."}) {
		t.Errorf("heard %+v", heard)
	}
	// A stale button is the desk's to judge, which knows the post.
	p.Server.Tap(p.ann(), m, "gone/1/0.3").Answer(t.Context())
	if heard := d.Heard(); len(heard) != 1 || heard[0].Tap.Post != "gone/1/0" || heard[0].Person != "discord:4194304011" {
		t.Errorf("heard %+v", heard)
	}
}

// Names and texts that would be markup, turn round, or pile up come out as they
// stand or harmless, for the desk and for who reads. The stage fails the test
// for any sign of markup that comes through.
func TestHostileNames(t *testing.T) {
	t.Parallel()
	names := []string{"**bold** _x_ ~~y~~ ||z||", "@everyone <@1> <#2> <t:1:R> :x:", "a\u202eb\u2066c\u200b\u200d", "e" + strings.Repeat("\u0301", 10_000),
		"> quote", "# head", "- list", "1. one", "```js", "[x](https://osier.example)", "https://osier.example", "\x00\x1b[2J", strings.Repeat("long ", 1000)}
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{}, d)
	for n, name := range names {
		who := p.ann()
		who.Nick = name
		d.Answer(func(m chat.Message) []chat.Post {
			p := told("", "")
			p.To.Place = m.Place
			p.ID = chat.PostID("n/" + string(m.Source))
			p.Lines = []chat.Line{{{Kind: chat.Said, Text: name}}, {{Kind: chat.Who, Person: "elsewhere:1", Text: name}}, {{Kind: chat.Plain, Text: name}}}
			p.Choices = []chat.Choice{{Number: 1, Label: name}}
			return []chat.Post{p}
		})
		i := p.Server.Do(who, discordtest.SlashCommand, map[string]any{"id": "1", "name": "help", "type": 1})
		i.Answer(t.Context())
		if heard := d.Heard(); len(heard) != 1 || len([]rune(heard[0].Name)) > mostWords+1 || strings.ContainsAny(heard[0].Name, "\u202e\u2066\x00\x1b") {
			t.Errorf("%d: heard of %.40q", n, heard[0].Name)
		}
	}
	if shown := p.Shown(); len(shown) != len(names) { // checks each sign
		t.Errorf("%d of %d posts", len(shown), len(names))
	}
}

// A file that is too large, or lies elsewhere, is not fetched; the answer says so.
func TestHostileFiles(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{}, d)
	hand := func(f map[string]any) string {
		return p.does(t, p.Server.Do(p.ann(), discordtest.SlashCommand, map[string]any{"id": "1", "name": "force", "type": 1,
			"options":  []any{map[string]any{"name": "add", "type": 1, "options": []any{map[string]any{"name": "file", "type": 11, "value": "9"}}}},
			"resolved": map[string]any{"attachments": map[string]any{"9": f}}}))
	}
	for want, f := range map[string]map[string]any{
		`discord\.refuse\.large`:     {"id": "9", "filename": "weir.toml", "size": 100 << 20, "url": p.Server.URL + "/attachments/1/2/weir.toml"},
		`discord\.refuse\.elsewhere`: {"id": "9", "filename": "weir.toml", "size": 10, "url": "https://osier.example/weir.toml"},
		`discord\.refuse\.fetch`:     {"id": "9", "filename": "weir.toml", "size": 10, "url": p.Server.URL + "/attachments/1/2/gone.toml"},
	} {
		if got := hand(f); !strings.HasPrefix(got, want) {
			t.Errorf("%q, want %s", got, want)
		}
	}
	if heard := d.Heard(); len(heard) > 0 {
		t.Errorf("the desk heard %+v", heard)
	}
}

// Before something begins that goes on by itself, the bot looks whether it may.
func TestPermissionsBeforeABattle(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{}, d)
	who := p.ann()
	who.Bot = "3072" // view and send
	open := map[string]any{"id": "1", "name": "battle", "type": 1, "options": []any{map[string]any{"name": "open", "type": 1, "options": []any{}}}}
	i := p.Server.Do(who, discordtest.SlashCommand, open)
	got := strings.Join(strings.Fields(p.does(t, i)), " ")
	if m, _ := i.Message(); !strings.HasPrefix(got, `discord\.refuse\.permissions Send Messages in Threads, Create Public Threads, Attach Files, Read Message History`) || m.Only != who.ID {
		t.Errorf("%q, seen by %q", got, m.Only)
	}
	if heard := d.Heard(); len(heard) > 0 {
		t.Errorf("the desk heard %+v", heard)
	}
	who.Bot = ""
	p.Server.Do(who, discordtest.SlashCommand, open).Answer(t.Context())
	if heard := d.Heard(); len(heard) != 1 || heard[0].Text != "/battle open" {
		t.Errorf("heard %+v", heard)
	}
}

// A token that is wrong, or revoked while the bot runs, ends it with a sentence
// that says what to do; it stands in no log.
func TestTokens(t *testing.T) {
	t.Parallel()
	s := discordtest.Start(t, discordtest.Options{})
	set := settingsFor(t, s)
	t.Run("wrong", func(t *testing.T) {
		log := &buffer{}
		wrong := strings.Replace(discordtest.Token, "osier", "wrong", 1)
		w, err := wire(Config{Token: Token(wrong), Base: s.URL, Files: s.URL})
		if err != nil {
			t.Fatal(err)
		}
		a := adapterFor(t, set, log)
		w.Log = a.Log
		a.w = w
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		defer cancel()
		if err := a.Run(ctx, &chattest.Desk{}); !errors.Is(err, ErrToken) || strings.Contains(err.Error()+log.String(), wrong) {
			t.Errorf("ended with %v", err)
		}
	})
	t.Run("revoked", func(t *testing.T) {
		p := play(t, discordtest.Options{}, &chattest.Desk{})
		p.Server.Fail(discordtest.Fault{Path: "channels/", Status: 401, Times: -1})
		if _, err := p.bot.Send(t.Context(), toFen(p, "fen/1/0", "x")); !errors.Is(err, ErrToken) {
			t.Errorf("sent with %v", err)
		}
		p.Server.CloseAll(4004)
		select {
		case err := <-p.end:
			if !errors.Is(err, ErrToken) || strings.Contains(err.Error(), discordtest.Token) {
				t.Errorf("ended with %v", err)
			}
			p.end <- nil // for the end of the test
		case <-time.After(20 * time.Second):
			t.Error("it goes on with a token that is revoked")
		}
	})
}

// adapterFor is an adapter that does not run yet.
func adapterFor(t testing.TB, set Settings, log *buffer) *Adapter {
	t.Helper()
	a, err := New(set, Parts{Pocket: chattest.NewPocket(), Specs: stageSpecs, Say: sayID, Log: logTo(log)})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// An option half typed is completed from memory, with what was chosen before it;
// on doubt nothing is offered.
func TestCompletion(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	p := play(t, discordtest.Options{}, d)
	half := func(name string, options ...any) []any {
		i := p.Server.Do(p.ann(), discordtest.Autocomplete, map[string]any{"id": "1", "name": name, "type": 1, "options": options})
		a := i.Answer(t.Context())
		list, _ := a.Data["choices"].([]any)
		return list
	}
	got := half("unit", map[string]any{"name": "name", "type": 3, "value": "Pik", "focused": true})
	if len(got) != 1 || got[0].(map[string]any)["value"] != "Pikmore" {
		t.Errorf("offered %v", got)
	}
	for what, list := range map[string][]any{
		"nobody's command": half("applaud", map[string]any{"name": "name", "type": 3, "value": "x", "focused": true}),
		"nobody's option":  half("unit", map[string]any{"name": "old", "type": 3, "value": "x", "focused": true}),
		"nothing focused":  half("unit", map[string]any{"name": "name", "type": 3, "value": "x"}),
		"too long":         half("unit", map[string]any{"name": "name", "type": 3, "value": strings.Repeat("x", 100), "focused": true}),
	} {
		if len(list) > 0 {
			t.Errorf("%s: offered %v", what, list)
		}
	}
	if heard := d.Heard(); len(heard) > 0 {
		t.Errorf("the desk heard %+v", heard)
	}
}

// The bot greets a server that invites it, once; it is silent where it was before,
// and where Discord was only out for a while. Taken out and invited again it greets
// again.
func TestGreetsWhoInvitesIt(t *testing.T) {
	t.Parallel()
	d := &chattest.Desk{}
	d.Answer(func(m chat.Message) []chat.Post {
		if !m.Joined {
			return nil
		}
		p := told("hello/"+string(m.Source), "Hello.")
		p.To.Place = m.Place
		return []chat.Post{p}
	})
	p := play(t, discordtest.Options{}, d)
	invited := func(joined string) {
		p.Server.Dispatch("GUILD_CREATE", "8388608", map[string]any{"id": "8388608", "joined_at": joined, "channels": []any{
			map[string]any{"id": "8388699", "type": 2, "position": 0}, map[string]any{"id": "8388610", "type": 0, "position": 2}, map[string]any{"id": "8388609", "type": 0, "position": 1}}})
	}
	greeted := func(want int) {
		t.Helper()
		if err := p.Say(t.Context(), chatscript.Message{Name: "ann", Place: "#fen", Text: "/help"}); err != nil {
			t.Fatal(err)
		}
		p.Server.Until("greetings", func() bool { return len(p.Server.Messages("8388609")) == want })
	}
	greeted(0)
	invited("2026-10-10T17:00:00Z")
	greeted(1)
	p.Server.Dispatch("GUILD_DELETE", "8388608", map[string]any{"id": "8388608", "unavailable": true})
	invited("2026-10-10T17:00:00Z")
	greeted(1)
	p.Server.Dispatch("GUILD_DELETE", "8388608", map[string]any{"id": "8388608"})
	invited("2026-10-11T17:00:00Z")
	greeted(2)
	if n := len(p.Server.Messages(fenChannel(p))); n != 0 {
		t.Errorf("%d messages where nothing was to be said", n)
	}
}
