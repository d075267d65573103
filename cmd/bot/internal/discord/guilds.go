package discord

import (
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"drumhead/commands/args"
	"drumhead/commands/chat"
)

// guilds is what the gateway has said of the bot and its servers. Of a server
// nothing is kept but its id, and whether it is known.
type guilds struct {
	mu    sync.Mutex
	me    string          // the bot's own id
	known map[string]bool // servers that READY listed, that were joined, or are away
}

func (g *guilds) self() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.me
}

// add notes a server; false if it was known.
func (g *guilds) add(id string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.known == nil {
		g.known = map[string]bool{}
	}
	was := g.known[id]
	g.known[id] = true
	return !was
}

// ready notes who the bot is and where, and tells Discord the commands if they
// have changed.
func (s *ear) ready(data json.RawMessage) {
	var r struct {
		User        struct{ ID string }   `json:"user"`
		Application struct{ ID string }   `json:"application"`
		Guilds      []struct{ ID string } `json:"guilds"`
		Shard       []int                 `json:"shard"`
	}
	if err := json.Unmarshal(data, &r); err != nil {
		s.Log.Warn("READY cannot be read", "error", err)
		return
	}
	s.guilds.mu.Lock()
	s.guilds.me = r.User.ID
	s.guilds.mu.Unlock()
	for _, g := range r.Guilds {
		s.guilds.add(g.ID)
	}
	if want := s.settings.Application; want != "" && want != r.Application.ID {
		s.fail(errors.New("discord: the token is of application " + r.Application.ID + ", the settings say " + want + "; correct one of the two"))
		return
	}
	s.Log.Info("connected", "shard", r.Shard, "servers", len(r.Guilds))
	if len(r.Shard) == 0 || r.Shard[0] == 0 {
		s.going.Go(func() { s.register(r.Application.ID) })
	}
}

// register tells Discord the commands, where they are not those that it was told
// last. If it refuses, the old ones stay, and it is tried at the next start.
func (s *ear) register(app string) {
	digest, err := commandsDigest(app, s.commands)
	if err != nil {
		s.Log.Error("the commands cannot be told", "err", err)
		return
	}
	places := s.settings.Servers
	if len(places) == 0 {
		places = []string{""}
	}
	s.unregister(app, places)
	for _, guild := range places {
		had, err := s.book.pocket.Get(keyTold + guild)
		if err == nil && string(had) == digest {
			continue
		}
		c := call{method: http.MethodPut, path: commandsPath(app, guild), body: s.commands}
		if err := s.w.api.do(s.ctx, c, nil); err != nil {
			if s.ctx.Err() == nil {
				s.Log.Error("Discord did not take the commands; those that it has stay", "server", guild, "outcome", string(outcomeOf(err, c)), "error", err)
			}
			continue
		}
		if err := s.book.put(s.ctx, map[string][]byte{keyTold + guild: []byte(digest)}); err != nil && s.ctx.Err() == nil {
			s.Log.Error("the pocket cannot be written", "err", err)
		}
	}
}

// commandsPath is where the commands of a server are told, "" for all.
func commandsPath(app, guild string) string {
	if guild == "" {
		return "applications/" + app + "/commands"
	}
	return "applications/" + app + "/guilds/" + guild + "/commands"
}

// unregister takes the commands away where the settings do not have them any more:
// else people would see each of them twice.
func (s *ear) unregister(app string, places []string) {
	var old []string
	err := s.book.pocket.Scan(keyTold, func(key string, _ []byte) error {
		if guild := strings.TrimPrefix(key, keyTold); !slices.Contains(places, guild) {
			old = append(old, guild)
		}
		return nil
	})
	for _, guild := range old {
		c := call{method: http.MethodPut, path: commandsPath(app, guild), body: []command{}}
		if failed := s.w.api.do(s.ctx, c, nil); failed != nil && outcomeOf(failed, c) == later {
			continue
		}
		err = errors.Join(err, s.book.put(s.ctx, map[string][]byte{keyTold + guild: nil}))
	}
	if err != nil && s.ctx.Err() == nil {
		s.Log.Error("old commands could not be taken away", "err", err)
	}
}

