package discord

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"strings"
	"time"
)

// Finding is one thing that was looked at, for who sets the bot up.
type Finding struct {
	What string // what was looked at, and what was found
	Do   string // what to do about it; "" if all is well
}

// OK tells whether nothing has to be done.
func (f Finding) OK() bool { return f.Do == "" }

// clockMayDiffer is how far our clock may be off before interactions are taken
// for old ones; it is corrected for, so this is only worth a word.
const clockMayDiffer = 2 * time.Second

// Doctor looks at a set-up from the settings to what Discord says of it. It
// changes nothing, and stops where going on makes no sense. No secret stands in
// what it finds.
func Doctor(ctx context.Context, s Settings) []Finding {
	if err := s.Check(); err != nil {
		return []Finding{{"the settings of Discord", err.Error()}}
	}
	out := []Finding{{What: "the settings of Discord can be read"}}
	token, err := s.token()
	if err != nil {
		return append(out, Finding{"the token", err.Error()})
	}
	out = append(out, s.privacy())
	w, err := wire(Config{Token: token, Base: s.Base, Files: s.Files})
	if err != nil {
		return append(out, Finding{"the address of Discord", err.Error()})
	}
	x := &examination{settings: s, wires: w, findings: out}
	if x.line(ctx) && x.application(ctx) {
		x.gateway(ctx)
		x.servers(ctx)
		x.told(ctx)
	}
	return x.findings
}

// privacy looks who may read the token's file.
func (s Settings) privacy() Finding {
	if s.TokenFile == "" {
		return Finding{What: "the token is in the environment variable " + s.TokenEnv}
	}
	info, err := os.Stat(s.TokenFile)
	if err == nil && info.Mode().Perm()&0o077 != 0 {
		return Finding{"others on this machine may read " + s.TokenFile, "chmod 600 " + s.TokenFile}
	}
	return Finding{What: "the token is in " + s.TokenFile + ", and nobody else may read it"}
}

// examination is one look at Discord.
type examination struct {
	settings Settings
	*wires
	findings []Finding
	app      string
}

func (x *examination) find(what, do string) { x.findings = append(x.findings, Finding{what, do}) }

// line looks whether Discord answers, and knows the token.
func (x *examination) line(ctx context.Context) bool {
	var me user
	err := x.api.do(ctx, call{method: http.MethodGet, path: "users/@me"}, &me)
	var r *Refusal
	switch {
	case errors.Is(err, ErrToken) || errors.As(err, &r) && r.Status == http.StatusUnauthorized:
		x.find("the token is refused", "make a new one on the bot's page, under Bot, and put it where the settings say")
	case err != nil:
		x.find("Discord cannot be reached: "+err.Error(), "see whether this machine may open https connections to "+x.Base)
	default:
		x.find("the token is that of "+harmless(me.Name), "")
	}
	if off := x.clock.behind(); err == nil && (off > clockMayDiffer || off < -clockMayDiffer) {
		x.find(fmt.Sprintf("this machine's clock is %v off", off.Round(time.Second)), "let the machine set its clock by the network (NTP); deadlines go by it")
	}
	return err == nil
}

// application looks whose token it is, and what its page allows.
func (x *examination) application(ctx context.Context) bool {
	var app struct {
		ID        string `json:"id"`
		Endpoint  string `json:"interactions_endpoint_url"`
		BotPublic *bool  `json:"bot_public"`
	}
	if err := x.api.do(ctx, call{method: http.MethodGet, path: "applications/@me"}, &app); err != nil {
		x.find("the bot's page cannot be read: "+err.Error(), "try again in a minute")
		return false
	}
	x.app = app.ID
	switch want := x.settings.Application; {
	case want != "" && want != app.ID:
		x.find("the token is of application "+app.ID+", the settings say "+want, "correct one of the two")
		return false
	case app.Endpoint != "":
		x.find("interactions go to "+harmless(app.Endpoint), "on the bot's page, under General Information, empty the Interactions Endpoint URL: this bot listens on the gateway")
	default:
		x.find("application "+app.ID, "")
	}
	return true
}

