package discord

import (
	"context"
	"net/http"

	"drumhead/commands/chat"
)

// Where a game lives in a forum, what is a page of its own, such as a round of a
// campaign, is also a post of that forum. What is said under it is said in the game.

// place is what Discord says of a channel.
type place struct {
	Type   int    `json:"type"`
	Parent string `json:"parent_id"`
	Guild  string `json:"guild_id"`
	Tags   []struct {
		ID        string `json:"id"`
		Moderated bool   `json:"moderated"`
	} `json:"available_tags"`
}

// forumChannel is the type of a forum.
const forumChannel = 15

// page is a new post of a forum.
type page struct {
	Name    string   `json:"name"`
	Sleeps  int      `json:"auto_archive_duration"`
	Tags    []string `json:"applied_tags,omitempty"`
	Message message  `json:"message"`
}

// publish puts a post that stands in its place also into the forum that the place
// belongs to, if it does. Discord takes no nonce here, so what was published
// before a crash is looked for. Where it is refused the place has the post.
func (a *Adapter) publish(ctx context.Context, p chat.Post) error {
	channel, ok := snowflakeOf(string(p.To.Place))
	if p.To.Page == "" || p.To.Only != "" || p.Edit != "" || !ok {
		return nil
	}
	var here, forum place
	err := a.w.api.do(ctx, call{method: http.MethodGet, path: "channels/" + channel}, &here)
	if err == nil && here.Type == publicThread {
		err = a.w.api.do(ctx, call{method: http.MethodGet, path: "channels/" + here.Parent}, &forum)
	}
	if err != nil || forum.Type != forumChannel {
		return a.unpublished(ctx, p, err)
	}
	thread, err := a.published(ctx, here, cutTo(harmless(p.To.Page), mostThreadName))
	if err == nil && thread == "" {
		thread, err = a.newPage(ctx, here.Parent, forum, p)
	}
	if err != nil {
		return a.unpublished(ctx, p, err)
	}
	return a.book.put(ctx, map[string][]byte{keyUnder + thread: []byte(channel), keyMsg + thread: value(tells{p.ID, p.Entry})})
}

// unpublished goes on without a page.
func (a *Adapter) unpublished(ctx context.Context, p chat.Post, err error) error {
	if err != nil && ctx.Err() == nil {
		a.Log.Info("a post could not be put into its forum", "post", p.ID, "outcome", string(outcomeOf(err, call{})), "error", err)
	}
	return ctx.Err()
}

// published is our page of this title in the forum of a place, "" if there is none.
func (a *Adapter) published(ctx context.Context, here place, title string) (string, error) {
	var active struct {
		Threads []struct {
			ID     string `json:"id"`
			Parent string `json:"parent_id"`
			Owner  string `json:"owner_id"`
			Name   string `json:"name"`
		} `json:"threads"`
	}
	err := a.w.api.do(ctx, call{method: http.MethodGet, path: "guilds/" + here.Guild + "/threads/active"}, &active)
	for _, t := range active.Threads {
		if t.Parent == here.Parent && t.Name == title && (t.Owner == a.guilds.self() || a.guilds.self() == "") {
			return t.ID, err
		}
	}
	return "", err
}

// newPage makes the page. A forum that asks for a tag gets the first that anybody
// may give.
func (a *Adapter) newPage(ctx context.Context, in string, forum place, p chat.Post) (string, error) {
	out := parcel{post: p, files: a.made(ctx, &p)}
	body := page{Name: cutTo(harmless(p.To.Page), mostThreadName), Sleeps: threadSleeps}
	for n := 0; ; n++ {
		body.Message = out.message()
		body.Message.Mentions = mentions{Parse: []string{}} // whoever is notified was notified in the place
		var made receipt
		err := a.w.api.do(ctx, call{method: http.MethodPost, path: "channels/" + in + "/threads", body: body, files: out.upload()}, &made)
		if err == nil || n == remedies {
			return made.ID, err
		}
		switch outcomeOf(err, call{}) {
		case withTag:
			if body.Tags = forum.tag(); body.Tags == nil {
				return "", err
			}
		case smaller:
			out = out.smaller()
		case plainer:
			out = out.plainer(a.w.said("discord.plainer"))
		default:
			return "", err
		}
	}
}

// tag is the first tag of a forum that anybody may give, nil if there is none.
func (f place) tag() []string {
	for _, t := range f.Tags {
		if !t.Moderated {
			return []string{t.ID}
		}
	}
	return nil
}