// joined greets a server that has invited the bot just now. One that READY
// listed, or that was only away, is known.
func (s *ear) joined(data json.RawMessage) {
	var g struct {
		ID     string `json:"id"`
		Away   bool   `json:"unavailable"`
		Joined string `json:"joined_at"`
		System string `json:"system_channel_id"`
		Places []struct {
			ID       string `json:"id"`
			Type     int    `json:"type"`
			Position int    `json:"position"`
		} `json:"channels"`
		Threads []struct {
			ID string `json:"id"`
		} `json:"threads"`
	}
	if err := json.Unmarshal(data, &g); err != nil || g.Away || !s.guilds.add(g.ID) {
		return
	}
	var all []string
	for _, c := range g.Places {
		all = append(all, c.ID)
	}
	for _, t := range g.Threads {
		all = append(all, t.ID)
	}
	s.going.Go(func() { s.heardAgain(all) })
	place := g.System
	slices.SortStableFunc(g.Places, func(a, b struct {
		ID       string `json:"id"`
		Type     int    `json:"type"`
		Position int    `json:"position"`
	}) int {
		return a.Position - b.Position
	})
	for _, c := range g.Places {
		if place == "" && c.Type == textChannel {
			place = c.ID
		}
	}
	if place == "" {
		return
	}
	m := chat.Message{Source: chat.Source(Name + ":joined/" + g.ID + "/" + g.Joined), Community: chat.Community(Name + ":" + g.ID),
		Place: placeOf(place), Joined: true, Time: s.Now()}
	s.queue(place, g.ID, func() {
		_ = s.handle(m, func(p chat.Post) { // an error has ended the adapter
			p.Answers = ""
			if _, err := s.Send(s.ctx, p); err != nil && s.ctx.Err() == nil {
				s.Log.Warn("a new server could not be greeted", "err", err)
			}
		})
	}, true)
}

// heardAgain forgets that the bot was refused in channels of a server from which it was
// out: what comes there is tried again.
func (s *ear) heardAgain(channels []string) {
	muted := map[string][]byte{}
	for _, c := range channels {
		if b, err := s.book.pocket.Get(keyMute + c); err == nil && b != nil {
			muted[keyMute+c] = nil
		}
	}
	if len(muted) == 0 {
		return
	}
	if err := s.book.put(s.ctx, muted); err != nil && s.ctx.Err() == nil {
		s.Log.Error("the pocket cannot be written", "err", err)
	}
}

// textChannel is the type of an ordinary channel.
const textChannel = 0

// left notes that the bot was taken out of a server. In an outage of Discord's
// nothing has changed.
func (s *ear) left(data json.RawMessage) {
	var g struct {
		ID   string `json:"id"`
		Away bool   `json:"unavailable"`
	}
	if err := json.Unmarshal(data, &g); err != nil || g.Away {
		return
	}
	s.guilds.mu.Lock()
	delete(s.guilds.known, g.ID)
	s.guilds.mu.Unlock()
	s.Log.Warn("the bot was taken out of a server; its games stay as they are", "server", g.ID)
}

// permitted are the permissions that are needed, as Discord's settings call them,
// in the order of that page.
var permitted = []struct {
	bit  permissions
	name string
}{
	{viewChannel, "View Channel"}, {sendMessages, "Send Messages"}, {sendInThreads, "Send Messages in Threads"},
	{createThreads, "Create Public Threads"}, {attachFiles, "Attach Files"}, {readHistory, "Read Message History"},
}

// neededIn are the permissions that the bot needs in a place to go on there by itself.
func neededIn(c channel) permissions {
	switch {
	case c.Type == directChannel:
		return 0
	case c.Type == newsThread || c.Type == publicThread || c.Type == privateThread:
		return needed &^ (sendMessages | createThreads)
	}
	return needed
}

// The types of channel that differ.
const (
	directChannel = 1
	newsThread    = 10
	publicThread  = 11
	privateThread = 12
)

// missing names what the bot may not do where an interaction was.
func missing(i *interaction) string {
	var out []string
	for _, p := range permitted {
		if neededIn(i.In).has(p.bit) && !i.BotMay.has(p.bit) {
			out = append(out, p.name)
		}
	}
	return strings.Join(out, ", ")
}

// lacking is the sentence for a command after which the bot goes on by itself
// where it may not, "" if all is well.
func (s *ear) lacking(i *interaction, spec args.Spec) string {
	if spec.Stays && i.Guild != "" && missing(i) != "" {
		return "discord.refuse.permissions"
	}
	return ""
}

// unmute looks whether the bot may speak again where it was refused. If not, who
// was there is told which permission is missing, once for each time.
func (s *ear) unmute(i *interaction, r *reply, m chat.Message) {
	var was mute
	key := keyMute + i.Channel
	silent, err := s.book.get(key, &was)
	if err != nil || !silent {
		return
	}
	lacks := missing(i)
	switch {
	case lacks == "":
		if err := s.book.put(s.ctx, map[string][]byte{key: nil}); err == nil {
			if err := s.Settle(s.ctx); err != nil {
				s.fail(err)
			}
		}
	case !was.Told:
		was.Told = true
		if err := s.book.put(s.ctx, map[string][]byte{key: value(was)}); err == nil {
			p := s.complaint(m, "discord.muted", "missing", lacks)
			p.ID += chat.PostID("/" + was.Since.Format(time.RFC3339))
			if _, err := r.say(s.ctx, p, nil, true); err != nil {
				s.Log.Warn("nobody could be told what is missing", "channel", i.Channel, "missing", lacks, "error", err)
			}
		}
	}
}