// gateway looks what Discord advises for the connection.
func (x *examination) gateway(ctx context.Context) {
	var a advice
	if err := x.api.do(ctx, call{method: http.MethodGet, path: "gateway/bot"}, &a); err != nil {
		x.find("the gateway cannot be asked for: "+err.Error(), "try again in a minute")
		return
	}
	mine, err := parseShards(x.settings.Shards)
	switch {
	case err == nil && a.Shards > mine.count:
		x.find(fmt.Sprintf("Discord advises %d shards, the settings have %d", a.Shards, mine.count), fmt.Sprintf("shards = \"0-%d/%d\"", a.Shards-1, a.Shards))
	case a.Limit.Remaining < startsKept:
		x.find(fmt.Sprintf("only %d sessions may still be started today", a.Limit.Remaining), "find out what starts the bot again and again; it waits by itself")
	default:
		x.find(fmt.Sprintf("the gateway answers; %d sessions may be started today", a.Limit.Remaining), "")
	}
}

// servers looks where the bot is, and what it may do there. What a channel of its
// own forbids shows when something is begun there.
func (x *examination) servers(ctx context.Context) {
	var list []struct {
		ID   string      `json:"id"`
		Name string      `json:"name"`
		May  permissions `json:"permissions"`
	}
	if err := x.api.do(ctx, call{method: http.MethodGet, path: "users/@me/guilds"}, &list); err != nil {
		x.find("the servers cannot be listed: "+err.Error(), "try again in a minute")
		return
	}
	if len(list) == 0 {
		x.find("the bot is in no server", "open "+invite(x.app)+" and choose one")
	}
	in := map[string]bool{}
	for _, g := range list {
		in[g.ID] = true
		var lacks []string
		for _, p := range permitted {
			if !g.May.has(p.bit) && !g.May.has(administrator) {
				lacks = append(lacks, p.name)
			}
		}
		switch {
		case g.May.has(administrator):
			x.find("in "+harmless(g.Name)+" the bot may do everything, which it does not need", "take Administrator from its role")
		case lacks != nil:
			x.find("in "+harmless(g.Name)+" the bot lacks: "+strings.Join(lacks, ", "), "allow it to the bot's role in the server's settings, or open "+invite(x.app)+" again")
		default:
			x.find("in "+harmless(g.Name)+" the bot may do all that it needs", "")
		}
	}
	for _, id := range x.settings.Servers {
		if !in[id] {
			x.find("the bot is not in the server "+id+" of the settings", "open "+invite(x.app)+", or take the server out of the settings")
		}
	}
}

// told looks whether Discord has the commands.
func (x *examination) told(ctx context.Context) {
	places := x.settings.Servers
	if len(places) == 0 {
		places = []string{""}
	}
	for _, guild := range places {
		path, where := "applications/"+x.app+"/commands", ""
		if guild != "" {
			path, where = "applications/"+x.app+"/guilds/"+guild+"/commands", " of server "+guild
		}
		var list []struct{ Name string }
		err := x.api.do(ctx, call{method: http.MethodGet, path: path}, &list)
		switch {
		case err != nil:
			x.find("the commands"+where+" cannot be read: "+err.Error(), "open "+invite(x.app)+" again: the bot may lack the scope applications.commands there")
		case len(list) == 0:
			x.find("Discord has no commands"+where+" yet: the first start of the bot brings them", "")
		default:
			x.find(fmt.Sprintf("Discord has %d commands%s", len(list), where), "")
		}
	}
}

// invite is the address under which somebody invites the bot, with all that it
// needs and nothing else.
func invite(app string) string {
	return fmt.Sprintf("https://discord.com/oauth2/authorize?client_id=%s&scope=bot+applications.commands&permissions=%d", app, uint64(needed|pinMessages))
}
