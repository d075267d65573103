package discord

import (
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"drumhead/cmd/bot/internal/discord/discordtest"
)

// ill joins what has to be done; "" if all is well.
func ill(all []Finding) string {
	var out []string
	for _, f := range all {
		if !f.OK() {
			out = append(out, f.What+": "+f.Do)
		}
	}
	return strings.Join(out, "\n")
}

// Each thing that is wrong with a set-up is found and has its remedy; a good one
// has none. The token stands in nothing of it.
func TestDoctor(t *testing.T) {
	guild := discordtest.Guild{ID: discordtest.StageGuild, Name: "Fen"}
	for what, c := range map[string]struct {
		options discordtest.Options
		fault   discordtest.Fault
		change  func(*Settings)
		want    string // of what is to be done
	}{
		"all is well":     {options: discordtest.Options{Guilds: []discordtest.Guild{guild}}},
		"bad settings":    {change: func(s *Settings) { s.Shards = "x" }, want: "4-7/16"},
		"no token":        {change: func(s *Settings) { s.TokenFile += ".gone" }, want: "cannot be read"},
		"readable token":  {options: discordtest.Options{Guilds: []discordtest.Guild{guild}}, change: func(s *Settings) { _ = os.Chmod(s.TokenFile, 0o644) }, want: "chmod 600"},
		"refused token":   {fault: discordtest.Fault{Path: "users/@me", Status: 401}, want: "make a new one"},
		"no line":         {change: func(s *Settings) { s.Base = "http://127.0.0.1:1" }, want: "may open https"},
		"another bot's":   {change: func(s *Settings) { s.Application = "184467440737095516" }, want: "correct one"},
		"in no server":    {want: "scope=bot+applications.commands"},
		"not in that one": {options: discordtest.Options{Guilds: []discordtest.Guild{guild}}, change: func(s *Settings) { s.Servers = []string{"184467440737095516"} }, want: "is not in the server 184467440737095516"},
		"may not":         {options: discordtest.Options{Guilds: []discordtest.Guild{{ID: "4194304", Name: "Fen", BotMay: "3072"}}}, want: "Attach Files"},
		"may too much":    {options: discordtest.Options{Guilds: []discordtest.Guild{{ID: "4194304", Name: "Fen", BotMay: "8"}}}, want: "take Administrator"},
		"too few shards":  {options: discordtest.Options{Guilds: []discordtest.Guild{guild}, Shards: 4}, want: `shards = "0-3/4"`},
		"many starts":     {options: discordtest.Options{Guilds: []discordtest.Guild{guild}, Starts: 10}, want: "again and again"},
		"a wrong clock": {options: discordtest.Options{Guilds: []discordtest.Guild{guild}, Now: func() time.Time { return time.Now().Add(time.Minute) }},
			want: "NTP"},
	} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			s := discordtest.Start(t, c.options)
			set := settingsFor(t, s)
			if c.change != nil {
				c.change(&set)
			}
			if c.fault.Status != 0 {
				s.Fail(c.fault)
			}
			found := Doctor(t.Context(), set)
			got := ill(found)
			if !strings.Contains(got, c.want) || (c.want == "") != (got == "") {
				t.Errorf("found %q, want %q", got, c.want)
			}
			for _, f := range found {
				if strings.Contains(f.What+f.Do, discordtest.Token) {
					t.Error("the token stands in what was found")
				}
			}
		})
	}
}

// docs/discord.md shows the invitation that the bot gives, and every setting.
func TestPageIsWhole(t *testing.T) {
	b, err := os.ReadFile("../../../../docs/discord.md")
	if err != nil {
		t.Fatal(err)
	}
	page := string(b)
	if want := invite("APPLICATION"); !strings.Contains(page, want) {
		t.Errorf("the page has no %s", want)
	}
	for _, p := range permitted {
		if !strings.Contains(page, p.name) {
			t.Errorf("the page gives no reason for %s", p.name)
		}
	}
	all := reflect.TypeFor[Settings]()
	for i := range all.NumField() {
		name := all.Field(i).Tag.Get("toml")
		if name != "base" && name != "files" && !strings.Contains(page, "`"+name+"`") { // those two are for tests
			t.Errorf("the page does not tell of %q", name)
		}
	}
}
